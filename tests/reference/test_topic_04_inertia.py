"""Computed values of the inertia roller: closed forms, and the product's power checked by them."""

from typing import Any

import numpy as np
import pytest

from jobs.calc.dyno.roller import Losses, RollerPower, coast_down, roller_power
from jobs.calc.units import identities
from tests.reference import closed_forms
from tests.reference.cases import Case, assert_case, find_handler, topic_params


def given(case: Case, *names: str) -> list[float]:
    return [case["inputs"][name] for name in names]


def assert_power_is_found(inertia_kgm2: float) -> None:
    """Check the product's power for a run of constant power on a roller."""
    time = np.linspace(0, 2, 201)
    speed = closed_forms.speed_under_power(inertia_kgm2, 50, 30, time)
    assert roller_power(time, speed, inertia_kgm2).power_kw == pytest.approx(30, rel=1e-9)


def solid(case: Case) -> dict[str, float]:
    mass, radius = given(case, "mass_kg", "radius_m")
    inertia = closed_forms.solid_roller_inertia_kgm2(mass, radius)
    assert_power_is_found(inertia)
    return {"J_kgm2": inertia, "equivalent_mass_kg": inertia / radius**2}


def hollow(case: Case) -> float:
    inertia = closed_forms.hollow_roller_inertia_kgm2(*given(case, "mass_kg", "r_outer_m", "r_inner_m"))
    assert_power_is_found(inertia)
    return inertia


def at_constant_acceleration(
    inertia: float, acceleration: float, speed: float, losses: Losses | None = None
) -> RollerPower:
    """Return the product's power of a run with a given speed at its middle sample."""
    time = np.linspace(-0.5, 0.5, 101)
    return roller_power(time, speed + acceleration * time, inertia, losses)


def inertia_power(case: Case) -> dict[str, float]:
    found = at_constant_acceleration(*given(case, "J_kgm2", "alpha_rad_s2", "omega_rad_s"))
    return {"torque_Nm": found.torque_nm[50], "power_kW": found.power_kw[50]}


def constant_torque(case: Case) -> dict[str, float]:
    inertia, start, torque, end_s = given(case, "J_kgm2", "omega0_rad_s", "torque_Nm", "t_s")
    time = np.linspace(0, end_s, 501)
    found = roller_power(time, closed_forms.speed_under_torque(inertia, start, torque, time), inertia)
    energy = np.trapezoid(1000 * found.power_kw, time)
    return {
        "omega_rad_s": found.roller_speed_rad_s[-1],
        "power_end_kW": found.power_kw[-1],
        "energy_J": energy,
    }


def constant_power(case: Case) -> dict[str, float]:
    inertia, start, power, end_s = given(case, "J_kgm2", "omega0_rad_s", "power_W", "t_s")
    time = np.linspace(0, end_s, 501)
    found = roller_power(time, closed_forms.speed_under_power(inertia, start, power / 1000, time), inertia)
    return {
        "omega_rad_s": found.roller_speed_rad_s[-1],
        "mean_power_from_energy_W": 1000 * found.power_kw.mean(),
        "torque_end_Nm": found.torque_nm[-1],
    }


def step_energy(case: Case) -> float:
    """Return the mean power of a step in which the speed rises as under constant power."""
    inertia, start, end, step_s = given(case, "J_kgm2", "omega1_rad_s", "omega2_rad_s", "dt_s")
    time = np.linspace(0, step_s, 9)
    speed = np.sqrt(start**2 + (end**2 - start**2) * time / step_s)
    return float(roller_power(time, speed, inertia, window_s=step_s).power_kw.mean())


def linear_loss(case: Case) -> float:
    """Compute the drive torque of the closed form's run from the known loss."""
    inertia, start, drive, loss, end_s = given(
        case, "J_kgm2", "omega0_rad_s", "drive_torque_Nm", "loss_coeff_Nms", "t_s"
    )
    time = np.linspace(0, end_s, 501)
    speed = closed_forms.speed_under_linear_loss(inertia, start, drive, loss, time)
    found = roller_power(time, speed, inertia, Losses((0.0, loss), 0.0, 1e3))
    assert found.torque_nm == pytest.approx(drive, abs=0.05)
    return float(speed[-1])


def coast_quadratic(case: Case) -> dict[str, float]:
    """Compute the loss torque of the closed form's run."""
    roller = given(case, "J_kgm2", "omega0_rad_s", "c0_Nm", "c2_Nms2")
    inertia, _, constant, square = roller
    stop_s = closed_forms.coasting_time_s(*roller)
    time = np.linspace(0, 0.7 * stop_s, 2_001)
    losses = coast_down(time, closed_forms.coasting_speed(*roller, time), inertia, window_s=1.0)
    inside = np.linspace(losses.from_rad_s, losses.to_rad_s, 20)
    assert losses.torque_nm(inside) == pytest.approx(constant + square * inside**2, rel=1e-3)
    return {
        "omega_rad_s": float(closed_forms.coasting_speed(*roller, case["inputs"]["t_s"])),
        "stop_time_s": stop_s,
    }


def coast_added(case: Case) -> dict[str, float]:
    inertia, speed, run, coast = given(
        case, "J_kgm2", "omega_rad_s", "alpha_run_rad_s2", "alpha_coast_rad_s2"
    )
    time = np.linspace(-20, 20, 401)
    losses = coast_down(time, speed + coast * time, inertia, degree=0)
    drum = at_constant_acceleration(inertia, run, speed).power_kw[50]
    total = at_constant_acceleration(inertia, run, speed, losses).power_kw[50]
    return {"drum_kW": drum, "loss_kW": total - drum, "total_kW": total}


def at_the_engine(case: Case) -> dict[str, float]:
    torque, drum, engine = given(case, "drum_torque_Nm", "drum_omega_rad_s", "engine_omega_rad_s")
    engine_rpm = engine / identities.RAD_PER_S_PER_RPM
    power = identities.power_kw(torque, drum / identities.RAD_PER_S_PER_RPM)
    return {
        "engine_referred_torque_Nm": identities.torque_nm(power, engine_rpm),
        "power_kW": power,
        "engine_rpm": engine_rpm,
    }


def sampled_constant_power(case: Case) -> dict[str, Any]:
    """Check that slopes of ω² give constant power exactly; central differences of ω do not."""
    inertia, start, power, step, end_s = given(case, "J_kgm2", "omega0_rad_s", "power_W", "dt_s", "t_end_s")
    time = np.arange(round(end_s / step) + 1) * step
    speed = closed_forms.speed_under_power(inertia, start, power / 1000, time)
    found = roller_power(time, speed, inertia, window_s=2 * step).power_kw
    np.testing.assert_allclose(found[1:-1], found[1], rtol=1e-9)
    by_difference = inertia * speed * np.gradient(speed, step)
    return {
        "energy_method_power_W": found[1] * 1000,
        "central_difference_max_rel_error": np.abs(by_difference[1:-1] / power - 1).max(),
    }


HANDLERS = {
    "drum-J-solid": solid,
    "drum-J-hollow": hollow,
    "inertia-power": inertia_power,
    "run-const-torque": constant_torque,
    "run-const-power": constant_power,
    "step-energy": step_energy,
    "loss-linear": linear_loss,
    "coast-quadratic": coast_quadratic,
    "coast-add": coast_added,
    "drum-to-engine": at_the_engine,
    "sampled-const-power": sampled_constant_power,
}


@pytest.mark.parametrize("case", topic_params(4))
def test_roller_agrees_with_reference(case: Case) -> None:
    assert_case(case, find_handler(case, HANDLERS)(case))
