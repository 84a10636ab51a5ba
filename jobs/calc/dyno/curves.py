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
    """Find the highest value of a curve and its engine speed.

    Parameters
    ----------
    engine_speed_rpm, values : array, (g,)
        A grid [1/min] and a curve on it in any unit; NaN is not measured.

    Returns
    -------
    value, engine_speed_rpm : float
        In the unit of ``values`` and [1/min]; both NaN if nothing was measured.

    Notes
    -----
    The vertex of the parabola through the highest point and its two neighbours, see
    `jobs.calc.statistics.parabola_peak`; at an end of the curve, beside a gap or on a flat top the point
    itself. Elementary algebra, no published source.
    """
    if not np.isfinite(values).any():
        return float("nan"), float("nan")
    top = int(np.nanargmax(values))
    around = slice(top - 1, top + 2)
    if 0 < top < values.size - 1 and np.isfinite(values[around]).all():
        neighbours = values[around]
        if neighbours[1] > min(neighbours[0], neighbours[2]):
            place, value = parabola_peak(engine_speed_rpm[around], neighbours)
            return value, place
    return float(values[top]), float(engine_speed_rpm[top])


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
        raise ValueError("A curve is made from power or from torque: give one of the two.")
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
    return (Flag("left-out", f"{samples} left out, far off the curve: a spike or a dropout."),)


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
            f"This curve is corrected already (factor {curve.factor:.4f}): start from the observed one."
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
