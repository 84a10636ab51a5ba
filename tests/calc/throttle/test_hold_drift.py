"""Plate drift at a steady grip, against plates of which it is known whether they hold."""

import numpy as np
import numpy.typing as npt
import pytest

from jobs.calc.throttle.hold_drift import DriftVerdict, HoldDrift, estimate_hold_drift
from jobs.calc.throttle.tables import ThrottleMap
from tests.calc.mixture.test_grid import correlated

Array = npt.NDArray[np.float64]


def held(
    rng: np.random.Generator,
    drift: float = 0.0,
    *,
    seconds: float = 12.0,
    plate_sd: float = 0.4,
    from_rpm: float = 3000.0,
    grip_sd: float = 0.08,
) -> tuple[Array, Array, Array, Array]:
    """Grip at 40 %, 3,000 to 8,000 1/min, plate at 30 % and drifting above ``from_rpm``; 20 Hz.

    The plate's own scatter forgets within 0.3 s.
    """
    time_s = np.arange(0, seconds, 0.05)
    speed = np.interp(time_s, [0, seconds], [3000.0, 8000.0]) + rng.normal(0, 5, time_s.size)
    plate = 30 + drift * np.maximum(speed - from_rpm, 0) / 1000
    return (
        time_s,
        40 + rng.normal(0, grip_sd, time_s.size),
        plate + correlated(rng, time_s.shape, plate_sd, 6.0),
        speed,
    )


def verdicts(drift: float, runs: int, **how: float) -> list[HoldDrift]:
    rng = np.random.default_rng(int(100 * abs(drift)) + runs)
    return [estimate_hold_drift(*held(rng, drift, **how)) for _ in range(runs)]


@pytest.mark.slow
@pytest.mark.parametrize("plate_sd", [0.1, 0.5, 1.5])
def test_plate_that_holds_is_not_said_to_drift(plate_sd: float) -> None:
    found = [v.verdict for v in verdicts(0.0, 1000, plate_sd=plate_sd)]
    assert sum(v in (DriftVerdict.OPENS, DriftVerdict.CLOSES) for v in found) <= 30
    if plate_sd < 1:
        assert found.count(DriftVerdict.HOLDS) > 950


@pytest.mark.parametrize(("drift", "verdict"), [(2.0, DriftVerdict.OPENS), (-2.0, DriftVerdict.CLOSES)])
def test_drift_is_found_with_its_slope(drift: float, verdict: DriftVerdict) -> None:
    found = verdicts(drift, 200)
    assert all(v.verdict is verdict for v in found)
    assert np.mean([v.slope for v in found]) == pytest.approx(drift, abs=0.03)


@pytest.mark.slow
@pytest.mark.parametrize("drift", [0.0, 2.0])
def test_interval_covers_true_slope_95_percent(drift: float) -> None:
    found = verdicts(drift, 1000)
    held_it = [abs(v.slope - drift) <= v.half_width_95 for v in found]
    assert 0.93 <= np.mean(held_it) <= 0.99


CREEPS = {
    "steadily": lambda share: 2 * share - 1,
    "ever faster": lambda share: 2 * share**2 - 1,
    "to and fro": lambda share: np.sin(8 * share),
}


def creeping(
    rng: np.random.Generator,
    drift: float,
    gain: float,
    creep: str,
    seconds: float,
    rise_rpm: float,
    forgets: float = 6.0,
) -> tuple[Array, Array, Array, Array]:
    """Let the hand creep by ±0.4 %, and the plate answer each % of grip with ``gain``; 50 Hz."""
    time_s = np.arange(0, seconds, 0.02)
    share = time_s / seconds
    speed = 4000 + rise_rpm * share + rng.normal(0, 5, time_s.size)
    moved = rng.choice([-0.4, 0.4]) * CREEPS[creep](share)
    plate = 30 + gain * moved + drift * (speed - 4000) / 1000 + correlated(rng, time_s.shape, 0.15, forgets)
    return time_s, 40 + moved + rng.normal(0, 0.08, time_s.size), plate, speed


def loaded(gain: float) -> ThrottleMap:
    """Return the table that answers so around a grip of 40 %, alike at all engine speeds."""
    return ThrottleMap(
        [0, 30, 50, 100], [1000, 12000], [[0, 0], [30 - 10 * gain] * 2, [30 + 10 * gain] * 2, [100, 100]]
    )


@pytest.mark.parametrize("gain", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("with_table", [True, False])
@pytest.mark.parametrize("forgets", [0.1, 6.0])  # samples after which the plate's scatter is another
def test_plate_that_only_follows_a_creeping_hand_is_not_said_to_move(
    gain: float, with_table: bool, forgets: float
) -> None:
    rng = np.random.default_rng(12)
    maps = [loaded(gain), loaded(gain / 2)] if with_table else []
    found = [
        estimate_hold_drift(*creeping(rng, 0.0, gain, creep, seconds, rise, forgets), maps).verdict
        for creep in CREEPS
        for seconds, rise in ((1.5, 1000.0), (2.0, 1500.0), (3.0, 2000.0))
        for _ in range(15)
    ]
    assert np.mean([verdict.is_drift for verdict in found]) < 0.03


@pytest.mark.parametrize("creep", CREEPS)
@pytest.mark.parametrize("gain", [0.5, 2.0])
def test_true_drift_is_found_under_a_creeping_hand_if_the_table_is_known(creep: str, gain: float) -> None:
    rng = np.random.default_rng(13)
    found = [
        estimate_hold_drift(*creeping(rng, 1.0, gain, creep, 6.0, 4000.0), [loaded(gain)]) for _ in range(100)
    ]
    assert np.mean([drift.verdict is DriftVerdict.OPENS for drift in found]) > 0.95
    assert np.mean([drift.slope for drift in found]) == pytest.approx(1.0, abs=0.05)


def test_true_drift_of_one_percent_is_found_at_a_still_hand_without_a_table() -> None:
    assert np.mean([v.verdict is DriftVerdict.OPENS for v in verdicts(1.0, 200)]) > 0.95


def test_creeping_hand_without_a_table_is_said() -> None:
    found = estimate_hold_drift(*creeping(np.random.default_rng(14), 0.0, 1.0, "steadily", 2.0, 1500.0))
    assert found.verdict is DriftVerdict.NOT_ENOUGH
    assert "The grip crept as engine speed rose" in found.sentence


def test_drift_names_the_speed_it_starts_at() -> None:
    found = estimate_hold_drift(*held(np.random.default_rng(1), 3.0, from_rpm=5000.0, plate_sd=0.15))
    assert found.verdict is DriftVerdict.OPENS
    assert found.starts_rpm == pytest.approx(5000, abs=250)
    assert "follows revs and opens" in found.sentence


def test_several_runs_give_one_slope_with_narrower_interval() -> None:
    rng = np.random.default_rng(3)
    runs = [held(rng, 1.5) for _ in range(3)]
    joined = [np.concatenate(channel) for channel in zip(*runs, strict=True)]
    found = estimate_hold_drift(*joined)
    assert found.stretches == 3
    assert found.verdict is DriftVerdict.OPENS
    assert found.half_width_95 < estimate_hold_drift(*runs[0]).half_width_95


def test_drift_is_not_known_when_grip_moves() -> None:
    time_s, _, plate, speed = held(np.random.default_rng(4), 2.0)
    found = estimate_hold_drift(time_s, np.linspace(20, 60, time_s.size), plate, speed)
    assert found.verdict is DriftVerdict.NOT_ENOUGH
    assert found.stretches == 0
    assert np.isnan(found.slope)


def test_drift_is_not_known_when_engine_speed_is_steady() -> None:
    time_s, grip, plate, _ = held(np.random.default_rng(5))
    found = estimate_hold_drift(time_s, grip, plate, np.full(time_s.size, 5000.0))
    assert found.verdict is DriftVerdict.NOT_ENOUGH


def test_drift_is_not_known_when_rise_is_shorter_than_a_second() -> None:
    found = estimate_hold_drift(*held(np.random.default_rng(6), 2.0, seconds=0.9))
    assert found.verdict is DriftVerdict.NOT_ENOUGH


def test_drift_is_not_known_when_plate_is_at_its_stop() -> None:
    time_s, grip, _, speed = held(np.random.default_rng(7))
    found = estimate_hold_drift(time_s, grip, np.full(time_s.size, 100.0), speed)
    assert found.verdict is DriftVerdict.NOT_ENOUGH
    assert "could not move further" in found.sentence


def test_opening_before_the_hold_does_not_count_as_drift() -> None:
    time_s, grip, plate, speed = held(np.random.default_rng(8))
    grip[:20] = np.linspace(0, 40, 20)
    plate[:20] = np.linspace(0, 30, 20)
    assert estimate_hold_drift(time_s, grip, plate, speed).verdict is DriftVerdict.HOLDS


def test_drift_ignores_samples_not_measured() -> None:
    time_s, grip, plate, speed = held(np.random.default_rng(9), 2.0)
    plate[100:110] = np.nan
    found = estimate_hold_drift(time_s, grip, plate, speed)
    assert found.verdict is DriftVerdict.OPENS
    assert np.isfinite(found.slope)


def test_drift_is_not_known_when_scatter_is_wide() -> None:
    found = estimate_hold_drift(*held(np.random.default_rng(10), plate_sd=6.0))
    assert found.verdict is DriftVerdict.NOT_ENOUGH
    assert "Not enough data to tell" in found.sentence


def test_plate_without_scatter_holds() -> None:
    time_s = np.arange(0, 10, 0.05)
    speed = 3000 + 500 * time_s
    found = estimate_hold_drift(time_s, np.full(200, 40.0), np.full(200, 30.0), speed)
    assert found.verdict is DriftVerdict.HOLDS
    assert "(0.00 % per 1000 rpm, ± less than 0.01)" in found.sentence


def test_drift_is_refused_when_channels_differ_in_length() -> None:
    with pytest.raises(ValueError, match="same number of samples"):
        estimate_hold_drift([0, 1], [40, 40], [30, 30], [3000])


def test_drift_is_not_known_when_nothing_was_recorded() -> None:
    assert estimate_hold_drift([], [], [], []).verdict is DriftVerdict.NOT_ENOUGH
