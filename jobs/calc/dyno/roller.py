"""Power from a roller: inertia, losses, and what they give at the engine's speed.

A loss-free rigid roller takes P = J·ω·dω/dt. What the coast-down shows is the loss on the
over-run; under load it is larger, and with the clutch pulled it leaves the engine's own friction
out, so power with coast-down losses is a lower bound. None of it is power at the crank.

Source for all formulas here: rigid-body mechanics, any dynamics text.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from jobs.calc.statistics import FloatArray
from jobs.calc.units import identities
from jobs.calc.units.numbers import FloatOrArray, match_input_type, require_positive

WINDOW_S = 0.3
# Samples of a window handled in one go, so that memory does not grow with the run.
CHUNK = 2_000_000


@dataclass(frozen=True, eq=False)
class RollerPower:
    """Power at the roller over time.

    Attributes
    ----------
    time_s, roller_speed_rad_s, acceleration_rad_s2, torque_nm, power_kw : array, (n,)
        Speed and acceleration of the local polynomial; torque and power at the roller, losses
        added where they were given. NaN where the window holds too few samples, and where the
        losses were not measured at that speed.
    window_s : float
        Full width of the window that speed and acceleration were taken over.
    """

    time_s: FloatArray
    roller_speed_rad_s: FloatArray
    acceleration_rad_s2: FloatArray
    torque_nm: FloatArray
    power_kw: FloatArray
    window_s: float


@dataclass(frozen=True)
class Losses:
    """Loss torque at the roller as a polynomial in its speed: Σ c_k·ω^k.

    Attributes
    ----------
    coefficients : tuple of float
        c₀ [N·m], c₁ [N·m·s], c₂ [N·m·s²], ...
    from_rad_s, to_rad_s : float
        The speeds that the coast-down covered.
    residual_nm : float
        Standard deviation of the samples about the polynomial.
    """

    coefficients: tuple[float, ...]
    from_rad_s: float
    to_rad_s: float
    residual_nm: float

    def torque_nm(self, roller_speed_rad_s: npt.ArrayLike) -> FloatArray:
        """Loss torque [N·m]; NaN outside the speeds that were coasted through."""
        speed = np.asarray(roller_speed_rad_s, dtype=float)
        covered = (speed >= self.from_rad_s) & (speed <= self.to_rad_s)
        return np.where(covered, np.polynomial.polynomial.polyval(speed, self.coefficients), np.nan)


def solid_roller_inertia_kgm2(mass_kg: float, radius_m: float) -> float:
    """Solid cylinder, J = m·r²/2. ValueError: a mass or radius not above zero."""
    require_positive("mass of the roller", mass_kg, "kg")
    require_positive("radius of the roller", radius_m, "m")
    return mass_kg * radius_m**2 / 2


def hollow_roller_inertia_kgm2(mass_kg: float, outer_radius_m: float, inner_radius_m: float) -> float:
    """Thick tube, J = m·(ro² + ri²)/2. ValueError: a figure not above zero, or radii the wrong way round."""
    require_positive("mass of the roller", mass_kg, "kg")
    require_positive("inner radius of the roller", inner_radius_m, "m")
    if not outer_radius_m > inner_radius_m:
        raise ValueError("The roller's outer radius has to be larger than its inner radius.")
    return mass_kg * (outer_radius_m**2 + inner_radius_m**2) / 2


def equivalent_mass_kg(inertia_kgm2: float, radius_m: float) -> float:
    """The vehicle mass that the roller stands for, J/r². ValueError: a figure not above zero."""
    require_positive("inertia of the roller", inertia_kgm2, "kg·m²")
    require_positive("radius of the roller", radius_m, "m")
    return inertia_kgm2 / radius_m**2


def inertia_torque_nm(inertia_kgm2: float, acceleration_rad_s2: FloatOrArray) -> FloatOrArray:
    """Torque that speeds the roller up, T = J·dω/dt [N·m]; on a coast-down it is minus the loss."""
    return match_input_type(acceleration_rad_s2, inertia_kgm2 * np.asarray(acceleration_rad_s2))


def inertia_power_kw(
    inertia_kgm2: float, acceleration_rad_s2: FloatOrArray, speed_rad_s: FloatOrArray
) -> FloatOrArray:
    """Power that speeds the roller up, P = J·ω·dω/dt [kW]."""
    return match_input_type(
        speed_rad_s, inertia_torque_nm(inertia_kgm2, acceleration_rad_s2) * np.asarray(speed_rad_s) / 1000
    )


def kinetic_energy_j(inertia_kgm2: float, speed_rad_s: FloatOrArray) -> FloatOrArray:
    """Energy held by the turning roller, J·ω²/2 [J]."""
    return match_input_type(speed_rad_s, inertia_kgm2 * np.square(speed_rad_s) / 2)


def step_power_kw(
    inertia_kgm2: float, time_s: npt.ArrayLike, roller_speed_rad_s: npt.ArrayLike
) -> FloatArray:
    """Mean power of each step between samples from the energy gained, exact for the step [kW], (n − 1,).

    Raises
    ------
    ValueError
        Fewer than two samples, channels of different length, time that does not rise.
    """
    time, speed = _in_time(time_s, roller_speed_rad_s, least=2)
    return np.diff(kinetic_energy_j(inertia_kgm2, speed)) / np.diff(time) / 1000


def engine_torque_nm(
    roller_torque_nm: FloatOrArray, roller_speed_rad_s: FloatOrArray, engine_speed_rad_s: FloatOrArray
) -> FloatOrArray:
    """Roller torque carried over to the engine's speed without losses [N·m]: it is no crank torque."""
    ratio = np.asarray(roller_speed_rad_s) / engine_speed_rad_s
    return match_input_type(roller_torque_nm, np.asarray(roller_torque_nm) * ratio)


def engine_speed_rpm(roller_speed_rad_s: FloatOrArray, ratio: float) -> FloatOrArray:
    """Engine speed [1/min] from the roller's, ``ratio`` engine turns to one of the roller, without slip.

    Raises
    ------
    ValueError
        A ratio not above zero.
    """
    require_positive("ratio of engine to roller speed", ratio)
    return match_input_type(
        roller_speed_rad_s, np.asarray(roller_speed_rad_s) * ratio / identities.RAD_PER_S_PER_RPM
    )


def _in_time(time_s: npt.ArrayLike, channel: npt.ArrayLike, least: int) -> tuple[FloatArray, FloatArray]:
    """Both channels without the samples that lack one of them."""
    time, values = np.asarray(time_s, dtype=float), np.asarray(channel, dtype=float)
    if time.shape != values.shape or time.ndim != 1:
        raise ValueError("Time and roller speed have different lengths: they do not belong together.")
    known = np.isfinite(time) & np.isfinite(values)
    time, values = time[known], values[known]
    if time.size < least:
        raise ValueError(
            f"Power from a roller needs {least} samples with time and speed; there are {time.size}."
        )
    if not np.all(np.diff(time) > 0):
        raise ValueError("Time has to rise from sample to sample; it stands still or goes back in this run.")
    return time, values


def local_slope(
    time_s: npt.ArrayLike, channel: npt.ArrayLike, window_s: float = WINDOW_S
) -> tuple[FloatArray, FloatArray]:
    """Value and time derivative at each sample, by a quadratic over the samples within a window.

    Parameters
    ----------
    time_s, channel : array, (n,)
        ``time_s`` rising, evenly spaced or not; no NaN.
    window_s : float
        Full width, centred on the sample; at the ends of the run what there is of it.

    Returns
    -------
    (value, slope) : arrays, (n,)
        NaN where fewer than three samples lie in the window.

    Raises
    ------
    ValueError
        A window not above zero.
    """
    require_positive("window", window_s, "s")
    time, values = np.asarray(time_s, dtype=float), np.asarray(channel, dtype=float)
    # A hair wider, so that evenly spaced samples on the window's edge do not flicker in and out.
    half = window_s / 2 * (1 + 1e-9)
    first, last = np.searchsorted(time, time - half), np.searchsorted(time, time + half, side="right")
    side = int(max((np.arange(time.size) - first).max(), (last - 1 - np.arange(time.size)).max()))
    span = 2 * side + 1
    # Beyond the run's ends there is nothing within any window.
    around_t = sliding_window_view(np.pad(time, side, constant_values=np.inf), span)
    around_y = sliding_window_view(np.pad(values, side), span)
    value, slope = np.empty(time.size), np.empty(time.size)
    rows = max(CHUNK // span, 1)
    for start in range(0, time.size, rows):
        part = slice(start, start + rows)
        offset = (around_t[part] - time[part, None]) / half
        value[part], slope[part] = _quadratics(offset, around_y[part])
    return value, slope / half


def _quadratics(offset: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least-squares quadratics in rows: value and slope at offset 0 from the samples within ±1."""
    inside = np.abs(offset) <= 1
    u = np.where(inside, offset, 0.0)
    count = inside.sum(axis=1)
    centre = np.where(inside, y, 0.0).sum(axis=1) / count
    off = np.where(inside, y - centre[:, None], 0.0)
    square = u * u
    s1, s2, s3, s4 = (np.sum(p, axis=1) for p in (u, square, square * u, square * square))
    normal = np.stack([count.astype(float), s1, s2, s1, s2, s3, s2, s3, s4], axis=-1).reshape(-1, 3, 3)
    moments = np.stack([off.sum(axis=1), (u * off).sum(axis=1), (square * off).sum(axis=1)], axis=-1)
    enough = count >= 3
    value, slope = np.full(count.size, np.nan), np.full(count.size, np.nan)
    solved = np.linalg.solve(normal[enough], moments[enough][..., None])[..., 0]
    value[enough], slope[enough] = solved[:, 0] + centre[enough], solved[:, 1]
    return value, slope


def speed_and_acceleration(
    time_s: npt.ArrayLike, roller_speed_rad_s: npt.ArrayLike, window_s: float = WINDOW_S
) -> tuple[FloatArray, FloatArray]:
    """Roller speed [rad/s] and its acceleration [rad/s²], by `local_slope` of the speed's square.

    ω·dω/dt is half the slope of ω², which runs straight under constant power and is a parabola
    under constant torque: the quadratic follows both exactly, where one of ω itself would round
    off a fast run at its slow end. NaN as in `local_slope`, and at a standstill.
    """
    square, slope = local_slope(time_s, np.square(np.asarray(roller_speed_rad_s, dtype=float)), window_s)
    speed = np.sqrt(np.where(square > 0, square, np.nan))
    return speed, slope / (2 * speed)


def roller_power(
    time_s: npt.ArrayLike,
    roller_speed_rad_s: npt.ArrayLike,
    inertia_kgm2: float,
    losses: Losses | None = None,
    window_s: float = WINDOW_S,
) -> RollerPower:
    """Power of a run on an inertia roller, P = J·ω·dω/dt plus losses.

    Parameters
    ----------
    time_s, roller_speed_rad_s : array, (n,)
        Time rising, evenly spaced or not. A sample with NaN in either is left out.
    inertia_kgm2 : float
        Of all that turns, at the roller's speed.
    losses : Losses, optional
        From `coast_down`; left out, the power is what reaches the roller's inertia.
    window_s : float
        See `local_slope`: differences of neighbouring samples would multiply their noise.

    Returns
    -------
    RollerPower

    Raises
    ------
    ValueError
        Fewer than three samples, time that does not rise, an inertia or window not above zero.
    """
    require_positive("inertia of the roller", inertia_kgm2, "kg·m²")
    time, speed = _in_time(time_s, roller_speed_rad_s, least=3)
    speed, acceleration = speed_and_acceleration(time, speed, window_s)
    torque = inertia_torque_nm(inertia_kgm2, acceleration)
    if losses is not None:
        torque = torque + losses.torque_nm(speed)
    return RollerPower(time, speed, acceleration, torque, torque * speed / 1000, window_s)


def coast_down(
    time_s: npt.ArrayLike,
    roller_speed_rad_s: npt.ArrayLike,
    inertia_kgm2: float,
    degree: int = 2,
    window_s: float = WINDOW_S,
) -> Losses:
    """Losses from a run left to coast, as a polynomial in roller speed.

    Parameters
    ----------
    time_s, roller_speed_rad_s, inertia_kgm2, window_s
        As for `roller_power`; only the coasting part of the run.
    degree : int
        0 to 3: constant, bearing, air.

    Raises
    ------
    ValueError
        A degree out of range, a run that does not slow down, or too few samples.
    """
    require_positive("inertia of the roller", inertia_kgm2, "kg·m²")
    if not 0 <= degree <= 3:
        raise ValueError(f"Losses are fitted with a degree of 0 to 3, not {degree}.")
    time, speed = _in_time(time_s, roller_speed_rad_s, least=degree + 3)
    speed, acceleration = speed_and_acceleration(time, speed, window_s)
    known = np.isfinite(acceleration)
    speed, loss = speed[known], -inertia_torque_nm(inertia_kgm2, acceleration[known])
    if speed.size < degree + 3 or not speed[-1] < speed[0]:
        raise ValueError(
            "The roller does not slow down in this part of the run: choose the coast-down alone."
        )
    scale = float(np.abs(speed).max())
    scaled = np.polynomial.polynomial.polyfit(speed / scale, loss, degree)
    coefficients = scaled / scale ** np.arange(degree + 1)
    residual = loss - np.polynomial.polynomial.polyval(speed, coefficients)
    sd = float(np.sqrt(np.sum(residual**2) / (speed.size - degree - 1)))
    return Losses(tuple(map(float, coefficients)), float(speed.min()), float(speed.max()), sd)
