"""Repeats of a run as a band, and a shop's repeatability from all its repeats.

The run is the unit: samples within a run are not independent, so every spread here is one
between runs. A single run has none; only a stated repeatability can stand in for it.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 and 7.3.1.
.. [2] ISO 5725-2: repeatability from groups of repeats.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Curve, Flag
from jobs.calc.statistics import (
    CONFIDENCE,
    FloatArray,
    MeanInterval,
    SampleSummary,
    mean_interval,
    pooled_sd,
    repeatability_limit,
    summarise,
    t_quantile,
)
from jobs.calc.units.numbers import require_positive

ASSUMED_REPEATABILITY_PCT = 1.0  # common practice, no source: same bike, same day, same dyno
TEMPERATURE_SPREAD_C = 10.0


@dataclass(frozen=True, eq=False)
class RepeatSet:
    """Runs in one state of the bike, as a mean with its band.

    Attributes
    ----------
    engine_speed_rpm : array, (g,)
        All grid points that any of the runs covers.
    power, torque : MeanInterval of arrays, (g,)
        In kW and N·m: ``n`` runs measured there, ``mean``, ``sd`` and the 95 % ``half_width``
        of the mean; the last two NaN where only one run measured.
    runs : int
    """

    engine_speed_rpm: FloatArray
    power: MeanInterval
    torque: MeanInterval
    runs: int


@dataclass(frozen=True)
class Repeatability:
    """A shop's own repeatability from its repeats, in % of the figure.

    Attributes
    ----------
    sd_pct, low_pct, high_pct : float
        Pooled standard deviation within groups, and its 95 % interval.
    limit_pct : float
        Two single runs differ by less in 95 % of pairs.
    df, groups : float, int
        Degrees of freedom, and how many groups had repeats.
    """

    sd_pct: float
    low_pct: float
    high_pct: float
    limit_pct: float
    df: float
    groups: int


def common_grid(curves: Sequence[Curve]) -> FloatArray:
    if not curves:
        raise ValueError("There is no run in this group.")
    made = {(c.grid_step_rpm, c.width_rpm) for c in curves}
    if len(made) > 1:
        raise ValueError(
            "These curves were made with different grids or smoothing: make them again with one."
        )
    step = curves[0].grid_step_rpm
    first = round(min(c.engine_speed_rpm[0] for c in curves) / step)
    last = round(max(c.engine_speed_rpm[-1] for c in curves) / step)
    return np.arange(first, last + 1) * step


def stack(curves: Sequence[Curve], grid: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Power and torque of each run on the grid, (runs, g); NaN where a run has no value."""
    power = np.full((len(curves), grid.size), np.nan)
    torque = np.full_like(power, np.nan)
    for row, curve in enumerate(curves):
        start = round((curve.engine_speed_rpm[0] - grid[0]) / curve.grid_step_rpm)
        place = slice(start, start + curve.engine_speed_rpm.size)
        power[row, place], torque[row, place] = curve.power_kw, curve.torque_nm
    return power, torque


def repeats(curves: Sequence[Curve]) -> RepeatSet:
    """Mean, spread and 95 % band of runs in one state of the bike [1]_.

    Parameters
    ----------
    curves : sequence of Curve
        One or more, all made with the same grid step and width.

    Returns
    -------
    RepeatSet
        One run gives its curve without spread or band.

    Raises
    ------
    ValueError
        No curve, or curves of different grids or widths.
    """
    grid = common_grid(curves)
    power, torque = stack(curves, grid)
    return RepeatSet(grid, mean_interval(power, axis=0), mean_interval(torque, axis=0), len(curves))


def with_assumed_spread(values: npt.ArrayLike, repeatability_pct: float) -> SampleSummary:
    """A group's sample; a single run gets the spread that the shop's repeatability states.

    Parameters
    ----------
    values : array, (runs, ...)
    repeatability_pct : float
        Standard deviation of a run in % of its value. Being stated and not measured here, it
        counts as known: normal quantile, endless degrees of freedom.

    Returns
    -------
    Sample, (...)
        From two runs on: measured mean and spread. NaN where not every run has a value.
    """
    data = np.asarray(values, dtype=float)
    if data.shape[0] > 1:
        sample = summarise(data, axis=0)
        complete = sample.n == data.shape[0]
        mean = np.where(complete, sample.mean, np.nan)
        return SampleSummary(sample.n, mean, sample.sd, sample.df)
    return SampleSummary(n=1, mean=data[0], sd=np.abs(data[0]) * repeatability_pct / 100, df=np.inf)


def order_flag(groups: Sequence[npt.ArrayLike], repeatability_pct: float) -> Flag | None:
    """Say so where the later runs of the groups drift away.

    Parameters
    ----------
    groups : sequence of array, (runs,)
        One figure a run, in the order the runs were made. All groups share one slope per run
        and keep their own level, so the change under test is not taken for a drift.
    repeatability_pct : float
        A drift over a group below this share of its mean is not worth a word.

    Returns
    -------
    Flag or None
        None too where there are not enough runs to tell.
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
    way = "up" if drift_pct > 0 else "down"
    return Flag(
        "order", f"Later runs drift {way}, by {abs(drift_pct):.1f} % over a group: warm-up or heat soak?"
    )


def temperature_flag(temperatures_c: tuple[Sequence[float], Sequence[float]] | None) -> Flag | None:
    """Say so where the two groups' mean temperatures lie more than 10 °C apart; None where unknown."""
    if temperatures_c is None:
        return None
    means = [summarise(np.asarray(side, dtype=float)).mean for side in temperatures_c]
    apart = abs(means[1] - means[0])
    if not apart > TEMPERATURE_SPREAD_C:
        return None
    return Flag(
        "temperature", f"The groups were run {apart:.0f} °C apart: part of the difference may be temperature."
    )


def shop_repeatability(groups: Sequence[npt.ArrayLike]) -> Repeatability:
    """A shop's own repeatability, pooled over groups of repeats of whatever bikes [2]_.

    Parameters
    ----------
    groups : sequence of array, (runs,)
        One figure a run (peak power, say), each group in one state of one bike. A group of one
        says nothing and is left out.

    Returns
    -------
    Repeatability
        In % of each group's own mean, so that small and large engines count alike.

    Raises
    ------
    ValueError
        No group has two runs, or a group's mean is not above zero.
    """
    from scipy.special import chdtri

    samples = [summarise(np.asarray(group, dtype=float)) for group in groups]
    samples = [s for s in samples if s.n > 1]
    for sample in samples:
        require_positive("mean of a group of repeats", float(sample.mean))
    pooled = pooled_sd([SampleSummary(s.n, 100.0, 100.0 * s.sd / s.mean, s.df) for s in samples])
    tail = (1 - CONFIDENCE) / 2
    low, high = (float(np.sqrt(pooled.df / chdtri(pooled.df, p))) for p in (tail, 1 - tail))
    return Repeatability(
        sd_pct=pooled.sd,
        low_pct=pooled.sd * low,
        high_pct=pooled.sd * high,
        limit_pct=repeatability_limit(pooled.sd),
        df=pooled.df,
        groups=len(samples),
    )
