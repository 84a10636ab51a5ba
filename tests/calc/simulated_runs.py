"""Seeded runs of an invented engine on an inertia roller, whose true power is known."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

INERTIA_KGM2 = 40.0
ENGINE_TURNS_PER_ROLLER_TURN = 8.0
RPM_PER_RAD_S = ENGINE_TURNS_PER_ROLLER_TURN * 30 / np.pi
IDLE_RPM, TO_RPM = 3_000.0, 11_500.0
RATE_HZ = 100.0
STEP_S = 0.002


def true_torque_nm(engine_speed_rpm: npt.ArrayLike) -> Floats:
    """Return a curve with a dip in the middle, as an intake causes it."""
    speed = np.asarray(engine_speed_rpm, dtype=float)
    hill = 78 - 26 * ((speed - 8_200) / 5_000) ** 2
    return hill - 5 * np.exp(-(((speed - 6_000) / 600) ** 2))


def true_power_kw(engine_speed_rpm: npt.ArrayLike) -> Floats:
    return true_torque_nm(engine_speed_rpm) * np.asarray(engine_speed_rpm) * np.pi / 30 / 1000


@dataclass
class Run:
    time_s: Floats
    engine_speed_rpm: Floats
    throttle_pct: Floats
    roller_speed_rad_s: Floats
    power_kw: Floats


def drive(gain: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Idle, roll-on, sweep and overrun: J·ω·dω/dt = P in short steps. Time, speed, throttle, power.

    Above 80 % the plate hardly holds the engine back any more: there it gives all it has.
    """
    speed, throttle, rows = IDLE_RPM, 4.0, []
    for step in range(round(16 / STEP_S)):
        time = step * STEP_S
        if throttle > 0:
            throttle = 4.0 + 96.0 * min(max((time - 1.0) / 0.6, 0.0), 1.0)
        if speed >= TO_RPM:
            throttle = 0.0
        share = min((throttle - 4.0) / 76.0, 1.0) if throttle > 0 else -0.15
        power = gain * share * float(true_power_kw(speed))
        rows.append((time, speed, throttle, power))
        roller = speed / RPM_PER_RAD_S
        speed = float(np.sqrt(roller**2 + 2000 * power * STEP_S / INERTIA_KGM2)) * RPM_PER_RAD_S
        if throttle == 0.0 and speed < 8_000:
            break
    time_s, speed_rpm, throttle_pct, power_kw = np.array(rows).T
    return time_s, speed_rpm, throttle_pct, power_kw


def simulate(
    rng: np.random.Generator,
    *,
    gain: float = 1.0,
    power_noise: float = 0.004,
    missing: float = 0.0,
    dropouts: int = 0,
) -> Run:
    """One run as a logger would have stored it; ``gain`` is the air's and the run's own doing."""
    every = round(1 / RATE_HZ / STEP_S)
    time, speed, throttle, power = (channel[::every] for channel in drive(gain))
    power = power * (1 + rng.normal(0, power_noise, time.size))
    roller = speed / RPM_PER_RAD_S + rng.normal(0, 0.01, time.size)
    engine = speed + rng.normal(0, 6, time.size)
    throttle = throttle + rng.normal(0, 0.2, time.size)
    lost = rng.choice(time.size, dropouts, replace=False)
    engine[lost[::2]], power[lost[1::2]] = 0.0, 0.0
    kept = np.sort(rng.permutation(time.size)[: round(time.size * (1 - missing))])
    return Run(time[kept], engine[kept], throttle[kept], roller[kept], power[kept])
