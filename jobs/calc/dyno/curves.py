"""Power and torque over engine speed from the samples of a run, and their correction.

Curves made with one grid step and one width lie on the same speeds and can be averaged and subtracted point
by point (`jobs.calc.dyno.repeats`). A corrected curve keeps the observed one.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.speed_grid import GRID_STEP_RPM, MIN_SAMPLES, WIDTH_RPM, fit_on_grid
from jobs.calc.statistics import FloatArray, parabola_peak
from jobs.calc.units import identities
from jobs.calc.units.numbers import require_positive

# Where the place of a peak is searched, and what its value is fitted over [1/min], see `find_peak`.
PEAK_RANGES_RPM = (1500.0, 1000.0)
MIN_PEAK_POINTS = 5
# What lies lower than this share below the highest point takes no part.
PEAK_DEPTH = 0.05
EDGE_RPM = 150.0
# A parabola that misses the curve by this share of the peak does not fit.
PEAK_MISFIT = 0.006
# A stretch whose ends differ by less than this share is level.
LEVEL_SHARE = 0.01


@dataclass(frozen=True)
class Flag:
    """Something about a run or a comparison that its reader has to know."""

    code: str
    sentence: str


@dataclass(frozen=True, eq=False)
class Curve:
    """Power and torque over engine speed.

    Attributes
    ----------
    engine_speed_rpm, power_kw, torque_nm, spread_kw : array, (g,)
        Engine speed [1/min], power [kW], torque [N·m] and the standard deviation of the samples about the
        curve [kW]; NaN if not measured.
    n : array of int, (g,)
        Samples in the window around each point.
    peak_power_kw, peak_power_rpm, peak_torque_nm, peak_torque_rpm : float
        Peaks [kW], [N·m] and their engine speeds [1/min], see `find_peak`.
    grid_step_rpm, width_rpm : float
        Grid step and width of the smoothing [1/min]. Only curves that agree in both may be compared.
    flags : tuple of Flag
    factor : float
        The correction that is in the values; 1 for an observed curve [1].
    observed : Curve or None
        The curve before correction; None for an observed curve.
    """

    engine_speed_rpm: FloatArray
    power_kw: FloatArray
    torque_nm: FloatArray
    n: npt.NDArray[np.intp]
    spread_kw: FloatArray
    peak_power_kw: float
    peak_power_rpm: float
    peak_torque_nm: float
    peak_torque_rpm: float
    grid_step_rpm: float
    width_rpm: float
    flags: tuple[Flag, ...] = ()
    factor: float = 1.0
    observed: "Curve | None" = None

    @property
    def measured_from_rpm(self) -> float:
        """Lowest engine speed that was measured [1/min]."""
        return float(self.engine_speed_rpm[np.isfinite(self.power_kw)][0])

    @property
    def measured_to_rpm(self) -> float:
        """Highest engine speed that was measured [1/min]."""
        return float(self.engine_speed_rpm[np.isfinite(self.power_kw)][-1])


def find_peak(engine_speed_rpm: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Find the peak of a curve and its engine speed.

    Parameters
    ----------
    engine_speed_rpm, values : array, (g,)
        A grid of even steps [1/min] and a curve on it in any unit; NaN is not measured.

    Returns
    -------
    value, engine_speed_rpm : float
        In the unit of ``values`` and [1/min]; both NaN if nothing was measured, or all at one speed.

    Notes
    -----
    The highest point of a noisy curve is too high by what noise adds to it. So the place is the vertex of a
    parabola over the 1,500 1/min with the highest mean, and the value is at that place on a parabola over
    1,000 1/min around it; if no parabola fits there, both over half of that. What is 5 % lower takes no
    part, nor does what is beside it within 150 1/min: a curve rings at a limiter. In 60 simulated sweeps each
    of six curves, flat tops among them, with 1 % of noise at 20 and 100 Hz the mean was within 0.15 % of the
    truth. A kink at the very top reads low, by 0.4 to 1.2 % for slopes of 2 to 15 kW per 1,000 1/min beside
    80 kW: with 1 % of noise no test of the fit tells it from a round top, and a range narrow enough for it
    would take noise for power. Fewer than five points give the vertex of the three
    highest. Least squares; the ranges are a rule of thumb, no published source.
    """
    known = np.isfinite(values)
    if not known.any():
        return float("nan"), float("nan")
    speed, values = engine_speed_rpm[known], values[known]
    if speed.size > 1 and np.ptp(speed) == 0:
        return float("nan"), float("nan")
    # A parabola may pass a missing point, not a gap.
    edges = np.flatnonzero(np.diff(speed) > PEAK_RANGES_RPM[1] / 2) + 1
    parts = zip(np.split(speed, edges), np.split(values, edges), strict=True)
    return max(_peak_of_part(*part) for part in parts)


def _peak_of_part(speed: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Return value and speed of the peak of a curve without wide gaps."""
    rows = _find_top(speed, values) if values.size >= MIN_PEAK_POINTS else slice(0, 0)
    if rows.stop - rows.start < MIN_PEAK_POINTS:
        return _peak_of_few(speed, values)
    speed, values = speed[rows], values[rows]
    place_range, value_range = PEAK_RANGES_RPM
    value, place, fits = _fit_peak(speed, values, place_range, value_range)
    if not fits:
        value, place, _ = _fit_peak(speed, values, place_range / 2, value_range / 2)
    return value, place


def _find_top(speed: FloatArray, values: FloatArray) -> slice:
    """Return the points around the highest one that are not much lower: a limiter is no part of a peak."""
    # By a moving mean, which noise does not break up and which stays clear of a steep edge: there the curve
    # rings.
    side = round(EDGE_RPM / float(np.diff(speed).min()))
    padded = np.pad(values, side, mode="edge")
    smooth = np.convolve(padded, np.full(2 * side + 1, 1 / (2 * side + 1)), mode="valid")
    top = int(smooth.argmax())
    low = np.flatnonzero(smooth < (1 - PEAK_DEPTH) * smooth[top])
    before, after = low[low < top], low[low > top]
    return slice(int(before[-1]) + 1 if before.size else 0, int(after[0]) if after.size else values.size)


def _peak_of_few(speed: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Return the vertex through the highest point and its neighbours; at an end or a gap the point itself."""
    top = int(values.argmax())
    around = slice(top - 1, top + 2)
    if 0 < top < values.size - 1 and np.ptp(np.diff(speed[around])) < 1e-6 and np.ptp(values[around]) > 0:
        place, value = parabola_peak(speed[around], values[around])
        return value, place
    return float(values[top]), float(speed[top])


def _fit_peak(
    speed: FloatArray, values: FloatArray, place_range: float, value_range: float
) -> tuple[float, float, bool]:
    """Return value and speed of the peak, and whether a parabola fits there."""
    rows = _highest_range(speed, values, place_range)
    place = _find_vertex(speed[rows], values[rows])
    half = value_range / 2
    # At an end of the curve the range lies on one side.
    middle = np.clip(place, speed[0] + half, max(speed[-1] - half, speed[0] + half))
    near = np.abs(speed - middle) <= half * (1 + 1e-9)
    if np.count_nonzero(near) < MIN_PEAK_POINTS:
        near = np.argsort(np.abs(speed - middle))[:MIN_PEAK_POINTS]
    x, y = (speed[near] - place) / half, values[near]
    parabola = np.polynomial.polynomial.polyfit(x, y, 2)
    off = y - np.polynomial.polynomial.polyval(x, parabola)
    quartic = np.polynomial.polynomial.polyfit(x, y, 4)
    rest = y - np.polynomial.polynomial.polyval(x, quartic)
    misfit = np.sqrt(np.mean(off**2)) > PEAK_MISFIT * abs(parabola[0]) and off @ off > 4 * (rest @ rest)
    return float(parabola[0]), place, not misfit


def _highest_range(speed: FloatArray, values: FloatArray, range_rpm: float) -> slice:
    """Return the points within a range of this width that have the highest mean."""
    stop = np.searchsorted(speed, speed + range_rpm * (1 + 1e-9), side="right")
    start = np.arange(speed.size)
    total = np.concatenate([[0.0], np.cumsum(values)])
    means = (total[stop] - total[start]) / (stop - start)
    # A range that reaches past the end of the curve is that of fewer points, which scatter more.
    whole = (speed[-1] - speed >= range_rpm * (1 - 1e-9)) & (stop - start >= MIN_PEAK_POINTS)
    if not whole.any():
        return slice(0, speed.size)
    best = int(np.argmax(np.where(whole, means, -np.inf)))
    return slice(best, int(stop[best]))


def _find_vertex(speed: FloatArray, values: FloatArray) -> float:
    """Return the speed at which a parabola through the points is highest, within them."""
    middle = float(speed.mean())
    level, slope, bend = np.polynomial.polynomial.polyfit(speed - middle, values, 2)
    if bend < 0:
        return float(np.clip(middle - slope / (2 * bend), speed[0], speed[-1]))
    if abs(slope) * np.ptp(speed) < LEVEL_SHARE * abs(level):
        return middle
    return float(speed[-1] if slope > 0 else speed[0])


def power_curve(
    engine_speed_rpm: npt.ArrayLike,
    power_kw: npt.ArrayLike | None = None,
    *,
    torque_nm: npt.ArrayLike | None = None,
    grid_step_rpm: float = GRID_STEP_RPM,
    width_rpm: float = WIDTH_RPM,
    min_samples: int = MIN_SAMPLES,
) -> Curve:
    """Fit power and torque over engine speed to the samples of a sweep.

    Parameters
    ----------
    engine_speed_rpm : array, (n,)
        Samples in any order [1/min], as for `jobs.calc.dyno.speed_grid.fit_on_grid`.
    power_kw, torque_nm : array, (n,)
        One of the two [kW], [N·m]. Torque is turned into power sample by sample, so both give one curve.
    grid_step_rpm, width_rpm : float
        Grid step and full width of the window [1/min]. Curves that are to be compared need the same.
    min_samples : int
        A point with fewer samples in its window is NaN.

    Returns
    -------
    Curve
        Observed (factor 1).

    Raises
    ------
    ValueError
        Both or neither of power and torque are given, or `fit_on_grid` refuses the samples.

    Notes
    -----
    Power by local quadratics [1]_; torque is P/ω at each grid point, the definition of power.

    References
    ----------
    .. [1] W. S. Cleveland, Journal of the American Statistical Association 74 (1979) 829.
    """
    if (power_kw is None) == (torque_nm is None):
        raise ValueError("Pass either power or torque, not both.")
    if power_kw is None:
        power_kw = identities.power_kw(
            np.asarray(torque_nm, dtype=float), np.asarray(engine_speed_rpm, dtype=float)
        )
    fitted = fit_on_grid(engine_speed_rpm, power_kw, grid_step_rpm, width_rpm, min_samples)
    grid, power = fitted.engine_speed_rpm, fitted.values
    torque = identities.torque_nm(power, grid)
    peak_power_kw, peak_power_rpm = find_peak(grid, power)
    peak_torque_nm, peak_torque_rpm = find_peak(grid, torque)
    return Curve(
        engine_speed_rpm=grid,
        power_kw=power,
        torque_nm=torque,
        n=fitted.n,
        spread_kw=fitted.spread,
        peak_power_kw=peak_power_kw,
        peak_power_rpm=peak_power_rpm,
        peak_torque_nm=peak_torque_nm,
        peak_torque_rpm=peak_torque_rpm,
        grid_step_rpm=grid_step_rpm,
        width_rpm=width_rpm,
        flags=_outlier_flag(fitted.outliers),
    )


def _outlier_flag(outliers: int) -> tuple[Flag, ...]:
    if not outliers:
        return ()
    samples = "1 sample was" if outliers == 1 else f"{outliers} samples were"
    return (Flag("left-out", f"{samples} not used, far off the curve: a spike or a dropout."),)


def apply_factor(curve: Curve, factor: float) -> Curve:
    """Multiply an observed curve by a correction factor.

    Parameters
    ----------
    curve : Curve
        Observed, not corrected yet.
    factor : float
        Above 0, see `jobs.calc.dyno.air.correct` [1].

    Returns
    -------
    Curve
        Corrected, with the observed one in ``observed``.

    Raises
    ------
    ValueError
        The factor is not above zero, or the curve is corrected already.

    Notes
    -----
    P·f and T·f at the same engine speeds; the factor and its source are those of the standard.
    """
    require_positive("correction factor", factor)
    if curve.observed is not None:
        raise ValueError(
            f"This curve is already corrected (factor {curve.factor:.4f}). Start from the uncorrected curve."
        )
    return replace(
        curve,
        power_kw=curve.power_kw * factor,
        torque_nm=curve.torque_nm * factor,
        spread_kw=curve.spread_kw * factor,
        peak_power_kw=curve.peak_power_kw * factor,
        peak_torque_nm=curve.peak_torque_nm * factor,
        factor=factor,
        observed=curve,
    )
