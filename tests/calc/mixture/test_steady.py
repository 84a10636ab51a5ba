"""Delay and steady filter, against courses of which the truth is known."""

import numpy as np
import numpy.typing as npt
import pytest

from jobs.calc.mixture.steady import (
    HeldChannels,
    LeftOut,
    SteadyLimits,
    estimate_delay,
    gather,
    shift_back,
    steady,
)

Array = npt.NDArray[np.float64]


def staircase(hertz: float = 50.0) -> tuple[Array, Array, Array]:
    """3,000 held for 1 s, up to 4,000 within 0.5 s, held for 1 s; grip at 40 %."""
    time_s = np.arange(0, 2.5, 1 / hertz)
    return time_s, np.interp(time_s, [1.0, 1.5], [3000.0, 4000.0]), np.full(time_s.size, 40.0)


def test_shift_reads_what_the_sensor_shows_a_delay_later() -> None:
    time_s = np.arange(0, 1.0, 0.01)
    burnt = 0.9 + 0.05 * np.sin(7 * time_s)
    sensed = np.interp(time_s - 0.15, time_s, burnt)
    back = shift_back(time_s, sensed, 150)
    np.testing.assert_allclose(back[:-16], burnt[:-16], atol=1e-9)
    assert np.isnan(back[-15:]).all()


def test_shift_keeps_a_gap_a_gap() -> None:
    back = shift_back([0.0, 0.1, 0.2, 0.3], [0.9, np.nan, 0.9, 0.9], 0)
    assert np.isnan(back[1])
    assert back[2] == 0.9


@pytest.mark.parametrize("delay_ms", [-1, 1500, float("nan")])
def test_delay_that_cannot_be_is_refused(delay_ms: float) -> None:
    with pytest.raises(ValueError, match="delay"):
        shift_back([0, 1], [0.9, 0.9], delay_ms)


@pytest.mark.parametrize("delay_ms", [80, 150, 220, 300])
@pytest.mark.parametrize("hertz", [25, 100])
def test_delay_is_found_from_a_fuel_step(delay_ms: float, hertz: float) -> None:
    rng = np.random.default_rng(delay_ms)
    time_s = np.arange(0, 12, 1 / hertz)
    percent = np.where((time_s > 3) & (time_s < 6) | (time_s > 9), 8.0, 0.0)
    sensed = 0.95 / (1 + np.interp(time_s - delay_ms / 1000, time_s, percent) / 100)
    found = estimate_delay(time_s, percent, sensed + rng.normal(0, 0.004, time_s.size))
    assert found.delay_ms == pytest.approx(delay_ms, abs=10)
    assert found.correlation > 0.95


@pytest.mark.parametrize(
    ("percent", "word"),
    [(np.zeros(300), "no step"), (np.where(np.arange(300) > 150, 5.0, 0.0), "does not follow")],
)
def test_without_a_step_that_lambda_follows_there_is_no_delay(percent: Array, word: str) -> None:
    noise = np.random.default_rng(3).normal(0.9, 0.01, 300)
    with pytest.raises(ValueError, match=word):
        estimate_delay(np.arange(300) / 25, percent, noise)


def test_short_run_is_refused_for_the_delay() -> None:
    with pytest.raises(ValueError, match="too short"):
        estimate_delay(np.arange(10) / 25, np.arange(10), np.arange(10))


@pytest.mark.parametrize("hertz", [10, 50, 200])
def test_ramp_is_left_out_and_both_dwells_stay_at_any_rate(hertz: float) -> None:
    time_s, speed, grip = staircase(hertz)
    noisy = speed + np.random.default_rng(1).normal(0, 4, speed.size)
    found = steady(time_s, noisy, grip)
    assert set(found.dwell[found.kept]) == {0, 1}
    ramp = (time_s >= 1.0) & (time_s <= 1.5)
    assert not found.kept[ramp].any()
    assert found.left_out[LeftOut.SPEED_MOVING] >= ramp.sum()
    assert found.kept.sum() + sum(found.left_out.values()) == time_s.size
    assert found.kept[~ramp].mean() > 0.75


def test_each_reason_is_counted() -> None:
    time_s = np.arange(0, 10, 0.05)
    grip = np.interp(time_s, [2.0, 2.5, 8.0, 8.1], [20.0, 60.0, 60.0, 0.0])  # opens at 80 %/s, shuts at 8 s
    speed = np.full(time_s.size, 5000.0)
    speed[100] = np.nan
    left_out = steady(time_s, speed, grip).left_out
    assert left_out[LeftOut.NOT_MEASURED] == 1
    assert left_out[LeftOut.OVERRUN] == np.count_nonzero(grip <= 2)
    assert left_out[LeftOut.GRIP_MOVING] >= 10
    assert left_out[LeftOut.SPEED_MOVING] == 0


def test_idle_is_no_overrun() -> None:
    time_s = np.arange(0, 3, 0.05)
    assert steady(time_s, np.full(60, 1300.0), np.zeros(60)).kept.all()
    assert not steady(time_s, np.full(60, 5000.0), np.zeros(60)).kept.any()


def test_stretch_shorter_than_the_least_dwell_is_left_out() -> None:
    time_s, speed, grip = staircase()
    found = steady(time_s, speed, grip, SteadyLimits(min_dwell_s=2.0))
    assert not found.kept.any()
    assert found.left_out[LeftOut.TOO_SHORT] > 0


def test_hole_in_the_record_parts_two_dwells() -> None:
    time_s = np.concatenate([np.arange(0, 2, 0.05), np.arange(10, 12, 0.05)])
    found = steady(time_s, np.full(80, 4000.0), np.full(80, 30.0))
    assert found.dwell[0] == 0
    assert found.dwell[-1] == 1


def test_runs_are_gathered_with_their_origin_and_dwells_of_their_own() -> None:
    time_s, speed, grip = staircase()
    run = HeldChannels(time_s, speed, grip, grip, np.full(time_s.size, 0.9))
    both = gather([run, run], delay_ms=100)
    assert set(both.dwell) == {0, 1, 2, 3}
    assert set(both.run) == {0, 1}
    np.testing.assert_array_equal(speed[both.sample[both.run == 1]], both.engine_speed_rpm[both.run == 1])
    assert both.lambda_.size + sum(both.left_out.values()) == 2 * time_s.size
    assert both.left_out[LeftOut.NOT_MEASURED] == 2 * 5  # the last 100 ms of each run at 50 Hz


def test_nothing_chosen_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one run"):
        gather([], 150)


@pytest.mark.parametrize(
    ("time_s", "word"), [([0, 2, 1], "go on"), ([0, np.nan, 1], "go on"), ([0, 1], "belong together")]
)
def test_bad_channels_are_refused(time_s: list[float], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        steady(time_s, [3000, 3000, 3000], [10, 10, 10])


def test_limit_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="below zero"):
        SteadyLimits(min_dwell_s=-1)
