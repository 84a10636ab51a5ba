"""Power and torque over engine speed from the samples of a run, and their correction.

Curves made with one grid step and one width lie on the same speeds and can be averaged and
subtracted point by point (`jobs.calc.repeats`). The observed curve always stays with a corrected one.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.speed_grid import GRID_STEP_RPM, MIN_SAMPLES, WIDTH_RPM, on_grid
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
        NaN where not measured; ``spread_kw`` is the samples' standard deviation about the curve.
    n : array, (g,)
        Samples in the window around each point.
    peak_power_kw, peak_power_rpm, peak_torque_nm, peak_torque_rpm : float
        By a parabola through the top three points; at an end of the curve the point itself.
    grid_step_rpm, width_rpm : float
        How it was made. Only curves that agree in both may be compared.
    flags : tuple of Flag
    factor : float
        The correction that is in the figures; 1 for an observed curve.
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
        return float(self.engine_speed_rpm[np.isfinite(self.power_kw)][0])

    @property
    def measured_to_rpm(self) -> float:
        return float(self.engine_speed_rpm[np.isfinite(self.power_kw)][-1])


def peak(engine_speed_rpm: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Highest value and its engine speed: a parabola through the top, at an end the point itself.

    Parameters
    ----------
    engine_speed_rpm, values : array, (g,)
        A grid and a curve on it; NaN is not measured.

    Returns
    -------
    (value, engine_speed_rpm); both NaN where nothing was measured.
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
    """Power and torque over engine speed from the samples of a sweep, in any order.

    Parameters
    ----------
    engine_speed_rpm : array, (n,)
        As for `jobs.calc.speed_grid.on_grid`.
    power_kw, torque_nm : array, (n,)
        One of the two; torque is turned into power sample by sample, so both give one curve.
    grid_step_rpm, width_rpm, min_samples
        As for `on_grid`. Curves that are to be compared need the same step and width.

    Returns
    -------
    Curve
        Observed (factor 1). Torque is power over speed of rotation at each grid point.

    Raises
    ------
    ValueError
        Both or neither of power and torque, or what `on_grid` raises.
    """
    if (power_kw is None) == (torque_nm is None):
        raise ValueError("A curve is made from power or from torque: give one of the two.")
    if power_kw is None:
        power_kw = identities.power_kw(
            np.asarray(torque_nm, dtype=float), np.asarray(engine_speed_rpm, dtype=float)
        )
    fitted = on_grid(engine_speed_rpm, power_kw, grid_step_rpm, width_rpm, min_samples)
    grid, power = fitted.engine_speed_rpm, fitted.values
    torque = identities.torque_nm(power, grid)
    peak_power_kw, peak_power_rpm = peak(grid, power)
    peak_torque_nm, peak_torque_rpm = peak(grid, torque)
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
        flags=_left_out_flag(fitted.left_out),
    )


def _left_out_flag(left_out: int) -> tuple[Flag, ...]:
    if not left_out:
        return ()
    samples = "1 sample was" if left_out == 1 else f"{left_out} samples were"
    return (Flag("left-out", f"{samples} left out, far off the curve: a spike or a dropout."),)


def apply_factor(curve: Curve, factor: float) -> Curve:
    """The corrected curve; the observed one stays with it.

    Raises
    ------
    ValueError
        A factor that is not above zero, or a curve that is corrected already.
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
