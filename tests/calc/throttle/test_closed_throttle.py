"""Idle and overrun against runs of which the truth is known."""

import numpy as np
import pytest

from jobs.calc.dyno.speed_grid import GridChannel
from jobs.calc.throttle.closed_throttle import average_overrun_torque, compute_overrun_torque, measure_idle
from tests.calc.mixture.test_grid import correlated


def test_idle_agrees_with_hand_calculation() -> None:
    time_s = np.arange(0, 10, 0.1)
    speed = np.where(np.arange(100) % 2, 1510.0, 1490.0)
    found = measure_idle(time_s, speed, 1500)
    assert found.mean_rpm == pytest.approx(1500)
    assert found.sd_rpm == pytest.approx(10 * np.sqrt(100 / 99))
    assert found.on_target
    assert "on its target of 1500" in found.sentence


def test_idle_says_how_far_it_is_off_target() -> None:
    found = measure_idle(np.arange(0, 10, 0.1), np.full(100, 1350.0), 1500)
    assert found.off_target_rpm == -150
    assert not found.on_target
    assert "150 rpm below its target of 1500" in found.sentence


@pytest.mark.parametrize(("seconds", "forgets_s"), [(20, 0.1), (20, 1.0), (30, 0.3), (30, 3.0), (60, 1.0)])
def test_interval_of_hunting_idle_covers_truth_95_percent(seconds: float, forgets_s: float) -> None:
    rng = np.random.default_rng(2)
    time_s = np.arange(0, seconds, 0.05)
    walks = 1500 + correlated(rng, (800, time_s.size), 30.0, forgets_s / 0.05)
    found = [measure_idle(time_s, walk, 1500) for walk in walks]
    stated = [idle for idle in found if np.isfinite(idle.half_width_95_rpm)]
    assert 0.93 <= np.mean([abs(f.mean_rpm - 1500) <= f.half_width_95_rpm for f in stated]) <= 0.985
    assert len(stated) >= 400


def test_short_run_gives_no_interval_and_says_so() -> None:
    time_s = np.arange(0, 8, 0.04)
    found = measure_idle(time_s, 1500 + 50 * np.sin(time_s), 1500)
    assert np.isnan(found.half_width_95_rpm)
    assert "too short" in found.sentence


@pytest.mark.parametrize(("swing_rpm", "word"), [(40.0, "is steady"), (80.0, "hunts")])
def test_idle_is_steady_up_to_a_stated_limit(swing_rpm: float, word: str) -> None:
    """Scatter of a sine is its height over the root of two: 28 and 57 rpm."""
    time_s = np.arange(0, 30, 0.05)
    found = measure_idle(time_s, 1500 + swing_rpm * np.sin(2 * np.pi * time_s), 1500, "tune 2")
    assert found.is_steady == (word == "is steady")
    scatter = f"Variation (SD) {swing_rpm / 2**0.5:.0f} rpm"
    assert f"on its target of 1500 (tune 2), and {word}. {scatter}" in found.sentence


def test_idle_is_refused_when_run_or_target_is_wrong() -> None:
    with pytest.raises(ValueError, match="at least 5 seconds"):
        measure_idle([0, 1, 2], [1500, 1500, 1500], 1500)
    with pytest.raises(ValueError, match="at least 5 seconds"):
        measure_idle([], [], 1500)
    with pytest.raises(ValueError, match="target"):
        measure_idle(np.arange(10), np.full(10, 1500), 0)
    with pytest.raises(ValueError, match="same number of samples"):
        measure_idle([0, 1], [1500], 1500)


def test_overrun_torque_recovers_known_braking() -> None:
    rng = np.random.default_rng(3)
    speed = np.concatenate([np.linspace(3000, 9000, 600), np.linspace(9000, 4000, 400)])
    grip = np.where(np.arange(1000) < 600, 100.0, 0.0)
    torque = np.where(grip > 0, 60.0, -3 - speed / 1000) + rng.normal(0, 0.1, 1000)
    found = compute_overrun_torque(speed, grip, torque)
    inside = np.isfinite(found.values)
    np.testing.assert_allclose(found.values[inside], -3 - found.engine_speed_rpm[inside] / 1000, atol=0.15)
    assert found.engine_speed_rpm[inside].min() >= 4000


def test_overrun_torque_is_refused_when_run_has_no_overrun() -> None:
    with pytest.raises(ValueError, match="no overrun"):
        compute_overrun_torque([3000, 4000], [100, 100], [50, 55])


def closed_run(rng: np.random.Generator, run_sd_nm: float) -> GridChannel:
    """Brake by 3 N·m and 1 more for each 1,000 1/min, each run off by its own amount."""
    speed = np.linspace(9000, 4000, 160)
    off = rng.normal(0, run_sd_nm)
    return compute_overrun_torque(speed, np.zeros(160), -3 - speed / 1000 + off + rng.normal(0, 0.2, 160))


@pytest.mark.parametrize("runs", [2, 3, 6])
def test_interval_of_overrun_torque_covers_truth_95_percent(runs: int) -> None:
    rng = np.random.default_rng(runs)
    inside = []
    for _ in range(400):
        found = average_overrun_torque([closed_run(rng, 0.3) for _ in range(runs)])
        at = found.engine_speed_rpm == 6500
        inside.append(np.abs(found.torque_nm[at] + 9.5) <= found.half_width_95_nm[at])
    assert 0.93 <= np.mean(inside) <= 0.97


def test_overrun_torque_of_one_run_has_no_interval_and_of_two_is_by_hand() -> None:
    speed = np.linspace(9000, 4000, 400)
    first, second = (
        compute_overrun_torque(speed, np.zeros(400), np.full(400, level)) for level in (-9.0, -10.0)
    )
    alone = average_overrun_torque([first])
    assert np.isnan(alone.half_width_95_nm).all()
    both = average_overrun_torque([first, second])
    at = int(np.flatnonzero(both.engine_speed_rpm == 6000)[0])
    # s = √0.5, t(1) = 12.706: 12.706·0.7071/√2
    assert both.torque_nm[at] == pytest.approx(-9.5, abs=1e-6)
    assert both.half_width_95_nm[at] == pytest.approx(6.353, abs=1e-3)
    assert both.runs[at] == 2
    with pytest.raises(ValueError, match="no run"):
        average_overrun_torque([])
