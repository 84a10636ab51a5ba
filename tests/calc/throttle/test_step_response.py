"""Latency and 10-90 % time after a turn of the grip, against the closed form of a first-order lag.

A lag τ behind a dead time d answers a step with 1 - exp(-(t - d)/τ): 10 % at d - τ ln 0.9, 10 to 90 % in
τ ln 9 (any text on linear systems; IEEE Std 181 for the levels, from memory).
"""

import math

import numpy as np
import pytest

from jobs.calc.throttle.step_response import measure_step_responses

RATE_HZ = 200
TIME = np.arange(0, 8, 1 / RATE_HZ)
SPEED = np.full(TIME.size, 4_000.0)


def lag(time: np.ndarray, at_s: float, dead_s: float, tau_s: float) -> np.ndarray:
    since = np.maximum(time - at_s - dead_s, 0)
    return 1 - np.exp(-since / tau_s)


def turn(at_s: float, way_s: float = 0.0) -> np.ndarray:
    """Return the share of a turn of the grip that takes ``way_s``."""
    return np.clip((TIME - at_s) / max(way_s, 1e-9), 0, 1)


@pytest.mark.parametrize(("dead_s", "tau_s"), [(0.03, 0.04), (0.0, 0.1), (0.12, 0.02)])
def test_lag_behind_a_dead_time_is_measured(dead_s: float, tau_s: float) -> None:
    grip = 10 + 50 * turn(2.0)
    plate = 5 + 40 * lag(TIME, 2.0, dead_s, tau_s)
    (step,) = measure_step_responses(TIME, SPEED, grip, plate)
    assert (step.from_pct, step.to_pct) == pytest.approx((10, 60), abs=0.01)
    # The grip jumps between two samples of 5 ms.
    assert step.latency_ms == pytest.approx(1000 * (dead_s - tau_s * math.log(0.9)), abs=5)
    assert step.rise_ms == pytest.approx(1000 * tau_s * math.log(9), abs=2.5)
    assert step.turn_ms == pytest.approx(4, abs=0.1)  # 80 % of one sample


def test_opening_and_closing_are_told_apart() -> None:
    grip = 10 + 50 * turn(2.0) - 50 * turn(5.0)
    plate = 5 + 40 * lag(TIME, 2.0, 0.05, 0.05) - 40 * lag(TIME, 5.0, 0.02, 0.03)
    opening, closing = measure_step_responses(TIME, SPEED, grip, plate)
    assert (opening.opens, closing.opens) == (True, False)
    assert opening.latency_ms > closing.latency_ms
    assert closing.rise_ms == pytest.approx(30 * math.log(9), abs=2.5)


def test_grip_that_takes_its_time_is_measured_from_its_own_ten_percent() -> None:
    grip = 10 + 50 * turn(2.0, 0.2)
    plate = 5 + 40 * np.interp(TIME - 0.06, TIME, turn(2.0, 0.2))  # 60 ms later, as fast
    (step,) = measure_step_responses(TIME, SPEED, grip, plate)
    assert (step.latency_ms, step.rise_ms, step.turn_ms) == pytest.approx((60, 160, 160), abs=1.5)


def test_noise_moves_neither_by_more_than_a_sample() -> None:
    rng = np.random.default_rng(5)
    grip = 10 + 50 * turn(2.0) + rng.normal(0, 0.2, TIME.size)
    plate = 5 + 40 * lag(TIME, 2.0, 0.05, 0.05) + rng.normal(0, 0.2, TIME.size)
    (step,) = measure_step_responses(TIME, SPEED, grip, plate)
    assert step.latency_ms == pytest.approx(55.3, abs=6)
    assert step.rise_ms == pytest.approx(109.9, abs=6)


def test_slow_or_small_turns_are_no_steps() -> None:
    for grip in (10 + 50 * turn(2.0, 1.5), 10 + 8 * turn(2.0), 10 + 30 * np.sin(TIME)):
        assert measure_step_responses(TIME, SPEED, grip, grip) == []


def test_plate_that_does_not_answer_is_left_out() -> None:
    grip = 10 + 50 * turn(2.0)
    assert measure_step_responses(TIME, SPEED, grip, np.full(TIME.size, 5.0)) == []


def test_gap_in_the_response_is_not_bridged() -> None:
    grip, plate = 10 + 50 * turn(2.0), 5 + 40 * lag(TIME, 2.0, 0.05, 0.05)
    plate[(TIME > 2.02) & (TIME < 2.08)] = np.nan
    assert measure_step_responses(TIME, SPEED, grip, plate) == []


def test_channels_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="same number of samples"):
        measure_step_responses(TIME, SPEED, SPEED[1:], SPEED)


def test_rest_ends_at_a_gap_and_begins_after_it() -> None:
    grip = 10 + 50 * turn(2.0) - 50 * turn(5.0)
    grip[(TIME > 4.9) & (TIME < 4.95)] = np.nan
    plate = 5 + 40 * lag(TIME, 2.0, 0.05, 0.05) - 40 * lag(TIME, 5.0, 0.05, 0.05)
    opening, closing = measure_step_responses(TIME, SPEED, grip, plate)
    assert (opening.at_s, closing.at_s) == pytest.approx((2.0, 4.9), abs=0.01)


def test_long_file_of_a_restless_grip_is_read_in_one_pass() -> None:
    time = np.arange(0, 1_000, 0.001)
    grip = 10 + 9 * np.sin(time * 0.5)  # a million rows
    assert measure_step_responses(time, grip, grip, grip) == []
