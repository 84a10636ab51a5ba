"""Idle and overrun against runs of which the truth is known."""

import numpy as np
import pytest

from jobs.calc.throttle.closed_throttle import compute_overrun_torque, measure_idle
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
    assert "150 1/min below its target of 1500" in found.sentence


def test_interval_of_hunting_idle_covers_truth_95_percent() -> None:
    rng = np.random.default_rng(2)
    time_s = np.arange(0, 30, 0.04)
    walks = 1500 + correlated(rng, (3000, time_s.size), 30.0, 5.0)
    found = [measure_idle(time_s, walk, 1500) for walk in walks]
    assert 0.93 <= np.mean([abs(f.mean_rpm - 1500) <= f.half_width_95_rpm for f in found]) <= 0.97


def test_idle_is_refused_when_run_or_target_is_wrong() -> None:
    with pytest.raises(ValueError, match="at least 5 seconds"):
        measure_idle([0, 1, 2], [1500, 1500, 1500], 1500)
    with pytest.raises(ValueError, match="at least 5 seconds"):
        measure_idle([], [], 1500)
    with pytest.raises(ValueError, match="target"):
        measure_idle(np.arange(10), np.full(10, 1500), 0)
    with pytest.raises(ValueError, match="belong together"):
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
    with pytest.raises(ValueError, match="no over-run"):
        compute_overrun_torque([3000, 4000], [100, 100], [50, 55])
