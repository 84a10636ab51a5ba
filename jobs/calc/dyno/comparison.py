"""The difference between two groups of repeats: per engine speed, over bands, and in words.

Each value is computed for every run by itself, then the runs of a group give a mean and a spread, and the two
groups a difference by Welch. If a group is a single run, the shop's repeatability stands in for its spread
and the answer says 'assumed'. Intervals are not adjusted for their number: of twenty true zeros about one
will seem to be a difference.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 and 7.3.1 (two processes).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Curve, Flag, find_peak
from jobs.calc.dyno.repeats import (
    ASSUMED_REPEATABILITY_PCT,
    RepeatSet,
    common_grid,
    order_flag,
    stack_curves,
    summarise_repeats,
    temperature_flag,
    with_assumed_spread,
)
from jobs.calc.statistics import FloatArray, MeanDifference, SampleSummary, integrate, welch
from jobs.calc.units.numbers import format_number, require_positive

Show = Callable[[float], str]

# Shares of the speeds that all runs have in common. A rider leaves a turn in the drive band; the top is the
# last quarter. Rule of thumb, no published source.
BAND_SHARES: dict[str, tuple[float, float]] = {
    "whole": (0.0, 1.0),
    "drive band": (0.40, 0.75),
    "top": (0.75, 1.0),
}


class Verdict(StrEnum):
    """Verdict on a difference, after minus before; the value is the text shown."""

    MORE = "more"
    LESS = "less"
    NO_DIFFERENCE = "no difference shown"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class ComparedValue:
    """One value before and after, with the interval of its difference.

    Attributes
    ----------
    label, unit : str
        The unit of ``before``, ``after``, ``difference`` and its interval.
    before, after : float
        Means of the groups; NaN if the band was not measured.
    runs_before, runs_after : int
    difference, ci_low, ci_high : float
        After minus before, and its 95 % interval.
    df : float
        Welch's degrees of freedom [1].
    assumed_pct : float or None
        The repeatability that stood in for a single run's spread [%]; None if both were measured.
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
    def measured(self) -> bool:
        """True if every run has a value."""
        return bool(np.isfinite(self.difference))

    @property
    def verdict(self) -> Verdict:
        """More or less only if the interval excludes zero."""
        if not self.measured:
            return Verdict.NOT_MEASURED
        if self.ci_low > 0:
            return Verdict.MORE
        return Verdict.LESS if self.ci_high < 0 else Verdict.NO_DIFFERENCE

    @property
    def difference_pct(self) -> float:
        """Difference in % of the value before; NaN if that is zero."""
        return 100 * self.difference / self.before if self.before else float("nan")

    @property
    def sentence(self) -> str:
        """The verdict in words, in ``unit``."""
        return self.describe(lambda value: f"{format_number(value, 1)} {self.unit}")

    def describe(self, show: Show) -> str:
        """Describe the verdict in the unit that the reader wants.

        Parameters
        ----------
        show : callable
            Formats a value of ``unit`` with the unit to show.

        Returns
        -------
        str
        """
        if not self.measured:
            return f"{self.label}: not measured in every run, so nothing is said about it."
        interval = f"{show(self.ci_low)} to {show(self.ci_high)}"
        runs = f"{_count_runs(self.runs_before)} before, {_count_runs(self.runs_after)} after"
        if self.verdict is Verdict.NO_DIFFERENCE:
            sentence = f"{self.verdict} (95 % interval {interval}; {runs}). That does not make them equal."
        else:
            sentence = f"{show(abs(self.difference))} {self.verdict} (95 % interval {interval}; {runs})."
        if self.assumed_pct is not None:
            sentence += (
                f" A repeatability of {self.assumed_pct:.2g} % is assumed, because a side has a single run."
            )
        return f"{self.label}: {sentence}"


@dataclass(frozen=True)
class BandComparison:
    """A band of engine speed before and after.

    Attributes
    ----------
    name : str
    from_rpm, to_rpm : float
        Its ends [1/min].
    mean_power, mean_torque, peak_power, peak_torque : ComparedValue
        In [kW] and [N·m].
    area : ComparedValue
        Under the power curve [kW/min].
    """

    name: str
    from_rpm: float
    to_rpm: float
    mean_power: ComparedValue
    mean_torque: ComparedValue
    peak_power: ComparedValue
    peak_torque: ComparedValue
    area: ComparedValue


@dataclass(frozen=True, eq=False)
class RunComparison:
    """Two groups of repeats and the difference between them, after minus before.

    Attributes
    ----------
    engine_speed_rpm : array, (g,)
        Grid of all runs [1/min].
    power, torque : MeanDifference of arrays, (g,)
        Per engine speed [kW], [N·m]; NaN unless every run measured there.
    before, after : RepeatSet
        Each on its own grid.
    bands : tuple of BandComparison
    assumed_pct : float or None
        The repeatability that stood in for a single run [%]; None if both groups have repeats.
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
        """True if a stated repeatability stood in for the spread of a single run."""
        return self.assumed_pct is not None


def _count_runs(count: int) -> str:
    return "1 run" if count == 1 else f"{count} runs"


def _default_bands(from_rpm: float, to_rpm: float) -> dict[str, tuple[float, float]]:
    width = to_rpm - from_rpm
    return {name: (from_rpm + a * width, from_rpm + b * width) for name, (a, b) in BAND_SHARES.items()}


def compare(
    before: Sequence[Curve],
    after: Sequence[Curve],
    bands: Mapping[str, tuple[float, float]] | None = None,
    assumed_repeatability_pct: float = ASSUMED_REPEATABILITY_PCT,
    temperatures_c: tuple[Sequence[float], Sequence[float]] | None = None,
) -> RunComparison:
    """Compare two groups of runs per engine speed and over bands of it.

    Parameters
    ----------
    before, after : sequence of Curve
        In the order in which the runs were made; all with one grid step and width.
    bands : mapping of name to (from_rpm, to_rpm), optional
        Ends of the bands [1/min]; `BAND_SHARES` of the common speeds by default.
    assumed_repeatability_pct : float
        Standard deviation of a side that has a single run [% of its value], taken as known.
    temperatures_c : (sequence of float, sequence of float), optional
        Engine or air temperatures of the runs of each side, for the flag [°C].

    Returns
    -------
    RunComparison
        Only speeds that every run measured count.

    Raises
    ------
    ValueError
        A side is empty, the curves have different grids or widths or no common speed, a band does not end
        above its start, or the repeatability is not above zero.

    Notes
    -----
    For each run in a band the mean ∫P dn / ∫dn, the peak and the area ∫P dn; then the difference of the
    groups' means with Welch's interval [1]_.
    """
    require_positive("assumed repeatability", assumed_repeatability_pct, "%")
    if not before or not after:
        raise ValueError("A comparison needs at least one run before and one after.")
    grid = common_grid([*before, *after])
    sides = [stack_curves(before, grid), stack_curves(after, grid)]
    common = np.all([np.isfinite(power).all(axis=0) for power, _ in sides], axis=0)
    if not common.any():
        raise ValueError("The runs have no engine speed in common, so there is nothing to compare.")
    sides = [(np.where(common, p, np.nan), np.where(common, t, np.nan)) for p, t in sides]
    speeds = grid[common]
    chosen = bands if bands is not None else _default_bands(float(speeds[0]), float(speeds[-1]))
    compared = tuple(
        _compare_band(name, ends, grid, sides, assumed_repeatability_pct) for name, ends in chosen.items()
    )
    single = min(len(before), len(after)) == 1
    return RunComparison(
        engine_speed_rpm=grid,
        power=_difference(sides[0][0], sides[1][0], assumed_repeatability_pct),
        torque=_difference(sides[0][1], sides[1][1], assumed_repeatability_pct),
        before=summarise_repeats(before),
        after=summarise_repeats(after),
        bands=compared,
        assumed_pct=assumed_repeatability_pct if single else None,
        flags=_comparison_flags(before, after, sides, assumed_repeatability_pct, temperatures_c),
    )


def _difference(before: FloatArray, after: FloatArray, pct: float) -> MeanDifference:
    return welch(with_assumed_spread(after, pct), with_assumed_spread(before, pct))


def compare_values(
    label: str,
    unit: str,
    before: npt.ArrayLike,
    after: npt.ArrayLike,
    assumed_repeatability_pct: float = ASSUMED_REPEATABILITY_PCT,
) -> ComparedValue:
    """Compare one value of each run before and after.

    Parameters
    ----------
    label, unit : str
        Name and unit of the value.
    before, after : array, (runs,)
        One value a run, in ``unit``.
    assumed_repeatability_pct : float
        Standard deviation of a side that has a single run [% of its value], taken as known.

    Returns
    -------
    ComparedValue

    Raises
    ------
    ValueError
        A side is empty.

    Notes
    -----
    mean(after) - mean(before) with Welch's interval [1]_.
    """
    first, second = np.asarray(before, dtype=float), np.asarray(after, dtype=float)
    if not first.size or not second.size:
        raise ValueError(f"{label}: a comparison needs at least one run before and one after.")
    samples = (with_assumed_spread(side, assumed_repeatability_pct) for side in (first, second))
    single = min(first.size, second.size) == 1
    return compare_samples(label, unit, *samples, assumed_pct=assumed_repeatability_pct if single else None)


def compare_samples(
    label: str, unit: str, before: SampleSummary, after: SampleSummary, *, assumed_pct: float | None
) -> ComparedValue:
    """Compare two summarised groups.

    Parameters
    ----------
    label, unit : str
        Name and unit of the value.
    before, after : SampleSummary
        Scalars, in ``unit``.
    assumed_pct : float or None
        The repeatability that stands in for the spread of a single run [%].

    Returns
    -------
    ComparedValue

    Notes
    -----
    mean(after) - mean(before) with Welch's interval [1]_.
    """
    gap = welch(after, before)
    return ComparedValue(
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

    def compare_pair(
        label: str, unit: str, value_of: Callable[[FloatArray], FloatArray], *runs: FloatArray
    ) -> ComparedValue:
        return compare_values(label, unit, value_of(runs[0]), value_of(runs[1]), pct)

    def mean(values: FloatArray) -> FloatArray:
        width = integrate(speed, np.where(np.isfinite(values), 1.0, np.nan))
        return np.asarray(integrate(speed, values) / width)

    def top(values: FloatArray) -> FloatArray:
        return np.array([find_peak(speed, run)[0] for run in values])

    powers, torques = (power_before, power_after), (torque_before, torque_after)
    return BandComparison(
        name=name,
        from_rpm=float(low),
        to_rpm=float(high),
        mean_power=compare_pair("Mean power", "kW", mean, *powers),
        mean_torque=compare_pair("Mean torque", "N·m", mean, *torques),
        peak_power=compare_pair("Peak power", "kW", top, *powers),
        peak_torque=compare_pair("Peak torque", "N·m", top, *torques),
        area=compare_pair(
            "Area under the power curve", "kW/min", lambda v: np.asarray(integrate(speed, v)), *powers
        ),
    )


def _comparison_flags(
    before: Sequence[Curve],
    after: Sequence[Curve],
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
