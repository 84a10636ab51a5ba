"""Closed forms and exhaustive searches that check results of the product."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import CONFIDENCE, SampleSummary, t_quantile


def printed_pad_number(number: int) -> int:
    """Round a calculated shim number (hundredths) to the 5s on sale, as a manufacturer's table prints it.

    Last digit 0 to 2 becomes 0, 3 to 6 becomes 5, 7 to 9 the next 0. Unlike the nearest 5, a 7 goes up.
    Source: Yamaha XP500 service manual, periodic maintenance, p. 3-7.
    """
    tens, digit = divmod(number, 10)
    return tens * 10 + (0 if digit <= 2 else 5 if digit <= 6 else 10)


@dataclass(frozen=True)
class ShimChoice:
    """One assignment of shims to valves; ``fitted`` holds a size, 'new' or None for each valve."""

    fitted: tuple[int | str | None, ...]
    deviation: int  # summed over the valves that get a shim

    @property
    def unserved(self) -> int:
        return self.fitted.count(None)

    @property
    def bought(self) -> int:
        return self.fitted.count("new")


@dataclass(frozen=True)
class WholeValve:
    """Shim, clearance, range and target of a valve in whole units of length, to avoid rounding."""

    fitted: int
    measured: int
    low: int
    high: int
    target: int


def every_shim_choice(
    valves: Sequence[WholeValve], stock: Sequence[int], on_sale: Sequence[int]
) -> Iterator[ShimChoice]:
    """Yield every possible assignment of shims to valves."""
    at_hand = [valve.fitted for valve in valves] + list(stock)
    options = []
    for valve in valves:
        total = valve.fitted + valve.measured
        deviations = {
            size: abs(total - size - valve.target)
            for size in {*at_hand, *on_sale}
            if valve.low <= total - size <= valve.high
        }
        mine: list[tuple[int | None, int | str | None, int]] = [(None, None, 0)]
        mine += [(j, size, deviations[size]) for j, size in enumerate(at_hand) if size in deviations]
        bought = [deviations[size] for size in on_sale if size in deviations]
        mine += [(None, "new", min(bought))] if bought else []
        options.append(mine)
    for pick in product(*options):
        taken = [j for j, _, _ in pick if j is not None]
        if len(taken) == len(set(taken)):
            yield ShimChoice(tuple(size for _, size, _ in pick), sum(off for _, _, off in pick))


@dataclass(frozen=True)
class BlendPart:
    """One fuel of a blend: share by volume, density [kg/m³], stoichiometric ratio [kg/kg]."""

    volume_share: float
    density_kg_m3: float
    afr: float


def blend_afr(parts: Iterable[BlendPart]) -> float:
    """Return the stoichiometric ratio of a blend [kg/kg], mixed by mass: Σ(v·ρ·AFR) / Σ(v·ρ)."""
    masses = [(part.volume_share * part.density_kg_m3, part.afr) for part in parts]
    return sum(mass * afr for mass, afr in masses) / sum(mass for mass, _ in masses)


Floats = npt.NDArray[np.float64] | float

GRAVITY_M_S2 = 9.80665

# --- Moist air: ASHRAE Handbook Fundamentals 2017, chapter 1


def humidity_ratio(vapour_kpa: float, pressure_kpa: float) -> float:
    """Return the mass of vapour by mass of dry air [kg/kg] at vapour and total pressure [kPa]."""
    return 0.621945 * vapour_kpa / (pressure_kpa - vapour_kpa)


def enthalpy_kj_per_kg(temperature_c: float, ratio: float) -> float:
    """Return the enthalpy by dry air [kJ/kg] at a temperature [°C] and humidity ratio [kg/kg]."""
    return 1.006 * temperature_c + ratio * (2501 + 1.86 * temperature_c)


def dry_air_density_kg_m3(temperature_c: float, dry_pressure_kpa: float) -> float:
    """Return the mass of dry air in a cubic metre [kg/m³] at a temperature [°C] and dry pressure [kPa]."""
    return 1000 * dry_pressure_kpa / (287.042 * (temperature_c + 273.15))


def magnus_pressure_kpa(temperature_c: float) -> float:
    """Return the saturation pressure [kPa] at -45 to 60 °C: WMO-No. 8, Part I, Annex 4.B."""
    return 0.6112 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))


# --- Transmission: EU 134/2014 Annex X Appendix 2.2, with shares of 95/1/EC from memory


def crank_by_wheel(efficiencies: Iterable[float]) -> float:
    """Return power at the crank over power at the wheel, through elements in line [1]."""
    return 1 / math.prod(efficiencies)


# --- A roller under simple torques: each solves J·dω/dt = torque; rigid-body mechanics, any dynamics text


def solid_roller_inertia_kgm2(mass_kg: float, radius_m: float) -> float:
    """Return m·r²/2 of a solid cylinder [kg·m²]."""
    return mass_kg * radius_m**2 / 2


def hollow_roller_inertia_kgm2(mass_kg: float, outer_m: float, inner_m: float) -> float:
    """Return m·(ro² + ri²)/2 of a thick tube [kg·m²]."""
    return mass_kg * (outer_m**2 + inner_m**2) / 2


def speed_under_torque(inertia_kgm2: float, start_rad_s: float, torque_nm: float, time_s: Floats) -> Floats:
    """Return ω = ω₀ + (T/J)·t under constant torque [rad/s]."""
    return start_rad_s + torque_nm / inertia_kgm2 * time_s


def speed_under_power(inertia_kgm2: float, start_rad_s: float, power_kw: float, time_s: Floats) -> Floats:
    """Return ω = √(ω₀² + 2·P·t/J) under constant power [rad/s]."""
    return np.sqrt(start_rad_s**2 + 2000 * power_kw / inertia_kgm2 * time_s)


def speed_under_linear_loss(
    inertia_kgm2: float, start_rad_s: float, torque_nm: float, loss_nms: float, time_s: Floats
) -> Floats:
    """Return ω = T/b + (ω₀ − T/b)·e^(−b·t/J) under constant torque against a loss b·ω [rad/s]."""
    end = torque_nm / loss_nms
    return end + (start_rad_s - end) * np.exp(-loss_nms / inertia_kgm2 * time_s)


def coasting_speed(
    inertia_kgm2: float, start_rad_s: float, constant_nm: float, square_nms2: float, time_s: Floats
) -> Floats:
    """Return the speed against c₀ + c₂·ω², zero from the standstill on [rad/s]."""
    rate = math.sqrt(constant_nm * square_nms2) / inertia_kgm2
    left = rate * (coasting_time_s(inertia_kgm2, start_rad_s, constant_nm, square_nms2) - time_s)
    return math.sqrt(constant_nm / square_nms2) * np.tan(np.maximum(left, 0.0))


def coasting_time_s(inertia_kgm2: float, start_rad_s: float, constant_nm: float, square_nms2: float) -> float:
    """Return the time to the standstill against c₀ + c₂·ω² [s]."""
    phase = math.atan(start_rad_s * math.sqrt(square_nms2 / constant_nm))
    return phase * inertia_kgm2 / math.sqrt(constant_nm * square_nms2)


# --- A straight line: rigid-body mechanics, any dynamics text; k = ½·ρ·CdA


def under_constant_power(
    mass_kg: float, power_kw: float, from_ms: float, to_ms: float
) -> tuple[float, float]:
    """Return time [s] and distance [m] without resistance: m·(v₂² − v₁²)/2P and m·(v₂³ − v₁³)/3P."""
    power = 1000 * power_kw
    return mass_kg * (to_ms**2 - from_ms**2) / (2 * power), mass_kg * (to_ms**3 - from_ms**3) / (3 * power)


def under_constant_force(mass_kg: float, force_n: float, from_ms: float, to_ms: float) -> tuple[float, float]:
    """Return time [s] and distance [m] without resistance: m·Δv/F and m·(v₂² − v₁²)/2F."""
    return mass_kg * (to_ms - from_ms) / force_n, mass_kg * (to_ms**2 - from_ms**2) / (2 * force_n)


def drag_factor(air_density_kgm3: float, drag_area_m2: float) -> float:
    """Return k = ½·ρ·CdA [N·s²/m²]."""
    return air_density_kgm3 * drag_area_m2 / 2


def terminal_speed_of_force_ms(force_n: float, drag: float) -> float:
    """Return the speed at which drag holds a constant force, √(F/k) [m/s]."""
    return math.sqrt(force_n / drag)


def under_force_and_drag(
    mass_kg: float, force_n: float, drag: float, from_ms: float, time_s: float
) -> tuple[float, float]:
    """Return speed [m/s] and distance [m] after a time with a constant force against drag.

    v = v_t·tanh(c + t·√(F·k)/m), s = (m/k)·ln(cosh(c + t·√(F·k)/m)/cosh c), c = artanh(v₀/v_t).
    """
    terminal = terminal_speed_of_force_ms(force_n, drag)
    start = math.atanh(from_ms / terminal)
    end = start + time_s * math.sqrt(force_n * drag) / mass_kg
    return terminal * math.tanh(end), mass_kg / drag * math.log(math.cosh(end) / math.cosh(start))


def terminal_speed_of_power_ms(power_kw: float, drag: float, rolling_n: float = 0.0) -> float:
    """Return the speed at which drag and rolling resistance use all the power: k·v³ + R·v = P [m/s].

    The one real root of the cubic, by Cardano's formula.
    """
    half, third = 1000 * power_kw / (2 * drag), rolling_n / (3 * drag)
    root = math.sqrt(half**2 + third**3)
    return math.cbrt(half + root) + math.cbrt(half - root)


def rolling_resistance_n(mass_kg: float, rolling_coefficient: float) -> float:
    """Return Crr·m·g [N]."""
    return rolling_coefficient * mass_kg * GRAVITY_M_S2


def under_power_and_drag(
    mass_kg: float, power_kw: float, drag: float, from_ms: float, to_ms: float
) -> tuple[float, float]:
    """Return time [s] and distance [m] with constant power against drag, below the terminal speed.

    s = (m/3k)·ln((P − k·v₁³)/(P − k·v₂³)); the time is (m/k)·∫ v/(v_m³ − v³) dv by partial fractions.
    """
    terminal = terminal_speed_of_power_ms(power_kw, drag)

    def antiderivative(speed: float) -> float:
        quadratic = terminal**2 + terminal * speed + speed**2
        turned = math.sqrt(3) * math.atan((2 * speed + terminal) / (math.sqrt(3) * terminal))
        return (math.log(quadratic) / 2 - math.log(terminal - speed) - turned) / (3 * terminal)

    distance = math.log((terminal**3 - from_ms**3) / (terminal**3 - to_ms**3)) / 3
    scale = mass_kg / drag
    return scale * (antiderivative(to_ms) - antiderivative(from_ms)), scale * distance


# --- Springs: linear spring mechanics


def parallel_rate_n_per_mm(rates_n_per_mm: Iterable[float]) -> float:
    """Return the rate of springs side by side, such as two fork legs [N/mm]."""
    return math.fsum(rates_n_per_mm)


def series_rate_n_per_mm(rates_n_per_mm: Iterable[float]) -> float:
    """Return the rate of springs end to end [N/mm]."""
    return 1 / math.fsum(1 / rate for rate in rates_n_per_mm)


def wheel_rate_n_per_mm(spring_rate_n_per_mm: float, motion_ratio: float) -> float:
    """Return the rate at the wheel [N/mm]; the motion ratio is shock travel by wheel travel."""
    return spring_rate_n_per_mm * motion_ratio**2


def sag_under_load_mm(load_n: float, rate_n_per_mm: float, preload_mm: float) -> float:
    """Return the sag of a linear spring [mm]: zero while the preload bears more than the load."""
    return max(0.0, load_n / rate_n_per_mm - preload_mm)


def preload_change_mm(sag_mm: float, target_mm: float, motion_ratio: float) -> float:
    """Return the change of preload that brings the sag at the wheel to its target [mm]."""
    return (sag_mm - target_mm) * motion_ratio


@dataclass(frozen=True, eq=False)
class MeanDifference:
    """Mean of the first group minus mean of the second.

    Attributes
    ----------
    difference, standard_error, t, df, p, ci_low, ci_high : float or array
        All of one shape: Student's t, its degrees of freedom, the two-sided p-value and the confidence
        interval of the difference.
    """

    difference: Any
    standard_error: Any
    t: Any
    df: Any
    p: Any
    ci_low: Any
    ci_high: Any


def welch(first: SampleSummary, second: SampleSummary, confidence: float = CONFIDENCE) -> MeanDifference:
    """Return the difference of two means, first minus second, without assuming equal spreads.

    SE² = s₁²/n₁ + s₂²/n₂ and df = SE⁴ / Σ ((s²/n)² / df), not rounded.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 and 7.3.1.
    """
    from scipy.special import ndtr, stdtr

    v1, v2 = np.square(first.sd) / first.n, np.square(second.sd) / second.n
    variance = np.asarray(v1 + v2, dtype=float)
    gap = np.asarray(first.mean, dtype=float) - second.mean
    with np.errstate(divide="ignore", invalid="ignore"):
        df = np.square(variance) / (np.square(v1) / first.df + np.square(v2) / second.df)
        df = np.where(variance == 0, first.df + second.df, df)
        standard_error = np.sqrt(variance)
        t = gap / standard_error
    known_spread = np.isinf(df)
    tail = np.where(known_spread, ndtr(-np.abs(t)), stdtr(np.where(known_spread, 1.0, df), -np.abs(t)))
    half = t_quantile(df, confidence) * standard_error
    return MeanDifference(
        difference=gap[()],
        standard_error=standard_error[()],
        t=t[()],
        df=df[()],
        p=2 * tail[()],
        ci_low=(gap - half)[()],
        ci_high=(gap + half)[()],
    )
