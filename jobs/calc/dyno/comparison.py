"""The difference between two groups of repeats: per engine speed, over bands, and in words.

A figure is worked out for every run by itself, then the runs of a group give a mean and a
spread, and the two groups a difference by Welch. Where a group is a single run the shop's
repeatability stands in for its spread and the answer says 'assumed'. Each interval stands for
itself: of twenty true zeros about one will seem to be a difference.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 and 7.3.1.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Curve, Flag, peak
from jobs.calc.dyno.repeats import (
    ASSUMED_REPEATABILITY_PCT,
    RepeatSet,
    common_grid,
    order_flag,
    repeats,
    stack,
    temperature_flag,
    with_assumed_spread,
)
from jobs.calc.statistics import FloatArray, MeanDifference, SampleSummary, integrate, welch
from jobs.calc.units.numbers import format_number, require_positive

Verdict = Literal["more", "less", "no difference shown"]
Show = Callable[[float], str]

# Shares of the speeds that all runs have in common; common practice, no source. A rider leaves
# a turn in the drive band; the top is the last quarter.
BAND_SHARES: dict[str, tuple[float, float]] = {
    "whole": (0.0, 1.0),
    "drive band": (0.40, 0.75),
    "top": (0.75, 1.0),
}


@dataclass(frozen=True)
class Figure:
    """One figure before and after, with its difference and what may be said of it.

    Attributes
    ----------
    label, unit : str
    before, after : float
        Means of the groups; NaN where the band was not measured.
    runs_before, runs_after : int
    difference, ci_low, ci_high, df : float
        After minus before, its 95 % interval, Welch's degrees of freedom.
    assumed_pct : float or None
        The repeatability that stood in for a single run's spread; None where both were measured.
    """

    label: str
    unit: str
    before: float
    after: float
    runs_before: int
    runs_after: int
    difference: float
    ci_low: float
    ci_high: float
    df: float
    assumed_pct: float | None

    @property
    def assumed(self) -> bool:
        return self.assumed_pct is not None

    @property
    def measured(self) -> bool:
        return bool(np.isfinite(self.difference))

    @property
    def verdict(self) -> Verdict:
        if self.ci_low > 0:
            return "more"
        return "less" if self.ci_high < 0 else "no difference shown"

    @property
    def difference_pct(self) -> float:
        return 100 * self.difference / self.before if self.before else float("nan")

    @property
    def sentence(self) -> str:
        return self.describe(lambda value: f"{format_number(value, 1)} {self.unit}")

    def describe(self, show: Show) -> str:
        """The verdict in words; ``show`` writes a value with the unit the reader wants."""
        if not self.measured:
            return f"{self.label}: not measured in every run, so nothing is said about it."
        interval = f"{show(self.ci_low)} to {show(self.ci_high)}"
        runs = f"{_runs(self.runs_before)} before, {_runs(self.runs_after)} after"
        if self.verdict == "no difference shown":
            said = f"no difference shown (95 % interval {interval}; {runs}). That does not make them equal."
        else:
            said = f"{show(abs(self.difference))} {self.verdict} (95 % interval {interval}; {runs})."
        if self.assumed_pct is not None:
            said += (
                f" A repeatability of {self.assumed_pct:.2g} % is assumed, because a side has a single run."
            )
        return f"{self.label}: {said}"


@dataclass(frozen=True)
class BandComparison:
    """A range of engine speed, before against after; ``mean_power`` gives its verdict."""

    name: str
    from_rpm: float
    to_rpm: float
    mean_power: Figure
    mean_torque: Figure
    peak_power: Figure
    peak_torque: Figure
    area: Figure

    @property
    def verdict(self) -> Verdict:
        return self.mean_power.verdict

    @property
    def figures(self) -> tuple[Figure, ...]:
        return (self.mean_power, self.mean_torque, self.peak_power, self.peak_torque, self.area)


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two groups of repeats and the difference between them, after minus before.

    Attributes
    ----------
    engine_speed_rpm : array, (g,)
    power, torque : Difference of arrays, (g,)
        Per engine speed, in kW and N·m; NaN where not every run measured.
    before, after : RepeatSet
        Each on its own grid.
    bands : tuple of BandComparison
    assumed_pct : float or None
        The repeatability that stood in for a single run; None where both groups have repeats.
    flags : tuple of Flag
    """

    engine_speed_rpm: FloatArray
    power: MeanDifference
    torque: MeanDifference
    before: RepeatSet
    after: RepeatSet
    bands: tuple[BandComparison, ...]
    assumed_pct: float | None
    flags: tuple[Flag, ...]

    @property
    def assumed(self) -> bool:
        return self.assumed_pct is not None


def _runs(count: int) -> str:
    return "1 run" if count == 1 else f"{count} runs"


def default_bands(from_rpm: float, to_rpm: float) -> dict[str, tuple[float, float]]:
    """Named ranges within the speeds that all runs have in common, by `BAND_SHARES`."""
    reach = to_rpm - from_rpm
    return {name: (from_rpm + a * reach, from_rpm + b * reach) for name, (a, b) in BAND_SHARES.items()}


def compare(
    before: Sequence[Curve],
    after: Sequence[Curve],
    bands: Mapping[str, tuple[float, float]] | None = None,
    assumed_repeatability_pct: float = ASSUMED_REPEATABILITY_PCT,
    temperatures_c: tuple[Sequence[float], Sequence[float]] | None = None,
) -> Comparison:
    """Difference between two groups of runs: per engine speed, and over bands of it [1]_.

    Parameters
    ----------
    before, after : sequence of Curve
        In the order in which the runs were made; all with one grid step and width.
    bands : mapping of name to (from_rpm, to_rpm), optional
        `default_bands` of the common speeds when left out.
    assumed_repeatability_pct : float
        Stands in for the spread of a side that has a single run: its standard deviation is
        this share of its value, taken as known (normal interval).
    temperatures_c : two sequences, optional
        Engine or air temperature of the runs of each side, for the flag.

    Returns
    -------
    Comparison
        Per band: mean power and torque (area over width), peaks within the band, area under
        the power curve. Only speeds that every run measured count.

    Raises
    ------
    ValueError
        An empty side, curves of different grids or widths, no common speed, a band whose ends
        are the wrong way round, a repeatability not above zero.
    """
    require_positive("assumed repeatability", assumed_repeatability_pct, "%")
    if not before or not after:
        raise ValueError("A comparison needs at least one run before and one after.")
    grid = common_grid([*before, *after])
    sides = [stack(before, grid), stack(after, grid)]
    common = np.all([np.isfinite(power).all(axis=0) for power, _ in sides], axis=0)
    if not common.any():
        raise ValueError("The runs have no engine speed in common, so there is nothing to compare.")
    sides = [(np.where(common, p, np.nan), np.where(common, t, np.nan)) for p, t in sides]
    reach = grid[common]
    chosen = bands if bands is not None else default_bands(float(reach[0]), float(reach[-1]))
    compared = tuple(
        _compare_band(name, ends, grid, sides, assumed_repeatability_pct) for name, ends in chosen.items()
    )
    single = min(len(before), len(after)) == 1
    return Comparison(
        engine_speed_rpm=grid,
        power=_difference(sides[0][0], sides[1][0], assumed_repeatability_pct),
        torque=_difference(sides[0][1], sides[1][1], assumed_repeatability_pct),
        before=repeats(before),
        after=repeats(after),
        bands=compared,
        assumed_pct=assumed_repeatability_pct if single else None,
        flags=_comparison_flags(before, after, grid, sides, assumed_repeatability_pct, temperatures_c),
    )


def _difference(before: FloatArray, after: FloatArray, pct: float) -> MeanDifference:
    return welch(with_assumed_spread(after, pct), with_assumed_spread(before, pct))


def compare_values(
    label: str,
    unit: str,
    before: npt.ArrayLike,
    after: npt.ArrayLike,
    assumed_repeatability_pct: float = ASSUMED_REPEATABILITY_PCT,
) -> Figure:
    """One figure, given run by run, before against after; a single run as in `compare`.

    Raises
    ------
    ValueError
        An empty side.
    """
    first, second = np.asarray(before, dtype=float), np.asarray(after, dtype=float)
    if not first.size or not second.size:
        raise ValueError(f"{label}: a comparison needs at least one run before and one after.")
    samples = (with_assumed_spread(side, assumed_repeatability_pct) for side in (first, second))
    single = min(first.size, second.size) == 1
    return figure_of(label, unit, *samples, assumed_pct=assumed_repeatability_pct if single else None)


def figure_of(
    label: str, unit: str, before: SampleSummary, after: SampleSummary, *, assumed_pct: float | None
) -> Figure:
    """A figure from two scalar samples; ``assumed_pct`` is what stands for the spread of a single run."""
    gap = welch(after, before)
    return Figure(
        label=label,
        unit=unit,
        before=float(before.mean),
        after=float(after.mean),
        runs_before=int(before.n),
        runs_after=int(after.n),
        difference=float(gap.difference),
        ci_low=float(gap.ci_low),
        ci_high=float(gap.ci_high),
        df=float(gap.df),
        assumed_pct=assumed_pct,
    )


def _compare_band(
    name: str,
    ends: tuple[float, float],
    grid: FloatArray,
    sides: Sequence[tuple[FloatArray, FloatArray]],
    pct: float,
) -> BandComparison:
    low, high = ends
    if not low < high:
        raise ValueError(f"The band '{name}' has to end above where it starts ({low:g} to {high:g} 1/min).")
    inside = (grid >= low) & (grid <= high)
    speed = grid[inside]
    (power_before, torque_before), (power_after, torque_after) = (
        (p[:, inside], t[:, inside]) for p, t in sides
    )

    def both(label: str, unit: str, work: Callable[[FloatArray], FloatArray], *runs: FloatArray) -> Figure:
        return compare_values(label, unit, work(runs[0]), work(runs[1]), pct)

    def mean(values: FloatArray) -> FloatArray:
        width = integrate(speed, np.where(np.isfinite(values), 1.0, np.nan))
        return np.asarray(integrate(speed, values) / width)

    def top(values: FloatArray) -> FloatArray:
        return np.array([peak(speed, run)[0] for run in values])

    powers, torques = (power_before, power_after), (torque_before, torque_after)
    return BandComparison(
        name=name,
        from_rpm=float(low),
        to_rpm=float(high),
        mean_power=both("Mean power", "kW", mean, *powers),
        mean_torque=both("Mean torque", "N·m", mean, *torques),
        peak_power=both("Peak power", "kW", top, *powers),
        peak_torque=both("Peak torque", "N·m", top, *torques),
        area=both("Area under the power curve", "kW/min", lambda v: np.asarray(integrate(speed, v)), *powers),
    )


def _comparison_flags(
    before: Sequence[Curve],
    after: Sequence[Curve],
    grid: FloatArray,
    sides: Sequence[tuple[FloatArray, FloatArray]],
    pct: float,
    temperatures_c: tuple[Sequence[float], Sequence[float]] | None,
) -> tuple[Flag, ...]:
    found = []
    groups = [np.nanmean(power, axis=1) for power, _ in sides]
    if any(group.size > 1 and np.ptp(group) == 0 for group in groups):
        found.append(Flag("same-run", "Repeats agree to the last digit: is one file attached twice?"))
    if 2 in (len(before), len(after)):
        found.append(
            Flag(
                "two-runs", "A side has only two runs, so the interval is rough: a third run tells far more."
            )
        )
    if len({c.observed is None for c in (*before, *after)}) > 1:
        found.append(
            Flag("mixed-correction", "Some of these runs are corrected for the air and others are not.")
        )
    found += [flag for flag in (order_flag(groups, pct), temperature_flag(temperatures_c)) if flag]
    return tuple(found)
