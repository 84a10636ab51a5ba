"""Sensor delay and steady filter, against runs of which the truth is known."""

import numpy as np
import numpy.typing as npt
import pytest

from jobs.calc.mixture.steady import (
    ExclusionReason,
    RunChannels,
    SteadyLimits,
    collect_steady_samples,
    estimate_delay,
    find_steady_samples,
)

Array = npt.NDArray[np.float64]


def staircase(hertz: float = 50.0) -> tuple[Array, Array, Array]:
    """3,000 held for 1 s, up to 4,000 within 0.5 s, held for 1 s; grip at 40 %."""
    time_s = np.arange(0, 2.5, 1 / hertz)
    return time_s, np.interp(time_s, [1.0, 1.5], [3000.0, 4000.0]), np.full(time_s.size, 40.0)


def held(time_s: npt.ArrayLike, lambda_: npt.ArrayLike) -> RunChannels:
    """Make a run with constant engine speed and grip."""
    flat = np.full(np.size(time_s), 40.0)
    return RunChannels(time_s, flat * 100, flat, flat, lambda_)


def test_delay_is_removed_from_lambda() -> None:
    time_s = np.arange(0, 1.0, 0.01)
    burnt = 0.9 + 0.05 * np.sin(7 * time_s)
    sensed = np.interp(time_s - 0.15, time_s, burnt)
    found = collect_steady_samples([held(time_s, sensed)], 150)
    # the exhaust of the last 150 ms never reached the sensor
    assert 84 <= found.sample.size <= 85
    np.testing.assert_array_equal(found.sample, np.arange(found.sample.size))
    np.testing.assert_allclose(found.lambda_[:84], burnt[:84], atol=1e-9)


def test_gap_in_lambda_stays_a_gap() -> None:
    limits = SteadyLimits(min_hold_s=0)
    found = collect_steady_samples([held([0.0, 0.1, 0.2, 0.3], [0.9, np.nan, 0.9, 0.9])], 0, limits)
    np.testing.assert_array_equal(found.sample, [0, 2, 3])
    np.testing.assert_array_equal(found.lambda_, [0.9, 0.9, 0.9])


@pytest.mark.parametrize("delay_ms", [-1, 1500, float("nan")])
def test_delay_is_refused_when_impossible(delay_ms: float) -> None:
    with pytest.raises(ValueError, match="delay"):
        collect_steady_samples([held([0, 1], [0.9, 0.9])], delay_ms)


@pytest.mark.parametrize("delay_ms", [80, 150, 220, 300])
@pytest.mark.parametrize("hertz", [25, 100])
def test_delay_is_estimated_from_a_fuel_step(delay_ms: float, hertz: float) -> None:
    rng = np.random.default_rng(delay_ms)
    time_s = np.arange(0, 12, 1 / hertz)
    percent = np.where((time_s > 3) & (time_s < 6) | (time_s > 9), 8.0, 0.0)
    sensed = 0.95 / (1 + np.interp(time_s - delay_ms / 1000, time_s, percent) / 100)
    found = estimate_delay(time_s, percent, sensed + rng.normal(0, 0.004, time_s.size))
    assert found.delay_ms == pytest.approx(delay_ms, abs=10)
    assert found.correlation > 0.95


@pytest.mark.parametrize(
    ("percent", "word"),
    [(np.zeros(300), "no step"), (np.where(np.arange(300) > 150, 5.0, 0.0), "does not respond")],
)
def test_delay_is_refused_when_lambda_follows_no_step(percent: Array, word: str) -> None:
    noise = np.random.default_rng(3).normal(0.9, 0.01, 300)
    with pytest.raises(ValueError, match=word):
        estimate_delay(np.arange(300) / 25, percent, noise)


def test_delay_is_refused_when_run_is_too_short() -> None:
    with pytest.raises(ValueError, match="too short"):
        estimate_delay(np.arange(10) / 25, np.arange(10), np.arange(10))


@pytest.mark.parametrize("hertz", [10, 50, 200])
def test_ramp_between_two_holds_is_excluded_at_any_sample_rate(hertz: float) -> None:
    time_s, speed, grip = staircase(hertz)
    noisy = speed + np.random.default_rng(1).normal(0, 4, speed.size)
    found = find_steady_samples(time_s, noisy, grip)
    assert set(found.hold[found.is_steady]) == {0, 1}
    ramp = (time_s >= 1.0) & (time_s <= 1.5)
    assert not found.is_steady[ramp].any()
    assert found.excluded[ExclusionReason.SPEED_MOVING] >= ramp.sum()
    assert found.is_steady.sum() + sum(found.excluded.values()) == time_s.size
    assert found.is_steady[~ramp].mean() > 0.75


def test_excluded_samples_are_counted_by_reason() -> None:
    time_s = np.arange(0, 10, 0.05)
    grip = np.interp(time_s, [2.0, 2.5, 8.0, 8.1], [20.0, 60.0, 60.0, 0.0])  # opens at 80 %/s, shuts at 8 s
    speed = np.full(time_s.size, 5000.0)
    speed[100] = np.nan
    excluded = find_steady_samples(time_s, speed, grip).excluded
    assert excluded[ExclusionReason.NOT_MEASURED] == 1
    assert excluded[ExclusionReason.OVERRUN] == np.count_nonzero(grip <= 2)
    assert excluded[ExclusionReason.GRIP_MOVING] >= 10
    assert excluded[ExclusionReason.SPEED_MOVING] == 0


def test_idle_is_not_excluded_as_overrun() -> None:
    time_s = np.arange(0, 3, 0.05)
    assert find_steady_samples(time_s, np.full(60, 1300.0), np.zeros(60)).is_steady.all()
    assert not find_steady_samples(time_s, np.full(60, 5000.0), np.zeros(60)).is_steady.any()


def test_hold_is_excluded_when_shorter_than_limit() -> None:
    time_s, speed, grip = staircase()
    found = find_steady_samples(time_s, speed, grip, SteadyLimits(min_hold_s=2.0))
    assert not found.is_steady.any()
    assert found.excluded[ExclusionReason.TOO_SHORT] > 0


def test_hole_in_the_record_separates_two_holds() -> None:
    time_s = np.concatenate([np.arange(0, 2, 0.05), np.arange(10, 12, 0.05)])
    found = find_steady_samples(time_s, np.full(80, 4000.0), np.full(80, 30.0))
    assert found.hold[0] == 0
    assert found.hold[-1] == 1


def hunting(seconds: float, swing_rpm: float, noise_rpm: float, around_rpm: float = 4500.0) -> Array:
    """Engine speed at 50 Hz that swings 0.6 times a second."""
    time_s = np.arange(0, seconds, 0.02)
    noise = np.random.default_rng(5).normal(0, noise_rpm, time_s.size)
    return around_rpm + swing_rpm * np.sin(2 * np.pi * 0.6 * time_s) + noise


@pytest.mark.parametrize(("swing_rpm", "noise_rpm"), [(110, 0), (90, 20), (50, 40), (130, 5)])
def test_hunting_engine_is_held_once(swing_rpm: float, noise_rpm: float) -> None:
    speed = hunting(30, swing_rpm, noise_rpm)
    found = find_steady_samples(np.arange(speed.size) * 0.02, speed, np.full(speed.size, 40.0))
    assert found.is_steady.any()
    assert set(found.hold[found.is_steady]) == {0}
    assert found.excluded[ExclusionReason.SPEED_MOVING] > 0


def test_three_holds_of_a_hunting_engine_are_three() -> None:
    parts = [hunting(10, 110, 0, around) for around in (4500.0, 7000.0, 4500.0, 7000.0, 4500.0)]
    speed = np.concatenate(parts)
    found = find_steady_samples(np.arange(speed.size) * 0.02, speed, np.full(speed.size, 40.0))
    at_4500 = found.is_steady & (speed < 5000)
    assert len(set(found.hold[at_4500])) == 3


@pytest.mark.parametrize("trembles", [True, False])
def test_trembling_hand_or_missing_samples_do_not_make_two_holds_of_one(trembles: bool) -> None:
    time_s = np.arange(0, 12, 0.02)
    grip, speed = np.full(time_s.size, 40.0), np.full(time_s.size, 5000.0)
    if trembles:
        grip += 0.9 * np.sin(2 * np.pi * 1.2 * time_s)
    else:
        speed[::100] = np.nan
    found = find_steady_samples(time_s, speed, grip, SteadyLimits(min_hold_s=0.2))
    assert np.count_nonzero(~found.is_steady) > 0
    assert set(found.hold[found.is_steady]) == {0}


def test_samples_of_several_runs_keep_their_origin_and_own_holds() -> None:
    time_s, speed, grip = staircase()
    run = RunChannels(time_s, speed, grip, grip, np.full(time_s.size, 0.9))
    both = collect_steady_samples([run, run], delay_ms=100)
    assert set(both.hold) == {0, 1, 2, 3}
    assert set(both.run) == {0, 1}
    np.testing.assert_array_equal(speed[both.sample[both.run == 1]], both.engine_speed_rpm[both.run == 1])
    assert both.lambda_.size + sum(both.excluded.values()) == 2 * time_s.size
    assert both.excluded[ExclusionReason.NOT_MEASURED] == 2 * 5  # the last 100 ms of each run at 50 Hz


def test_samples_are_refused_when_no_run_is_chosen() -> None:
    with pytest.raises(ValueError, match="at least one run"):
        collect_steady_samples([], 150)


@pytest.mark.parametrize(
    ("time_s", "word"),
    [([0, 2, 1], "must increase"), ([0, np.nan, 1], "must increase"), ([0, 1], "same number of samples")],
)
def test_channels_are_refused_when_time_or_length_is_wrong(time_s: list[float], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        find_steady_samples(time_s, [3000, 3000, 3000], [10, 10, 10])


def test_limit_is_refused_below_zero() -> None:
    with pytest.raises(ValueError, match="below zero"):
        SteadyLimits(min_hold_s=-1)
