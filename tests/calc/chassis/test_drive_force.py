"""Drive force by gear and shift points, against closed forms of straight and parabolic torque curves.

Tractive force in each gear and the crossing of two gears: T. D. Gillespie, Fundamentals of Vehicle Dynamics
(SAE, 1992), chapter 2 (from memory); the closed forms follow from it by elementary algebra.
"""

import math

import numpy as np
import pytest

from jobs.calc.chassis.drive_force import ShiftAt, drive_forces, find_shift_point

ENGINE = np.arange(2_000.0, 12_001.0, 50.0)


def power_of(torque_nm: np.ndarray) -> np.ndarray:
    return torque_nm * ENGINE * math.pi / 30 / 1000


def test_force_is_torque_times_ratio_over_radius() -> None:
    # 80 N·m at the crank, 12:1 overall, rolling radius 0.3 m: 80 · 12 / 0.3 = 3,200 N.
    rpm_per_kmh = 12 * 1000 / 60 / (2 * math.pi * 0.3)
    forces = drive_forces(ENGINE, power_of(np.full(ENGINE.size, 80.0)), (rpm_per_kmh,), [60.0, 100.0])
    assert forces == pytest.approx(np.full((1, 2), 3_200.0), rel=1e-12)


def test_force_is_not_extrapolated() -> None:
    forces = drive_forces(ENGINE, power_of(np.full(ENGINE.size, 80.0)), (100.0, 50.0), [19.0, 130.0])
    assert np.isnan(forces).tolist() == [[True, True], [True, False]]


def test_shift_point_of_a_falling_line_of_torque() -> None:
    # T = T0 (1 - n / n0): the forces are equal where v = n0 / (i1 + i2), by i1 T(i1 v) = i2 T(i2 v).
    n0, low, high = 14_000.0, 100.0, 80.0
    point = find_shift_point(ENGINE, power_of(90 * (1 - ENGINE / n0)), low, high)
    assert point.at is ShiftAt.EQUAL_FORCE
    assert point.speed_kmh == pytest.approx(n0 / (low + high), rel=2e-5)
    assert (point.from_rpm, point.to_rpm) == pytest.approx((7_777.8, 6_222.2), abs=0.2)
    both = drive_forces(ENGINE, power_of(90 * (1 - ENGINE / n0)), (low, high), [point.speed_kmh])
    assert both[:, 0] == pytest.approx([point.force_n] * 2, rel=1e-4)


def test_shift_point_of_equal_powers_lies_past_the_peak() -> None:
    # P = a n - b n³ in kW: equal at n and r n where n² = (a / b) (1 - r) / (1 - r³); the peak at √(a / 3b).
    a, r = 0.012, 0.8
    b = a / 3 / 9_000**2
    point = find_shift_point(ENGINE, a * ENGINE - b * ENGINE**3, 1.0, r)
    assert point.from_rpm == pytest.approx(math.sqrt(a / b * (1 - r) / (1 - r**3)), rel=1e-5)
    assert point.from_rpm > 9_000 > point.to_rpm


def test_lower_gear_that_pulls_harder_to_the_end_says_so() -> None:
    point = find_shift_point(ENGINE, power_of(np.full(ENGINE.size, 80.0)), 100.0, 80.0)
    assert (point.at, point.from_rpm) == (ShiftAt.END, 12_000.0)


def test_next_gear_that_pulls_harder_from_the_start_says_so() -> None:
    point = find_shift_point(ENGINE, 100 - ENGINE / 200, 100.0, 80.0)
    assert (point.at, point.from_rpm) == (ShiftAt.START, 2_500.0)


def test_gap_in_the_curve_is_not_bridged() -> None:
    power = power_of(90 * (1 - ENGINE / 14_000))
    power[(ENGINE > 7_500) & (ENGINE < 8_000)] = np.nan
    assert find_shift_point(ENGINE, power, 100.0, 80.0) is None


def test_gears_without_a_common_speed_have_no_shift_point() -> None:
    assert find_shift_point(ENGINE, ENGINE / 100, 100.0, 10.0) is None


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (1.0, 0.0), (1.0, 1.0), (math.nan, 1.0)])
def test_impossible_gears_are_refused(low: float, high: float) -> None:
    with pytest.raises(ValueError, match=r"ratio|gear|above zero|km/h"):
        find_shift_point(ENGINE, ENGINE / 100, low, high)
