"""Idle and over-run against courses of which the truth is known."""

import numpy as np
import pytest

from jobs.calc.throttle.closed_throttle import idle, overrun_torque
from tests.calc.mixture.test_grid import correlated


def test_idle_by_hand() -> None:
    time_s = np.arange(0, 10, 0.1)
    speed = np.where(np.arange(100) % 2, 1510.0, 1490.0)
    found = idle(time_s, speed, 1500)
    assert found.mean_rpm == pytest.approx(1500)
    assert found.sd_rpm == pytest.approx(10 * np.sqrt(100 / 99))
    assert found.on_target
    assert "on its target of 1500" in found.sentence


def test_idle_off_its_target_is_said() -> None:
    found = idle(np.arange(0, 10, 0.1), np.full(100, 1350.0), 1500)
    assert found.off_target_rpm == -150
    assert not found.on_target
    assert "150 1/min below its target of 1500" in found.sentence


def test_interval_of_a_hunting_idle_holds_the_truth() -> None:
    rng = np.random.default_rng(2)
    time_s = np.arange(0, 30, 0.04)
    walks = 1500 + correlated(rng, (3000, time_s.size), 30.0, 5.0)
    found = [idle(time_s, walk, 1500) for walk in walks]
    assert 0.93 <= np.mean([abs(f.mean_rpm - 1500) <= f.half_width_95_rpm for f in found]) <= 0.97


def test_what_is_no_idle_run_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 5 seconds"):
        idle([0, 1, 2], [1500, 1500, 1500], 1500)
    with pytest.raises(ValueError, match="at least 5 seconds"):
        idle([], [], 1500)
    with pytest.raises(ValueError, match="target"):
        idle(np.arange(10), np.full(10, 1500), 0)
    with pytest.raises(ValueError, match="belong together"):
        idle([0, 1], [1500], 1500)


def test_braking_torque_on_the_overrun() -> None:
    rng = np.random.default_rng(3)
    speed = np.concatenate([np.linspace(3000, 9000, 600), np.linspace(9000, 4000, 400)])
    grip = np.where(np.arange(1000) < 600, 100.0, 0.0)
    torque = np.where(grip > 0, 60.0, -3 - speed / 1000) + rng.normal(0, 0.1, 1000)
    found = overrun_torque(speed, grip, torque)
    inside = np.isfinite(found.values)
    np.testing.assert_allclose(found.values[inside], -3 - found.engine_speed_rpm[inside] / 1000, atol=0.15)
    assert found.engine_speed_rpm[inside].min() >= 4000


def test_run_without_an_overrun_is_refused() -> None:
    with pytest.raises(ValueError, match="no over-run"):
        overrun_torque([3000, 4000], [100, 100], [50, 55])
