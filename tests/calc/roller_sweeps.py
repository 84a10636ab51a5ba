"""Sweeps on an inertia roller with overrun in the file, at a chosen rate, whose true power is known."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

RPM_PER_RAD_S = 8 * 30 / np.pi
FROM_RPM, TO_RPM = 3_500.0, 11_500.0
STEP_S = 0.001


def true_power_kw(
    engine_speed_rpm: npt.ArrayLike, dip: tuple[float, float] = (0.0, 300.0), falls: bool = False
) -> Floats:
    """Return power that rises to the top or falls before it.

    ``dip`` is its share of power and its full width at half that.
    """
    speed = np.asarray(engine_speed_rpm, dtype=float)
    share, width_rpm = dip
    hollow = share * np.exp(-4 * np.log(2) * ((speed - 8_000) / width_rpm) ** 2)
    middle, width = (8_000, 3_500) if falls else (9_000, 6_000)
    return (95 - 30 * ((speed - middle) / width) ** 2) * (1 - hollow) * speed * np.pi / 30_000


@dataclass
class RollerSweep:
    time_s: Floats
    engine_speed_rpm: Floats
    throttle_pct: Floats
    roller_speed_rad_s: Floats
    inertia_kgm2: float


def roller_sweep(
    rpm_per_s: float,
    *,
    hz: float = 100.0,
    speed_noise: float = 2e-5,
    closing_s: float = 0.15,
    dip: tuple[float, float] = (0.0, 300.0),
    falls: bool = False,
    seed: int = 0,
) -> RollerSweep:
    """Half a second shut, opened in 0.2 s, wide open to the top, closed by hand, then 2 s of overrun.

    The roller's inertia is the one that gives the rate at 8,000 1/min without the dip.
    """
    at = 8_000 / RPM_PER_RAD_S
    inertia = float(true_power_kw(8_000, falls=falls)) * 1000 / (at * rpm_per_s / RPM_PER_RAD_S)
    speeds = np.arange(1_000.0, 13_001.0)
    powers = true_power_kw(speeds, dip, falls)
    speed, closes, rows = FROM_RPM, np.inf, []
    for step in range(round(40 / STEP_S)):
        time = step * STEP_S
        if speed >= TO_RPM:
            closes = min(closes, time)
        opened = min(max((time - 0.5) / 0.2, 0.0), 1.0) if closes == np.inf else 0.0
        opened = max(1 - (time - closes) / closing_s, 0.0) if closes < np.inf else opened
        rows.append((time, speed, 100 * opened))
        if time > closes + 2:
            break
        # The plate passes most of the air at half its opening; shut, the engine brakes.
        power = float(np.interp(speed, speeds, powers)) * (1.15 * np.sqrt(opened) - 0.15)
        power = 0.0 if time < 0.5 else power
        roller = speed / RPM_PER_RAD_S
        speed = float(np.sqrt(roller**2 + 2000 * power * STEP_S / inertia)) * RPM_PER_RAD_S
    time_s, speed_rpm, throttle_pct = np.array(rows)[:: round(1 / hz / STEP_S)].T
    scatter = 1 + speed_noise * np.random.default_rng(seed).normal(size=time_s.size)
    return RollerSweep(time_s, speed_rpm, throttle_pct, speed_rpm / RPM_PER_RAD_S * scatter, inertia)
