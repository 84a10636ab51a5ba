"""Power from a roller: inertia and losses.

A rigid roller without losses takes P = J·ω·dω/dt; engine and wheel turn faster with it and take their share,
which is left out unless their inertia is given. A coast-down shows the losses on the overrun; under load
they are larger, and with the clutch pulled they leave out the engine's own friction, so power with
coast-down losses is a lower bound. None of it is power at the crank.

References
----------
.. [1] Rigid-body mechanics, any dynamics text: torque, power and energy of a body turning about a fixed axis.
.. [2] A. Savitzky, M. J. E. Golay, Analytical Chemistry 36 (1964) 1627: slopes by local polynomials.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import require_positive
from jobs.calc.wording import gettext as _

WINDOW_S = 0.3
MAX_WINDOW_S = 2.0
MIN_WINDOW_SAMPLES = 5
# The window of the slope is widened until power of a single sample scatters less than this. Rule of thumb, no
# published source.
MAX_SCATTER = 0.005
# It is not widened beyond this multiple: what it takes from both ends of the curve would be worse than noise.
MAX_WIDENING = 6.0
# Samples of a window handled in one go, so that memory does not grow with the run.
CHUNK = 2_000_000


@dataclass(frozen=True, eq=False)
class RollerPower:
    """Power at the roller over time.

    Attributes
    ----------
    time_s, roller_speed_rad_s, torque_nm, power_kw : array, (n,)
        Time [s], speed of the local polynomial [rad/s], torque [N·m] and power [kW] at the roller, with the
        losses if they were given. NaN if the window holds too few samples or the losses were not measured at
        that speed.
    window_s : float
        Full width of the window that speed and slope were taken over [s].
    """

    time_s: FloatArray
    roller_speed_rad_s: FloatArray
    torque_nm: FloatArray
    power_kw: FloatArray
    window_s: float


@dataclass(frozen=True)
class Losses:
    """Loss torque at the roller as a polynomial in its speed, Σ c_k·ω^k.

    Attributes
    ----------
    coefficients : tuple of float
        c₀ [N·m], c₁ [N·m·s], c₂ [N·m·s²], ...
    from_rad_s, to_rad_s : float
        The speeds that the coast-down covered [rad/s].
    """

    coefficients: tuple[float, ...]
    from_rad_s: float
    to_rad_s: float

    def torque_nm(self, roller_speed_rad_s: npt.ArrayLike) -> FloatArray:
        """Compute the loss torque.

        Parameters
        ----------
        roller_speed_rad_s : array
            Of any shape [rad/s].

        Returns
        -------
        array
            Loss torque [N·m], of the same shape; NaN outside the speeds that were coasted through.

        Notes
        -----
        Σ c_k·ω^k, a fit and no law of nature.
        """
        speed = np.asarray(roller_speed_rad_s, dtype=float)
        covered = (speed >= self.from_rad_s) & (speed <= self.to_rad_s)
        return np.where(covered, np.polynomial.polynomial.polyval(speed, self.coefficients), np.nan)


def roller_power(
    time_s: npt.ArrayLike,
    roller_speed_rad_s: npt.ArrayLike,
    inertia_kgm2: float,
    losses: Losses | None = None,
    window_s: float = WINDOW_S,
) -> RollerPower:
    """Compute the power of a run on an inertia roller.

    Parameters
    ----------
    time_s, roller_speed_rad_s : array, (n,)
        Rising time [s], evenly spaced or not, and speed [rad/s]. A sample with NaN in either is not used.
    inertia_kgm2 : float
        Of all that turns, at the roller's speed [kg·m²].
    losses : Losses, optional
        From `coast_down`; without them the power is what reaches the roller's inertia.
    window_s : float
        Full width of the window for the slope [s]: differences of neighbouring samples would multiply their
        noise.

    Returns
    -------
    RollerPower

    Raises
    ------
    ValueError
        The channels differ in length, there are fewer than three samples, time does not rise, or inertia or
        window is not above zero.

    Notes
    -----
    T = J·dω/dt + T_loss(ω) and P = T·ω [1]_, with dω/dt from a local quadratic of ω² over time [2]_.
    """
    require_positive("inertia of the roller", inertia_kgm2, "kg·m²")
    time, speed = _select_measured(time_s, roller_speed_rad_s, least=3)
    speed, acceleration = _speed_and_acceleration(time, speed, window_s)
    torque = inertia_kgm2 * acceleration
    if losses is not None:
        torque = torque + losses.torque_nm(speed)
    return RollerPower(time, speed, torque, torque * speed / 1000, window_s)


def inertia_at_roller_kgm2(roller_kgm2: float, parts: Sequence[tuple[float, float]]) -> float:
    """Compute the inertia that a run speeds up, as one at the roller.

    Parameters
    ----------
    roller_kgm2 : float
        The roller with what turns with it [kg·m²].
    parts : sequence of (inertia_kgm2, turns)
        What else turns: its inertia [kg·m²] and its turns for one of the roller [1].

    Returns
    -------
    float
        [kg·m²] at the roller's speed.

    Raises
    ------
    ValueError
        An inertia or a number of turns is not above zero.

    Notes
    -----
    J + Σ J_k·i_k²: the energy of all parts is that of one inertia at the roller [1]_.
    """
    require_positive("inertia of the roller", roller_kgm2, "kg·m²")
    total = roller_kgm2
    for inertia, turns in parts:
        require_positive("inertia of a rotating part", inertia, "kg·m²")
        require_positive("turns per roller turn", turns)
        total += inertia * turns**2
    return total


def slope_window_s(time_s: npt.ArrayLike, roller_speed_rad_s: npt.ArrayLike, width_rad_s: float) -> float:
    """Choose the window of the slope by the width that it may have in speed.

    Parameters
    ----------
    time_s, roller_speed_rad_s : array, (n,)
        Of the sweep alone, as for `roller_power` [s], [rad/s].
    width_rad_s : float
        Speed that the roller may pass within a window [rad/s].

    Returns
    -------
    float
        Full width of the window [s]: up to six times wider if noise needs it, and as wide as five samples of
        a slow logger; at most 2 s.

    Raises
    ------
    ValueError
        As `roller_power`.

    Notes
    -----
    The slope of N samples Δt apart scatters by σ·√(12 / N³) / Δt [2]_, with σ from second differences of
    speed; N is such that this is below 0.5 % of the mean acceleration.
    """
    time, speed = _select_measured(time_s, roller_speed_rad_s, least=3)
    step = float(np.median(np.diff(time)))
    rate = float(np.abs(speed[-1] - speed[0]) / (time[-1] - time[0]))
    if rate == 0:
        return MAX_WINDOW_S
    # Without the largest fiftieth, which holds dropouts. Rounding leaves most differences at zero: no median.
    bends = np.diff(speed, 2) / np.sqrt(6)
    bends = bends[np.abs(bends) <= np.quantile(np.abs(bends), 0.98)]
    noise = float(np.sqrt(np.mean(np.square(bends)))) if bends.size else 0.0
    samples = (12 * (noise / (step * MAX_SCATTER * rate)) ** 2) ** (1 / 3)
    for_width = width_rad_s / rate
    quiet = min(max(for_width, step * samples), MAX_WIDENING * for_width)
    return min(max(quiet, step * MIN_WINDOW_SAMPLES), MAX_WINDOW_S)


def coast_down(
    time_s: npt.ArrayLike,
    roller_speed_rad_s: npt.ArrayLike,
    inertia_kgm2: float,
    degree: int = 2,
    window_s: float = WINDOW_S,
) -> Losses:
    """Fit the losses to a run left to coast.

    Parameters
    ----------
    time_s, roller_speed_rad_s : array, (n,)
        Rising time [s] and speed [rad/s] of the coasting part of the run alone.
    inertia_kgm2 : float
        Of all that turns, at the roller's speed [kg·m²].
    degree : int
        0 to 3: constant, bearing, air.
    window_s : float
        As for `roller_power` [s].

    Returns
    -------
    Losses

    Raises
    ------
    ValueError
        The degree is out of range, the run does not slow down, or there are too few samples.

    Notes
    -----
    Least squares of -J·dω/dt = Σ c_k·ω^k [1]_; the degree is a rule of thumb, no published source.
    """
    require_positive("inertia of the roller", inertia_kgm2, "kg·m²")
    if not 0 <= degree <= 3:
        raise ValueError(f"Losses are fitted with a degree of 0 to 3, not {degree}.")
    time, speed = _select_measured(time_s, roller_speed_rad_s, least=degree + 3)
    speed, acceleration = _speed_and_acceleration(time, speed, window_s)
    known = np.isfinite(acceleration)
    speed, loss = speed[known], -inertia_kgm2 * acceleration[known]
    if speed.size < degree + 3 or not speed[-1] < speed[0]:
        raise ValueError(
            _("The roller does not slow down in this part of the run. Select only the coast-down.")
        )
    scale = float(np.abs(speed).max())
    scaled = np.polynomial.polynomial.polyfit(speed / scale, loss, degree)
    coefficients = scaled / scale ** np.arange(degree + 1)
    return Losses(tuple(map(float, coefficients)), float(speed.min()), float(speed.max()))


def _select_measured(
    time_s: npt.ArrayLike, channel: npt.ArrayLike, least: int
) -> tuple[FloatArray, FloatArray]:
    """Return both channels without the samples that lack one of them."""
    time, values = np.asarray(time_s, dtype=float), np.asarray(channel, dtype=float)
    if time.shape != values.shape or time.ndim != 1:
        raise ValueError("Time and roller speed must have the same number of samples.")
    known = np.isfinite(time) & np.isfinite(values)
    time, values = time[known], values[known]
    if time.size < least:
        raise ValueError(
            _("Power from a roller needs %(least)s samples with time and speed. This run has %(count)s.")
            % {"least": least, "count": time.size}
        )
    if not np.all(np.diff(time) > 0):
        raise ValueError(
            _("Time must increase from sample to sample. In this run it stops or goes backwards.")
        )
    return time, values


def _speed_and_acceleration(
    time: FloatArray, roller_speed: FloatArray, window_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return speed and acceleration by local quadratics of the speed's square; NaN at a standstill."""
    # ω·dω/dt is half the slope of ω², which is a straight line under constant power and a parabola under
    # constant torque: the quadratic follows both exactly. One of ω would round off the slow end of a run.
    square, slope = _local_slope(time, np.square(roller_speed), window_s)
    speed = np.sqrt(np.where(square > 0, square, np.nan))
    return speed, slope / (2 * speed)


def _local_slope(time: FloatArray, values: FloatArray, window_s: float) -> tuple[FloatArray, FloatArray]:
    """Fit a quadratic to the window around each sample; NaN with fewer than three samples in it."""
    require_positive("window", window_s, "s")
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
        value[part], slope[part] = _fit_quadratics(offset, around_y[part])
    return value, slope / half


def _fit_quadratics(offset: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Fit a quadratic to the samples of each row within ±1; return value and slope at offset 0."""
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
