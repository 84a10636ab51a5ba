"""Computed values of straight-line acceleration: closed forms, and the integrator checked by them."""

import numpy as np
import pytest

from jobs.calc.chassis.roll_on import KMH_PER_MPS, GearUse, Vehicle, compute_roll_on
from jobs.calc.dyno.curves import Curve
from tests.reference import closed_forms
from tests.reference.cases import Case, assert_case, find_handler, topic_params

# 100 1/min to the km/h, so that the curve's 50 1/min grid is one of 0.5 km/h.
RPM_PER_KMH = 100.0
GRID_RPM = np.arange(0.0, 40_000.0, 50.0)
SPEED_MS = GRID_RPM / RPM_PER_KMH / KMH_PER_MPS
INTEGRATOR_LIMIT = 1e-3


def curve_of_force(force_n: np.ndarray) -> Curve:
    """Return a curve with a given drive force at every road speed of the grid."""
    power_kw = force_n * SPEED_MS / 1000
    rad_s_per_ms = RPM_PER_KMH * KMH_PER_MPS * np.pi / 30
    return Curve(
        engine_speed_rpm=GRID_RPM,
        power_kw=power_kw,
        torque_nm=force_n / rad_s_per_ms,
        n=np.ones(GRID_RPM.size, dtype=int),
        spread_kw=np.zeros(GRID_RPM.size),
        peak_power_kw=float(np.nanmax(power_kw)),
        peak_power_rpm=float(GRID_RPM[-1]),
        peak_torque_nm=0.0,
        peak_torque_rpm=0.0,
        grid_step_rpm=50.0,
        width_rpm=200.0,
    )


def constant_force(force_n: float) -> Curve:
    return curve_of_force(np.full(GRID_RPM.size, float(force_n)))


def constant_power(power_w: float) -> Curve:
    """Return a curve of constant power, not measured near a standstill, where its drive is infinite."""
    return curve_of_force(power_w / np.where(SPEED_MS > 1, SPEED_MS, np.nan))


def integrated(curve: Curve, vehicle: Vehicle, from_ms: float, to_ms: float) -> tuple[float, float]:
    found = compute_roll_on(
        curve, vehicle, GearUse((RPM_PER_KMH,)), from_ms * KMH_PER_MPS, to_ms * KMH_PER_MPS
    )
    return found.total_time_s, found.total_distance_m


def assert_integrated(
    closed: tuple[float, float], curve: Curve, vehicle: Vehicle, from_ms: float, to_ms: float
) -> None:
    """Check that the integrator is within 0.1 % of the closed form in time and distance."""
    assert integrated(curve, vehicle, from_ms, to_ms) == pytest.approx(closed, rel=INTEGRATOR_LIMIT)


def ends_ms(case: Case) -> tuple[float, float]:
    given = case["inputs"]
    return given["v1_kmh"] / KMH_PER_MPS, given["v2_kmh"] / KMH_PER_MPS


def drag(case: Case) -> float:
    return closed_forms.drag_factor(case["inputs"]["rho_kgm3"], case["inputs"]["CdA_m2"])


def vehicle(case: Case) -> Vehicle:
    given = case["inputs"]
    return Vehicle(
        given["mass_kg"],
        drag_area_m2=given.get("CdA_m2", 0.0),
        air_density_kgm3=given.get("rho_kgm3", 1.2),
        rolling_coefficient=given.get("crr", 0.0),
    )


def by_constant_power(case: Case) -> dict[str, float]:
    given = case["inputs"]
    mass, power_kw, (start, end) = given["mass_kg"], given["power_W"] / 1000, ends_ms(case)
    closed = closed_forms.under_constant_power(mass, power_kw, start, end)
    # Constant power has no finite drive at a standstill, so the integrator starts rolling.
    rolling = max(start, 0.1 * end)
    from_rolling = closed_forms.under_constant_power(mass, power_kw, rolling, end)
    assert_integrated(from_rolling, constant_power(given["power_W"]), vehicle(case), rolling, end)
    return dict(zip(("time_s", "distance_m"), closed, strict=True))


def by_constant_force(case: Case) -> dict[str, float]:
    given = case["inputs"]
    closed = closed_forms.under_constant_force(given["mass_kg"], given["force_N"], *ends_ms(case))
    assert_integrated(closed, constant_force(given["force_N"]), vehicle(case), *ends_ms(case))
    return dict(zip(("time_s", "distance_m"), closed, strict=True))


def by_force_and_drag(case: Case) -> dict[str, float]:
    """Integrate up to the speed reached, which must take the given time."""
    given = case["inputs"]
    mass, force, start, time = (given[k] for k in ("mass_kg", "force_N", "v0_ms", "t_s"))
    speed, distance = closed_forms.under_force_and_drag(mass, force, drag(case), start, time)
    assert_integrated((time, distance), constant_force(force), vehicle(case), start, speed)
    terminal = closed_forms.terminal_speed_of_force_ms(force, drag(case))
    return {"terminal_ms": terminal, "v_ms": speed, "distance_m": distance}


def by_power_and_drag(case: Case) -> dict[str, float]:
    given = case["inputs"]
    power_kw, ends = given["power_W"] / 1000, (given["v1_ms"], given["v2_ms"])
    closed = closed_forms.under_power_and_drag(given["mass_kg"], power_kw, drag(case), *ends)
    assert_integrated(closed, constant_power(given["power_W"]), vehicle(case), *ends)
    terminal = closed_forms.terminal_speed_of_power_ms(power_kw, drag(case))
    return {"terminal_ms": terminal, "time_s": closed[0], "distance_m": closed[1]}


def top_speed(case: Case) -> dict[str, float]:
    """Integrate to just below the top speed; just above it must be refused."""
    given = case["inputs"]
    rolling = closed_forms.rolling_resistance_n(given["mass_kg"], given["crr"])
    top = closed_forms.terminal_speed_of_power_ms(given["power_W"] / 1000, drag(case), rolling)
    curve = constant_power(given["power_W"])
    integrated(curve, vehicle(case), 0.5 * top, top * (1 - INTEGRATOR_LIMIT))
    with pytest.raises(ValueError, match="does not reach"):
        integrated(curve, vehicle(case), 0.5 * top, top * (1 + INTEGRATOR_LIMIT))
    return {"v_ms": top, "v_kmh": top * KMH_PER_MPS}


HANDLERS = {
    "acc-const-power": by_constant_power,
    "acc-const-force": by_constant_force,
    "acc-drag": by_force_and_drag,
    "acc-power-drag": by_power_and_drag,
    "topspeed": top_speed,
}


@pytest.mark.parametrize("case", topic_params(5))
def test_acceleration_agrees_with_reference(case: Case) -> None:
    assert_case(case, find_handler(case, HANDLERS)(case))
