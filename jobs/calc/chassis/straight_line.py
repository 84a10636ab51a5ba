"""Speeding up in a straight line in closed form: the known answers that a drive-out is held against.

k = ½·ρ·CdA throughout. Source: rigid-body mechanics, any dynamics text. Constant power is void
below the speed where P/v is more than the tyre holds or the front wheel stays down for.
"""

import math

from jobs.calc.chassis.roll_on import GRAVITY_M_S2
from jobs.calc.units.numbers import require_positive


def under_constant_power(
    mass_kg: float, power_kw: float, from_ms: float, to_ms: float
) -> tuple[float, float]:
    """Time [s] and distance [m] without resistance: m·(v₂² − v₁²)/2P and m·(v₂³ − v₁³)/3P."""
    power = 1000 * power_kw
    return mass_kg * (to_ms**2 - from_ms**2) / (2 * power), mass_kg * (to_ms**3 - from_ms**3) / (3 * power)


def under_constant_force(mass_kg: float, force_n: float, from_ms: float, to_ms: float) -> tuple[float, float]:
    """Time [s] and distance [m] without resistance: m·Δv/F and m·(v₂² − v₁²)/2F."""
    return mass_kg * (to_ms - from_ms) / force_n, mass_kg * (to_ms**2 - from_ms**2) / (2 * force_n)


def drag_factor(air_density_kgm3: float, drag_area_m2: float) -> float:
    """k = ½·ρ·CdA [N·s²/m²]. ValueError: a figure not above zero."""
    require_positive("air density", air_density_kgm3, "kg/m³")
    require_positive("drag area", drag_area_m2, "m²")
    return air_density_kgm3 * drag_area_m2 / 2


def terminal_speed_of_force_ms(force_n: float, drag: float) -> float:
    """Speed at which drag holds a constant force, √(F/k) [m/s]."""
    return math.sqrt(force_n / drag)


def under_force_and_drag(
    mass_kg: float, force_n: float, drag: float, from_ms: float, time_s: float
) -> tuple[float, float]:
    """Speed [m/s] and distance [m] after a time with a constant force against drag.

    v = v_t·tanh(c + t·√(F·k)/m), s = (m/k)·ln(cosh(c + t·√(F·k)/m)/cosh c), c = artanh(v₀/v_t).

    Raises
    ------
    ValueError
        A start at or above the terminal speed.
    """
    terminal = terminal_speed_of_force_ms(force_n, drag)
    if not from_ms < terminal:
        raise ValueError(f"The start has to be slower than the terminal speed of {terminal:.1f} m/s.")
    start = math.atanh(from_ms / terminal)
    end = start + time_s * math.sqrt(force_n * drag) / mass_kg
    return terminal * math.tanh(end), mass_kg / drag * math.log(math.cosh(end) / math.cosh(start))


def terminal_speed_of_power_ms(power_kw: float, drag: float, rolling_n: float = 0.0) -> float:
    """Speed at which drag and rolling resistance take all the power: k·v³ + R·v = P [m/s].

    The one real root of the cubic, by Cardano's formula.
    """
    half, third = 1000 * power_kw / (2 * drag), rolling_n / (3 * drag)
    root = math.sqrt(half**2 + third**3)
    return math.cbrt(half + root) + math.cbrt(half - root)


def rolling_resistance_n(mass_kg: float, rolling_coefficient: float) -> float:
    """Crr·m·g [N]."""
    return rolling_coefficient * mass_kg * GRAVITY_M_S2


def under_power_and_drag(
    mass_kg: float, power_kw: float, drag: float, from_ms: float, to_ms: float
) -> tuple[float, float]:
    """Time [s] and distance [m] with constant power against drag.

    s = (m/3k)·ln((P − k·v₁³)/(P − k·v₂³)); the time is (m/k)·∫ v/(v_m³ − v³) dv by partial fractions.

    Raises
    ------
    ValueError
        An end at or above the terminal speed.
    """
    terminal = terminal_speed_of_power_ms(power_kw, drag)
    if not to_ms < terminal:
        raise ValueError(f"The end has to be slower than the terminal speed of {terminal:.1f} m/s.")

    def antiderivative(speed: float) -> float:
        quadratic = terminal**2 + terminal * speed + speed**2
        turned = math.sqrt(3) * math.atan((2 * speed + terminal) / (math.sqrt(3) * terminal))
        return (math.log(quadratic) / 2 - math.log(terminal - speed) - turned) / (3 * terminal)

    distance = math.log((terminal**3 - from_ms**3) / (terminal**3 - to_ms**3)) / 3
    scale = mass_kg / drag
    return scale * (antiderivative(to_ms) - antiderivative(from_ms)), scale * distance
