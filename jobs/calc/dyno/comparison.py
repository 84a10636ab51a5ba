"""The difference between two groups of runs: over engine speed, over bands, and in words.

Each value is computed for every run by itself. The order and the sessions of the runs, and the shop's own
spread, make its interval (`jobs.calc.dyno.design`). The intervals of bands are not adjusted for their number:
of twenty true zeros about one will seem to be a difference. The band over engine speed holds at all of them.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 and 4.1.4.1.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curve_difference import CurveDifference, Verdict, compare_curves
from jobs.calc.dyno.curves import Curve, Flag, find_peak
from jobs.calc.dyno.design import Design, Estimate, estimate
from jobs.calc.dyno.repeats import (
    ASSUMED_REPEATABILITY_PCT,
    RepeatSet,
    common_grid,
    order_flag,
    stack_curves,
    summarise_repeats,
    temperature_flag,
)
from jobs.calc.dyno.spread import RunSpread, SessionSpread, ShopSpread, assumed_spread
from jobs.calc.statistics import FloatArray, integrate
from jobs.calc.units.numbers import format_digits, format_number, format_range
from jobs.calc.wording import gettext as _
from jobs.calc.wording import join_words, ngettext

Show = Callable[[float], str]

# Shares of the speeds that all runs have in common. A rider leaves a turn in the drive band; the top is the
# last quarter. Rule of thumb, no published source.
BAND_SHARES: dict[str, tuple[float, float]] = {
    "whole": (0.0, 1.0),
    "drive band": (0.40, 0.75),
    "top": (0.75, 1.0),
}


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
        Effective degrees of freedom [1].
    assumed_pct : float or None
        The repeatability that was assumed for want of repeats [%]; None if the spread was measured.
    smallest : float
        Difference that would be seen in 4 of 5 such comparisons; NaN if unknown.
    another_pair : float
        Half-width of the interval with one more run on each side, if they scatter alike; NaN if unknown.
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
    smallest: float = float("nan")
    another_pair: float = float("nan")

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
            return _("%(label)s: not measured in every run, so no result.") % {"label": _(self.label)}
        values = {
            "label": _(self.label),
            "difference": show(abs(self.difference)),
            "interval": format_range(show(self.ci_low), show(self.ci_high)),
            "before": _count_runs(self.runs_before),
            "after": _count_runs(self.runs_after),
        }
        texts = {
            Verdict.MORE: _(
                "%(label)s: %(difference)s more (95 %% interval %(interval)s; %(before)s before, %(after)s "
                "after)."
            ),
            Verdict.LESS: _(
                "%(label)s: %(difference)s less (95 %% interval %(interval)s; %(before)s before, %(after)s "
                "after)."
            ),
            Verdict.NO_DIFFERENCE: _(
                "%(label)s: no clear difference (95 %% interval %(interval)s; %(before)s before, %(after)s "
                "after). This does not prove they are equal."
            ),
        }
        sentences = [texts[self.verdict] % values]
        if self.verdict is Verdict.NO_DIFFERENCE and np.isfinite(self.smallest):
            text = _("A real difference of %(difference)s would show up 4 times in 5.")
            sentences.append(text % {"difference": show(self.smallest)})
        if self.assumed_pct is not None:
            text = _("There are too few repeats, so a repeatability of %(share)s %% is assumed.")
            sentences.append(text % {"share": format_digits(self.assumed_pct, 2)})
        return " ".join(sentences)


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
    """Two groups of runs and the difference between them, after minus before.

    Attributes
    ----------
    engine_speed_rpm : array, (g,)
        Grid of all runs [1/min].
    power, torque : CurveDifference
        Per engine speed [kW], [N·m].
    before, after : RepeatSet
        Each on its own grid.
    bands : tuple of BandComparison
    assumed_pct : float or None
        The repeatability that was assumed for want of repeats [%].
    flags : tuple of Flag
    design : Design
    contents : str
        What the intervals contain and what not.
    """

    engine_speed_rpm: FloatArray
    power: CurveDifference
    torque: CurveDifference
    before: RepeatSet
    after: RepeatSet
    bands: tuple[BandComparison, ...]
    assumed_pct: float | None
    flags: tuple[Flag, ...]
    design: Design
    contents: str

    @property
    def assumed(self) -> bool:
        """True if a stated repeatability stood in for repeats."""
        return self.assumed_pct is not None


def _count_runs(count: int) -> str:
    return ngettext("%(count)s run", "%(count)s runs", count) % {"count": count}


def _default_bands(from_rpm: float, to_rpm: float) -> dict[str, tuple[float, float]]:
    width = to_rpm - from_rpm
    return {name: (from_rpm + a * width, from_rpm + b * width) for name, (a, b) in BAND_SHARES.items()}


@dataclass(frozen=True, eq=False)
class _Runs:
    """Curves of all runs on one grid in the order they were made, with what is known of their spread."""

    design: Design
    spread: ShopSpread
    grid: FloatArray
    power: FloatArray
    torque: FloatArray

    @cached_property
    def power_peaks(self) -> FloatArray:
        return _find_peaks(self.grid, self.power)

    @cached_property
    def torque_peaks(self) -> FloatArray:
        return _find_peaks(self.grid, self.torque)

    def compare(self, label: str, unit: str, values: FloatArray, run: RunSpread) -> ComparedValue:
        found = estimate(self.design, values, run, self.spread.session)
        return _compared_value(label, unit, values, self.design, found, run)

    def run_spread_of_mean(self, from_rpm: float, to_rpm: float) -> RunSpread:
        """Return the spread of a mean over a band: that of one speed if narrow, of the mean if wide."""
        mean, point = self.spread.mean, self.spread.point
        measured = self.grid[np.isfinite(self.power).all(axis=0)]
        share = min((to_rpm - from_rpm) / max(measured[-1] - measured[0], 1e-9), 1.0)
        variance = share * mean.sd_pct**2 + (1 - share) * max(point.sd_pct, mean.sd_pct) ** 2
        return RunSpread(float(np.sqrt(variance)), mean.df)


def compare(
    before: Sequence[Curve],
    after: Sequence[Curve],
    bands: Mapping[str, tuple[float, float]] | None = None,
    *,
    design: Design | None = None,
    spread: ShopSpread | None = None,
    temperatures_c: tuple[Sequence[float], Sequence[float]] | None = None,
) -> RunComparison:
    """Compare two groups of runs per engine speed and over bands of it.

    Parameters
    ----------
    before, after : sequence of Curve
        In the order in which the runs were made; all with one grid step and width.
    bands : mapping of name to (from_rpm, to_rpm), optional
        Ends of the bands [1/min]; `BAND_SHARES` of the common speeds by default.
    design : Design, optional
        Order and sessions of all runs; by default first all before, then all after, in one session.
    spread : ShopSpread, optional
        The shop's own; the assumed one by default.
    temperatures_c : (sequence of float, sequence of float), optional
        Engine or air temperatures of the runs of each side, for the flag [°C].

    Returns
    -------
    RunComparison
        Only speeds that every run measured count.

    Raises
    ------
    ValueError
        A side is empty, the curves have different grids or widths or no common speed, or a band does not end
        above its start.

    Notes
    -----
    For each run in a band the mean ∫P dn / ∫dn, the highest value (at most the peak of the whole curve)
    and the area ∫P dn; then the difference with its interval by `jobs.calc.dyno.design.estimate` [1]_.
    """
    if not before or not after:
        raise ValueError(_("A comparison needs at least one run before and one after."))
    design = design or default_design(len(before), len(after))
    spread = spread or assumed_spread(ASSUMED_REPEATABILITY_PCT, before[0].width_rpm)
    grid = common_grid([*before, *after])
    power, torque = (
        in_order(design, *pair)
        for pair in zip(stack_curves(before, grid), stack_curves(after, grid), strict=True)
    )
    common = np.isfinite(power).all(axis=0)
    if not common.any():
        raise ValueError(_("The runs have no engine speed in common, so there is nothing to compare."))
    runs = _Runs(design, spread, grid, np.where(common, power, np.nan), np.where(common, torque, np.nan))
    speeds = grid[common]
    chosen = bands if bands is not None else _default_bands(float(speeds[0]), float(speeds[-1]))
    means = _mean_over(grid, runs.power)
    whole = estimate(design, means, spread.mean, spread.session)
    assumed_pct = spread.mean.sd_pct if whole.run_assumed else None
    return RunComparison(
        engine_speed_rpm=grid,
        power=compare_curves(runs.power, grid, design, spread, before[0].width_rpm),
        torque=compare_curves(runs.torque, grid, design, spread, before[0].width_rpm),
        before=summarise_repeats(before),
        after=summarise_repeats(after),
        bands=tuple(_compare_band(name, ends, runs) for name, ends in chosen.items()),
        assumed_pct=assumed_pct,
        flags=_comparison_flags(before, after, means, whole, runs, temperatures_c),
        design=design,
        contents=_describe_contents(design, spread, whole, float(means.mean())),
    )


def default_design(before: int, after: int) -> Design:
    """Return the design of runs before and then after, all in one session.

    Parameters
    ----------
    before, after : int
        Number of runs.

    Returns
    -------
    Design

    Notes
    -----
    Bookkeeping, no published source.
    """
    return Design.from_runs([False] * before + [True] * after)


def in_order(design: Design, before: FloatArray, after: FloatArray) -> FloatArray:
    """Place the runs of both sides in the order they were made.

    Parameters
    ----------
    design : Design
    before, after : array, (runs, ...)
        Each side in its order, in any unit.

    Returns
    -------
    array, (runs, ...)

    Notes
    -----
    Bookkeeping, no published source.
    """
    values = np.empty((design.after.size, *before.shape[1:]))
    values[~design.after], values[design.after] = before, after
    return values


def _mean_over(speed: FloatArray, values: FloatArray) -> FloatArray:
    width = integrate(speed, np.where(np.isfinite(values), 1.0, np.nan))
    return np.asarray(integrate(speed, values) / width)


def _describe_contents(design: Design, spread: ShopSpread, whole: Estimate, level: float) -> str:
    """Say in one line what the intervals contain and what not.

    Parameters
    ----------
    design : Design
    spread : ShopSpread
    whole : Estimate
        Of mean power.
    level : float
        Mean of that, in its unit.

    Returns
    -------
    str
    """
    holds, lacks = [], []
    if whole.run_assumed:
        text = _("the scatter from run to run (%(share)s %%, assumed because there are too few repeats)")
        holds.append(text % {"share": format_digits(spread.mean.sd_pct, 2)})
    elif spread.mean.assumed or whole.is_wild:
        holds.append(_("the scatter from run to run (of these runs alone)"))
    else:
        text = _(
            "the scatter from run to run (of these runs, %(own)s degrees of freedom, and of the shop's own "
            "repeats, %(shop)s)"
        )
        own, shop = (format_number(float(df)) for df in (design.residuals[1], spread.mean.df))
        holds.append(text % {"own": own, "shop": shop})
    if whole.drift is not None:
        drift = format_number(100 * float(whole.drift) / level, 2, signed=True)
        text = _(
            "the drift from run to run (%(drift)s %% per run, removed because the baseline was run again)"
        )
        holds.append(text % {"drift": drift})
    else:
        lacks.append(_("a drift over the runs (the baseline was not run again after the change)"))
    if whole.rests_on_sessions:
        source = _("assumed") if spread.session.assumed else _("from the shop's own repeated baselines")
        text = _("the effect of strapping down again or of another day (%(share)s %%, %(source)s)")
        holds.append(text % {"share": format_digits(spread.session.sd_pct, 2), "source": source})
    elif np.unique(design.session).size == 1:
        lacks.append(
            _("the effect of strapping down again or of another day (all runs were made in one session)")
        )
    lacks.append(_("errors that are the same before and after, such as those of sensors and inertia"))
    return _("Each interval covers %(holds)s. It leaves out %(lacks)s.") % {
        "holds": join_words(holds, _("%(first)s and %(last)s")),
        "lacks": join_words(lacks, _("%(first)s or %(last)s")),
    }


def compare_values(
    label: str,
    unit: str,
    before: npt.ArrayLike,
    after: npt.ArrayLike,
    run: RunSpread,
    session: SessionSpread,
    *,
    design: Design | None = None,
    level: npt.ArrayLike | None = None,
) -> ComparedValue:
    """Compare one value of each run before and after.

    Parameters
    ----------
    label, unit : str
        Name and unit of the value.
    before, after : array, (runs,)
        One value a run, in ``unit``.
    run, session : RunSpread, SessionSpread
        The shop's spread of power.
    design : Design, optional
        Order and sessions of all runs; by default first all before, then all after, in one session.
    level : array, (2,), optional
        How much the value changes with each 100 % of power, before and after; by default its means.

    Returns
    -------
    ComparedValue

    Raises
    ------
    ValueError
        A side is empty.

    Notes
    -----
    By `jobs.calc.dyno.design.estimate` [1]_.
    """
    first, second = np.asarray(before, dtype=float), np.asarray(after, dtype=float)
    if not first.size or not second.size:
        raise ValueError(f"{label}: a comparison needs at least one run before and one after.")
    design = design or default_design(first.size, second.size)
    values = in_order(design, first, second)
    return _compared_value(label, unit, values, design, estimate(design, values, run, session, level), run)


def _compared_value(
    label: str, unit: str, values: FloatArray, design: Design, found: Estimate, run: RunSpread
) -> ComparedValue:
    difference, half = float(found.difference), float(found.half_width)
    after = float(values[design.after].mean())
    runs_before, runs_after = design.counts
    return ComparedValue(
        label=label,
        unit=unit,
        before=after - difference,
        after=after,
        runs_before=runs_before,
        runs_after=runs_after,
        difference=difference,
        ci_low=difference - half,
        ci_high=difference + half,
        df=float(found.df),
        assumed_pct=run.sd_pct if found.run_assumed else None,
        smallest=float(found.smallest),
        another_pair=float(found.next_half_width),
    )


def _find_peaks(speed: FloatArray, runs: FloatArray) -> FloatArray:
    return np.array([find_peak(speed, run)[0] for run in runs])


def _compare_band(name: str, ends: tuple[float, float], runs: _Runs) -> BandComparison:
    low, high = ends
    if not low < high:
        raise ValueError(f"The end of the band '{name}' must be above its start ({low:g} to {high:g} rpm).")
    inside = (runs.grid >= low) & (runs.grid <= high)
    speed, power, torque = runs.grid[inside], runs.power[:, inside], runs.torque[:, inside]
    mean, peak = runs.run_spread_of_mean(low, high), runs.spread.peak

    def top(values: FloatArray, peaks: FloatArray) -> FloatArray:
        # The fit at an end of a band has fewer points, and may come out above the peak of the whole curve.
        return np.minimum(_find_peaks(speed, values), peaks)

    return BandComparison(
        name=name,
        from_rpm=float(low),
        to_rpm=float(high),
        mean_power=runs.compare("Mean power", "kW", _mean_over(speed, power), mean),
        mean_torque=runs.compare("Mean torque", "N·m", _mean_over(speed, torque), mean),
        peak_power=runs.compare("Peak power", "kW", top(power, runs.power_peaks), peak),
        peak_torque=runs.compare("Peak torque", "N·m", top(torque, runs.torque_peaks), peak),
        area=runs.compare("Area under the power curve", "kW/min", np.asarray(integrate(speed, power)), mean),
    )


def _comparison_flags(
    before: Sequence[Curve],
    after: Sequence[Curve],
    means: FloatArray,
    whole: Estimate,
    runs: _Runs,
    temperatures_c: tuple[Sequence[float], Sequence[float]] | None,
) -> tuple[Flag, ...]:
    design, found = runs.design, []
    groups = [means[~design.after], means[design.after]]
    if any(group.size > 1 and np.ptp(group) == 0 for group in groups):
        found.append(
            Flag("same-run", _("These repeat runs are identical. Was the same file uploaded twice?"))
        )
    if whole.is_wild:
        found.append(
            Flag("wild", _("These runs scatter more than the shop's own repeats. Find the reason first."))
        )
    if len({c.observed is None for c in (*before, *after)}) > 1:
        found.append(
            Flag("mixed-correction", _("Some of these runs are corrected for the air and others are not."))
        )
    order = None if design.is_bracketed else order_flag(groups, runs.spread.mean.sd_pct)
    found += [flag for flag in (order, temperature_flag(temperatures_c)) if flag]
    return tuple(found)
