"""Computed values of the inertia roller, each through the project's functions."""

from typing import Any

import numpy as np
import pytest

from jobs.calc.dyno import roller, roller_motion
from jobs.calc.units import identities
from tests.reference.cases import Case, assert_case, handler_for, topic_params


def solid(case: Case) -> dict[str, float]:
    mass, radius = case["inputs"]["mass_kg"], case["inputs"]["radius_m"]
    inertia = roller.solid_roller_inertia_kgm2(mass, radius)
    return {"J_kgm2": inertia, "equivalent_mass_kg": roller.equivalent_mass_kg(inertia, radius)}


def hollow(case: Case) -> float:
    given = case["inputs"]
    return roller.hollow_roller_inertia_kgm2(given["mass_kg"], given["r_outer_m"], given["r_inner_m"])


def inertia_power(case: Case) -> dict[str, float]:
    inertia, acceleration, speed = (case["inputs"][k] for k in ("J_kgm2", "alpha_rad_s2", "omega_rad_s"))
    return {
        "torque_Nm": roller.inertia_torque_nm(inertia, acceleration),
        "power_kW": roller.inertia_power_kw(inertia, acceleration, speed),
    }


def constant_torque(case: Case) -> dict[str, float]:
    inertia, start, torque, time = (case["inputs"][k] for k in ("J_kgm2", "omega0_rad_s", "torque_Nm", "t_s"))
    end = roller_motion.speed_under_torque(inertia, start, torque, time)
    gained = roller.kinetic_energy_j(inertia, end) - roller.kinetic_energy_j(inertia, start)
    end_power = identities.power_kw(torque, end / identities.RAD_PER_S_PER_RPM)
    return {"omega_rad_s": end, "power_end_kW": end_power, "energy_J": gained}


def constant_power(case: Case) -> dict[str, float]:
    inertia, start, power, time = (case["inputs"][k] for k in ("J_kgm2", "omega0_rad_s", "power_W", "t_s"))
    end = roller_motion.speed_under_power(inertia, start, power / 1000, time)
    mean_power = roller.step_power_kw(inertia, [0, time], [start, end])[0]
    end_torque = identities.torque_nm(power / 1000, end / identities.RAD_PER_S_PER_RPM)
    return {"omega_rad_s": end, "mean_power_from_energy_W": mean_power * 1000, "torque_end_Nm": end_torque}


def step_energy(case: Case) -> float:
    given = case["inputs"]
    speeds = [given["omega1_rad_s"], given["omega2_rad_s"]]
    return float(roller.step_power_kw(given["J_kgm2"], [0, given["dt_s"]], speeds)[0])


def linear_loss(case: Case) -> float:
    keys = ("J_kgm2", "omega0_rad_s", "drive_torque_Nm", "loss_coeff_Nms", "t_s")
    return roller_motion.speed_under_linear_loss(*(case["inputs"][k] for k in keys))


def coast_quadratic(case: Case) -> dict[str, float]:
    given = case["inputs"]
    roller_is = [given[k] for k in ("J_kgm2", "omega0_rad_s", "c0_Nm", "c2_Nms2")]
    return {
        "omega_rad_s": roller_motion.coasting_speed(*roller_is, given["t_s"]),
        "stop_time_s": roller_motion.coasting_time_s(*roller_is),
    }


def coast_added(case: Case) -> dict[str, float]:
    given = case["inputs"]
    inertia, speed = given["J_kgm2"], given["omega_rad_s"]
    drum = roller.inertia_power_kw(inertia, given["alpha_run_rad_s2"], speed)
    loss = -roller.inertia_power_kw(inertia, given["alpha_coast_rad_s2"], speed)
    return {"drum_kW": drum, "loss_kW": loss, "total_kW": drum + loss}


def at_the_engine(case: Case) -> dict[str, float]:
    torque, drum, engine = (
        case["inputs"][k] for k in ("drum_torque_Nm", "drum_omega_rad_s", "engine_omega_rad_s")
    )
    engine_torque = roller.engine_torque_nm(torque, drum, engine)
    engine_rpm = roller.engine_speed_rpm(drum, engine / drum)
    power = identities.power_kw(engine_torque, engine_rpm)
    return {"engine_referred_torque_Nm": engine_torque, "power_kW": power, "engine_rpm": engine_rpm}


def sampled_constant_power(case: Case) -> dict[str, Any]:
    """A window of three samples makes the local quadratic's slope the central difference."""
    given = case["inputs"]
    inertia, power, step = given["J_kgm2"], given["power_W"], given["dt_s"]
    time = np.arange(round(given["t_end_s"] / step) + 1) * step
    speed = roller_motion.speed_under_power(inertia, given["omega0_rad_s"], power / 1000, time)
    by_energy = roller.step_power_kw(inertia, time, speed)
    np.testing.assert_allclose(by_energy, by_energy[0], rtol=1e-9)
    _, acceleration = roller.local_slope(time, speed, window_s=2 * step)
    by_difference = roller.inertia_power_kw(inertia, acceleration, speed)[1:-1]
    return {
        "energy_method_power_W": by_energy[0] * 1000,
        "central_difference_max_rel_error": np.abs(by_difference * 1000 / power - 1).max(),
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
def test_roller_meets_the_reference(case: Case) -> None:
    assert_case(case, handler_for(case, HANDLERS)(case))
