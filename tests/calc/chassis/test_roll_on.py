import numpy as np
import pytest

from jobs.calc.chassis.roll_on import (
    GearUse,
    RollOn,
    Vehicle,
    compute_roll_on,
    compute_rotating_share,
    dry_air_density_kgm3,
    front_lift_limit_n,
    tyre_grip_limit_n,
)
from jobs.calc.dyno.curves import Curve, power_curve
from tests.reference import closed_forms

SPEED = np.arange(3_000.0, 12_001.0, 10.0)
SECOND, THIRD = 90.0, 70.0  # 1/min to the km/h
KMH = 1 / 3.6


def constant_power(power_kw: float = 70.0) -> Curve:
    return power_curve(SPEED, np.full(SPEED.size, power_kw))


def constant_torque(torque_nm: float = 80.0) -> Curve:
    return power_curve(SPEED, torque_nm=np.full(SPEED.size, torque_nm))


def force_n(torque_nm: float, rpm_per_kmh: float) -> float:
    """Torque times radians a second to the metre a second."""
    return torque_nm * rpm_per_kmh * 3.6 * np.pi / 30


def test_trace_runs_from_start_to_end_speed() -> None:
    found = compute_roll_on(constant_power(), Vehicle(260), GearUse((SECOND,)), 60, 120)
    assert found.time_s[0] == found.distance_m[0] == 0
    assert found.speed_ms[[0, -1]] == pytest.approx([60 * KMH, 120 * KMH])
    assert found.engine_speed_rpm[[0, -1]] == pytest.approx([5_400, 10_800])
    assert (np.diff(found.time_s) > 0).all()
    assert found.at_limit_s == 0


def test_rotating_share_counts_as_mass() -> None:
    plain = compute_roll_on(constant_power(), Vehicle(260), GearUse((SECOND,)), 60, 120)
    turning = compute_roll_on(
        constant_power(), Vehicle(260, rotating_share=0.08), GearUse((SECOND,)), 60, 120
    )
    assert turning.total_time_s == pytest.approx(1.08 * plain.total_time_s)
    assert turning.total_distance_m == pytest.approx(1.08 * plain.total_distance_m)


def test_rolling_resistance_reduces_the_drive() -> None:
    """Constant force: 80 N·m in second less 0.02·260·9.80665 = 50.99 N."""
    found = compute_roll_on(
        constant_torque(), Vehicle(260, rolling_coefficient=0.02), GearUse((SECOND,)), 60, 120
    )
    closed = closed_forms.under_constant_force(260, force_n(80, SECOND) - 50.99, 60 * KMH, 120 * KMH)
    assert (found.total_time_s, found.total_distance_m) == pytest.approx(closed, rel=1e-4)


def test_limit_below_the_drive_sets_the_acceleration() -> None:
    found = compute_roll_on(constant_torque(), Vehicle(260, drive_limit_n=1_500), GearUse((SECOND,)), 60, 120)
    assert found.total_time_s == pytest.approx(260 * 60 * KMH / 1_500, rel=1e-6)
    assert found.at_limit_s == pytest.approx(found.total_time_s)


def test_limit_applies_only_while_the_drive_is_larger() -> None:
    """70 kW pass 2,400 N above 29.167 m/s: constant force up to there, constant power after it."""
    vehicle, change = Vehicle(260, drive_limit_n=2_400), 70_000 / 2_400
    found = compute_roll_on(constant_power(), vehicle, GearUse((SECOND,)), 60, 120)
    below = closed_forms.under_constant_force(260, 2_400, 60 * KMH, change)
    above = closed_forms.under_constant_power(260, 70, change, 120 * KMH)
    assert found.total_time_s == pytest.approx(below[0] + above[0], rel=1e-3)
    assert found.total_distance_m == pytest.approx(below[1] + above[1], rel=1e-3)
    assert found.at_limit_s == pytest.approx(below[0], rel=0.01)


def test_next_gear_drives_after_the_change() -> None:
    """Second to 9,900 1/min = 110 km/h, then third; constant torque makes two constant forces."""
    gears = GearUse((SECOND, THIRD), shift_rpm=9_900)
    found = compute_roll_on(constant_torque(), Vehicle(260), gears, 60, 140)
    second = closed_forms.under_constant_force(260, force_n(80, SECOND), 60 * KMH, 110 * KMH)
    third = closed_forms.under_constant_force(260, force_n(80, THIRD), 110 * KMH, 140 * KMH)
    assert found.total_time_s == pytest.approx(second[0] + third[0], rel=1e-4)
    assert found.total_distance_m == pytest.approx(second[1] + third[1], rel=1e-4)
    assert set(found.gear) == {0, 1}
    assert found.engine_speed_rpm.max() == pytest.approx(9_900)


def test_gear_change_costs_its_time_and_the_speed_lost() -> None:
    """Rolling resistance of 0.02·g = 0.19613 m/s² for 0.3 s loses 0.05884 m/s, to be won again in third."""
    vehicle = Vehicle(260, rolling_coefficient=0.02)
    quick = compute_roll_on(constant_torque(), vehicle, GearUse((SECOND, THIRD), 9_900), 60, 140)
    slow = compute_roll_on(constant_torque(), vehicle, GearUse((SECOND, THIRD), 9_900, shift_s=0.3), 60, 140)
    won_again = 0.05884 * 260 / (force_n(80, THIRD) - 50.99)
    assert slow.total_time_s - quick.total_time_s == pytest.approx(0.3 + won_again, rel=1e-3)


def test_end_below_shift_speed_stays_in_first_gear() -> None:
    found = compute_roll_on(
        constant_torque(), Vehicle(260), GearUse((SECOND, THIRD), shift_rpm=9_900), 60, 100
    )
    assert set(found.gear) == {0}


def test_start_above_shift_speed_begins_in_next_gear() -> None:
    gears = GearUse((SECOND, THIRD), shift_rpm=9_000, shift_s=0.3)
    found = compute_roll_on(constant_torque(), Vehicle(260), gears, 110, 140)
    assert set(found.gear) == {1}
    assert found.total_time_s == pytest.approx(260 * 30 * KMH / force_n(80, THIRD), rel=1e-4)


def test_more_drive_covers_more_distance_at_the_same_instant() -> None:
    """Constant forces F and 1.1·F: at the quicker one's end the lead is 0.1·F·t²/2m."""
    before = compute_roll_on(constant_torque(80), Vehicle(260), GearUse((SECOND,)), 60, 120)
    after = compute_roll_on(constant_torque(88), Vehicle(260), GearUse((SECOND,)), 60, 120)
    time = np.linspace(0, after.total_time_s, 200)
    lead = after.distance_at_m(time) - before.distance_at_m(time)
    np.testing.assert_allclose(lead, 0.1 * force_n(80, SECOND) * time**2 / (2 * 260), atol=1e-3)


def test_distance_after_the_end_of_the_trace_is_nan() -> None:
    found = compute_roll_on(constant_power(), Vehicle(260), GearUse((SECOND,)), 60, 120)
    assert np.isnan(found.distance_at_m(found.total_time_s + 1))
    assert found.distance_at_m(0.0) == 0


def test_front_lift_limit_is_the_weights_lever() -> None:
    # 260 kg · 9.80665 · 0.70 m / 0.65 m
    assert front_lift_limit_n(260, 0.70, 0.65) == pytest.approx(2_745.86, abs=0.01)


def test_grip_limit_includes_load_transfer() -> None:
    """µ = 0.8, L = 1.4 m, b = 0.70 m, h = 0.65 m: rear load m·g/2 + F·h/L, and F is 0.8 of that."""
    force = tyre_grip_limit_n(260, 0.8, 1.4, 0.70, 0.65)
    rear_load = 260 * 9.80665 / 2 + force * 0.65 / 1.4
    assert force == pytest.approx(0.8 * rear_load)


def test_grip_limit_with_all_load_at_the_rear_is_friction_times_weight() -> None:
    # Above µ = b/h = 1.077 the front wheel is up first.
    assert tyre_grip_limit_n(260, 1.2, 1.4, 0.70, 0.65) == pytest.approx(1.2 * 260 * 9.80665)
    at_limit = tyre_grip_limit_n(260, 0.70 / 0.65, 1.4, 0.70, 0.65)
    assert at_limit == pytest.approx(front_lift_limit_n(260, 0.70, 0.65))


def roll_on(
    from_kmh: float = 60, to_kmh: float = 120, curve: Curve | None = None, **vehicle: float
) -> RollOn:
    return compute_roll_on(
        curve or constant_power(), Vehicle(260, **vehicle), GearUse((SECOND,)), from_kmh, to_kmh
    )


@pytest.mark.parametrize(
    ("ends", "message"), [((120, 60), "end speed"), ((60, 60), "end speed"), ((-5, 60), "end speed")]
)
def test_end_speed_not_above_start_is_refused(ends: tuple[float, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        roll_on(*ends)


def test_unmeasured_engine_speeds_are_refused() -> None:
    with pytest.raises(
        ValueError,
        match=r"from 1800 to 10\s800 rpm, but the curve was measured from 3000 to 12\s000",
    ):
        roll_on(from_kmh=20)


def test_gap_in_the_curve_is_refused_only_if_passed() -> None:
    kept = (SPEED < 6_000) | (SPEED > 7_000)
    gapped = power_curve(SPEED[kept], np.full(kept.sum(), 70.0))
    with pytest.raises(ValueError, match="gap"):
        roll_on(curve=gapped)
    assert roll_on(from_kmh=80, curve=gapped).total_time_s > 0


def test_bike_too_slow_for_end_speed_is_refused_with_its_speed() -> None:
    """10 kW against ½·1.2·0.5·v³: v = (10,000/0.3)^⅓ = 32.18 m/s = 115.9 km/h."""
    with pytest.raises(ValueError, match=r"does not reach 120 km/h. At 116 km/h"):
        roll_on(curve=constant_power(10), drag_area_m2=0.5)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Vehicle(0), "mass"),
        (lambda: Vehicle(260, drag_area_m2=-0.1), "drag area cannot be below zero"),
        (lambda: Vehicle(260, rotating_share=float("nan")), "rotating share"),
        (lambda: Vehicle(260, drive_limit_n=0), "limit of the drive force"),
        (lambda: GearUse(()), "Choose the gear"),
        (lambda: GearUse((90, 70)), "shift rpm"),
        (lambda: GearUse((70, 90), shift_rpm=9_000), "taller than the one before"),
        (lambda: GearUse((90, -70), shift_rpm=9_000), "per km/h"),
        (lambda: GearUse((90,), shift_s=-1), "gear change"),
        (lambda: front_lift_limit_n(260, 0.7, 0), "height"),
        (lambda: tyre_grip_limit_n(260, 0.9, 1.4, 1.5, 0.6), "between the wheels"),
        (lambda: tyre_grip_limit_n(260, 0, 1.4, 0.7, 0.6), "friction"),
    ],
)
def test_impossible_bike_is_refused(make, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        make()


def test_rotating_share_is_the_kinetic_energy_of_what_turns() -> None:
    """At 100 km/h: engine at 5,000 1/min, ½·0.03·523.6² J, wheels at v/r, ½·1.2·(27.78/0.3)² J."""
    turning = 0.5 * 0.03 * (5000 * np.pi / 30) ** 2 + 0.5 * 1.2 * (100 / 3.6 / 0.3) ** 2
    share = turning / (0.5 * 270 * (100 / 3.6) ** 2)
    assert compute_rotating_share(270, 50.0, 0.3, 0.03, 1.2) == pytest.approx(share, rel=1e-9)
    with pytest.raises(ValueError, match="rolling radius"):
        compute_rotating_share(270, 50.0, 0.0, 0.03, 1.2)


def test_density_of_dry_air_agrees_with_the_standard_atmosphere() -> None:
    # ISO 2533:1975, sea level: 15 °C, 101.325 kPa, 1.225 kg/m³; 2,000 m: 275.154 K, 79.501 kPa, 1.00655 kg/m³
    assert dry_air_density_kgm3(15.0, 101.325) == pytest.approx(1.225, abs=5e-5)
    assert dry_air_density_kgm3(275.154 - 273.15, 79.501) == pytest.approx(1.00655, abs=5e-5)
    with pytest.raises(ValueError, match="air pressure"):
        dry_air_density_kgm3(15.0, 0.0)
