"""Repeats of a run as a band, what a measured repeatability means, and flags of repeats.

The run is the unit: samples within a run are not independent, so every spread here is one between runs. A
single run has none; only a stated repeatability can stand in for it.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2 (interval of a mean), 1.3.5.8 (interval of a
   standard deviation) and 4.1.4.1 (linear least squares).
.. [2] ISO 5725-2 (pooled within-group variance) and ISO 5725-6 (repeatability limit).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Curve, Flag
from jobs.calc.dyno.local_fit import check_grid_points
from jobs.calc.dyno.spread import RunSpread
from jobs.calc.statistics import (
    CONFIDENCE,
    FloatArray,
    MeanInterval,
    mean_interval,
    repeatability_limit,
    summarise,
    t_quantile,
)
from jobs.calc.units.numbers import format_number
from jobs.calc.wording import gettext as _

# Same bike, same day, same dyno. Rules of thumb, no published source.
ASSUMED_REPEATABILITY_PCT = 1.0
TEMPERATURE_SPREAD_C = 10.0


@dataclass(frozen=True, eq=False)
class RepeatSet:
    """Runs in one state of the bike, as a mean with its band.

    Attributes
    ----------
    engine_speed_rpm : array, (g,)
        All grid points that any of the runs covers [1/min].
    power, torque : MeanInterval of arrays, (g,)
        In [kW] and [N·m]: the ``n`` runs measured there, ``mean``, ``sd`` and the 95 % ``half_width`` of the
        mean. The last two are NaN if only one run was measured there.
    runs : int
    """

    engine_speed_rpm: FloatArray
    power: MeanInterval
    torque: MeanInterval
    runs: int


@dataclass(frozen=True)
class Repeatability:
    """A shop's own repeatability from its repeats.

    Attributes
    ----------
    sd_pct, low_pct, high_pct : float
        Pooled standard deviation within groups and its 95 % interval [% of the value].
    limit_pct : float
        Two single runs differ by less in 95 % of pairs [% of the value].
    df : float
        Degrees of freedom [1].
    """

    sd_pct: float
    low_pct: float
    high_pct: float
    limit_pct: float
    df: float


def common_grid(curves: Sequence[Curve]) -> FloatArray:
    """Build the grid that covers every one of these curves.

    Parameters
    ----------
    curves : sequence of Curve
        One or more, all made with the same grid step and width.

    Returns
    -------
    array, (g,)
        Engine speeds [1/min].

    Raises
    ------
    ValueError
        There is no curve, the curves have different grids or widths, or the grid has too many points.

    Notes
    -----
    k · step for whole k from the lowest to the highest point of any curve: bookkeeping, no published source.
    """
    if not curves:
        raise ValueError("This group has no runs.")
    made = {(c.grid_step_rpm, c.width_rpm) for c in curves}
    if len(made) > 1:
        raise ValueError(
            "These curves use different grids or smoothing. Recalculate them with the same settings."
        )
    step = curves[0].grid_step_rpm
    first = round(min(c.engine_speed_rpm[0] for c in curves) / step)
    last = round(max(c.engine_speed_rpm[-1] for c in curves) / step)
    check_grid_points(last - first + 1, step)
    return np.arange(first, last + 1) * step


def stack_curves(curves: Sequence[Curve], grid: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place the curves of several runs on one grid.

    Parameters
    ----------
    curves : sequence of Curve
    grid : array, (g,)
        From `common_grid` [1/min].

    Returns
    -------
    power_kw, torque_nm : array, (runs, g)
        [kW] and [N·m]; NaN if a run has no value there.

    Notes
    -----
    Row i, column (rpm - grid[0]) / step: bookkeeping, no published source.
    """
    power = np.full((len(curves), grid.size), np.nan)
    torque = np.full_like(power, np.nan)
    for row, curve in enumerate(curves):
        start = round((curve.engine_speed_rpm[0] - grid[0]) / curve.grid_step_rpm)
        place = slice(start, start + curve.engine_speed_rpm.size)
        power[row, place], torque[row, place] = curve.power_kw, curve.torque_nm
    return power, torque


def summarise_repeats(curves: Sequence[Curve]) -> RepeatSet:
    """Compute mean, spread and 95 % band of runs in one state of the bike.

    Parameters
    ----------
    curves : sequence of Curve
        One or more, all made with the same grid step and width.

    Returns
    -------
    RepeatSet
        Over engine speed [1/min]; one run gives its curve without spread or band.

    Raises
    ------
    ValueError
        There is no curve, or the curves have different grids or widths.

    Notes
    -----
    At each engine speed mean ± t·s/sqrt(n) over the runs, Student's interval [1]_.
    """
    grid = common_grid(curves)
    power, torque = stack_curves(curves, grid)
    return RepeatSet(grid, mean_interval(power, axis=0), mean_interval(torque, axis=0), len(curves))


def order_flag(groups: Sequence[npt.ArrayLike], repeatability_pct: float) -> Flag | None:
    """Flag groups of which the later runs drift.

    Parameters
    ----------
    groups : sequence of array, (runs,)
        One value a run in any unit, in the order the runs were made.
    repeatability_pct : float
        A drift over a group below this is not flagged [% of the mean].

    Returns
    -------
    Flag or None
        None also if there are too few runs to be certain.

    Notes
    -----
    Least squares of x/mean - 1 = slope · order, tested with Student's t at 95 % [1]_. All groups share one
    slope and keep their own level, so the change under test is not taken for a drift.
    """
    values = [np.asarray(g, dtype=float) for g in groups]
    orders = [np.arange(v.size) - (v.size - 1) / 2 for v in values]
    relative = np.concatenate([v / v.mean() - 1 for v in values])
    order = np.concatenate(orders)
    df = relative.size - len(values) - 1
    spread = float(order @ order)
    if df < 1 or spread == 0:
        return None
    slope = float(order @ relative) / spread
    scatter = np.sqrt(np.sum(np.square(relative - slope * order)) / df / spread)
    drift_pct = 100 * slope * (max(v.size for v in values) - 1)
    if abs(slope) <= t_quantile(df, CONFIDENCE) * scatter or abs(drift_pct) < repeatability_pct:
        return None
    text = (
        _("Later runs drift up by %(share)s %% within a group. Check for warm-up or heat soak.")
        if drift_pct > 0
        else _("Later runs drift down by %(share)s %% within a group. Check for warm-up or heat soak.")
    )
    return Flag("order", text % {"share": format_number(abs(drift_pct), 1)})


def temperature_flag(temperatures_c: tuple[Sequence[float], Sequence[float]] | None) -> Flag | None:
    """Flag two groups that were run at different temperatures.

    Parameters
    ----------
    temperatures_c : (sequence of float, sequence of float) or None
        Temperatures of the runs of each group [°C]; None if unknown.

    Returns
    -------
    Flag or None

    Notes
    -----
    |mean₂ - mean₁| > 10 °C. Rule of thumb, no published source.
    """
    if temperatures_c is None:
        return None
    means = [summarise(np.asarray(side, dtype=float)).mean for side in temperatures_c]
    apart = abs(means[1] - means[0])
    if not apart > TEMPERATURE_SPREAD_C:
        return None
    text = _(
        "The groups were run at temperatures %(apart)s °C apart. Part of the difference may be "
        "due to temperature."
    )
    return Flag("temperature", text % {"apart": format_number(apart)})


def describe_repeatability(run: RunSpread) -> Repeatability:
    """Return what a measured spread from run to run means for single runs.

    Parameters
    ----------
    run : RunSpread
        Measured, not assumed.

    Returns
    -------
    Repeatability

    Notes
    -----
    The limit 1.96·sqrt(2)·s [2]_, and the interval of s from the χ² quantiles, s·sqrt(df/χ²) [1]_.
    """
    from scipy.special import chdtri

    tail = (1 - CONFIDENCE) / 2
    low, high = (float(np.sqrt(run.df / chdtri(run.df, p))) for p in (tail, 1 - tail))
    return Repeatability(
        sd_pct=run.sd_pct,
        low_pct=run.sd_pct * low,
        high_pct=run.sd_pct * high,
        limit_pct=repeatability_limit(run.sd_pct),
        df=run.df,
    )
