"""Compare two groups of runs and name what changed between them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db import transaction

from jobs.calc.dyno import comparison as calc
from jobs.calc.dyno.curves import Flag
from jobs.job.event import Event
from jobs.job.results import JobResults
from jobs.models import Comparison, ComparisonRun, Run
from jobs.runs.results import RunResult, curves_at_one_width, run_results
from jobs.runs.setup_flags import setup_flags
from jobs.timeline.bike_states import BikeState
from jobs.timeline.events import events_between, timeline
from workshop.models import ShopProfile

CHANGED_TOGETHER = "The difference belongs to all of these changes together: none of them was tested alone."


Group = ComparisonRun.Group


@dataclass(frozen=True, eq=False)
class ComparisonResult:
    """Results of both groups, the difference between them, and every change in between.

    ``result`` is None if the groups cannot be compared; ``reason`` then says why. The shop's repeatability
    stands in for the spread of a side with a single run.
    """

    comparison: Comparison
    before: tuple[RunResult, ...]
    after: tuple[RunResult, ...]
    result: calc.RunComparison | None
    changes: tuple[Event, ...]
    left_out: tuple[str, ...]
    repeatability_pct: float
    reason: str = ""

    @property
    def flags(self) -> tuple[Flag, ...]:
        compared = (*self.before, *self.after)
        if self.result is None:
            return ()
        setup = setup_flags(self.before, self.after, self.changes)
        return (*self.result.flags, *gear_flag(compared), *width_flag(compared), *setup)

    @property
    def attribution_sentence(self) -> str:
        """What the difference may be credited to."""
        if not self.changes:
            return "Nothing that was recorded changed between the two groups."
        return CHANGED_TOGETHER if len(self.changes) > 1 else "Only this was changed between the two groups."


def gear_flag(compared: Iterable[RunResult]) -> tuple[Flag, ...]:
    gears = sorted({run_result.run.gear for run_result in compared if run_result.run.gear is not None})
    if len(gears) < 2:
        return ()
    named = " and ".join(str(gear) for gear in gears)
    return (Flag("gears", f"The runs were made in gears {named}: losses and slip differ with the gear."),)


def width_flag(compared: Iterable[RunResult]) -> tuple[Flag, ...]:
    widths = sorted({result.curve.width_rpm for result in compared if result.curve})
    if len(widths) < 2:
        return ()
    sentence = f"A file has few samples: all runs are smoothed over {widths[-1]:g} 1/min in this comparison."
    return (Flag("width", sentence),)


def shop_bands(shop: ShopProfile, low_rpm: float, high_rpm: float) -> dict[str, tuple[float, float]]:
    """Return the shop's bands cut to the measured range, without those outside it."""
    bands = {}
    for band in shop.bands:
        low = max(low_rpm, band["low_rpm"] or low_rpm)
        high = min(high_rpm, band["high_rpm"] or high_rpm)
        if low < high:
            bands[band["name"]] = (low, high)
    return bands


def runs_by_comparison(results: JobResults) -> dict[Comparison, list[ComparisonRun]]:
    """Return the runs of every comparison that has some, by side and in the order they were made."""
    members: dict[Comparison, list[ComparisonRun]] = {
        comparison: [] for comparison in results.rows(Comparison)
    }
    for member in sorted(results.rows(ComparisonRun), key=lambda m: (m.group, m.run.made_at, m.run.pk)):
        members[member.comparison].append(member)
    return {comparison: found for comparison, found in members.items() if found}


def comparison_results(results: JobResults) -> dict[Comparison, ComparisonResult]:
    """Return the result of every comparison of the job."""
    members = results.get(runs_by_comparison)
    return {
        comparison: compare_runs(comparison, members.get(comparison, ()), results)
        for comparison in results.rows(Comparison)
    }


def compare_runs(
    comparison: Comparison, members: Sequence[ComparisonRun], results: JobResults
) -> ComparisonResult:
    """Compare the runs of both sides; name every run that is excluded or has no curve."""
    ordered = sorted(members, key=lambda m: (m.run.made_at, m.run.pk))
    left_out = [f"{m.run}: set aside, {m.run.set_aside_reason}." for m in ordered if m.run.set_aside]
    groups: dict[str, list[RunResult]] = {"before": [], "after": []}
    for member in ordered:
        run_result = results.get(run_results)[member.run_id]
        if member.run.set_aside:
            continue
        if run_result.curve is None:
            left_out.append(f"{member.run}: {run_result.reason}")
        else:
            groups[member.group].append(run_result)
    before, after = tuple(groups["before"]), tuple(groups["after"])
    result, reason = _result(before, after, results.shop)
    changed = changes_between(before, after, results.get(timeline))
    repeatability_pct = results.shop.repeatability_pct
    return ComparisonResult(
        comparison, before, after, result, changed, tuple(left_out), repeatability_pct, reason
    )


def _result(
    before: Sequence[RunResult], after: Sequence[RunResult], shop: ShopProfile
) -> tuple[calc.RunComparison | None, str]:
    if not before or not after:
        return None, "A comparison needs at least one run with a curve before and one after."
    if len({f.is_corrected for f in (*before, *after)}) > 1:
        return None, "Some of these runs have no air entered: corrected and observed are not compared."
    if len({f.run.kind for f in (*before, *after)}) > 1:
        return None, "Runs of different kinds (sweeps, held runs) are not compared."
    curves = curves_at_one_width((*before, *after), shop)
    sides = (curves[: len(before)], curves[len(before) :])
    low, high = max(c.measured_from_rpm for c in curves), min(c.measured_to_rpm for c in curves)
    if not low < high:
        return None, "These runs have no engine speed in common."
    airs = [_temperatures(side) for side in (before, after)]
    try:
        return calc.compare(
            sides[0],
            sides[1],
            shop_bands(shop, low, high) or None,
            assumed_repeatability_pct=shop.repeatability_pct,
            temperatures_c=(airs[0], airs[1]) if all(airs) else None,
        ), ""
    except ValueError as problem:
        return None, str(problem)


def _temperatures(side: Sequence[RunResult]) -> list[float]:
    return [f.run.temperature_c for f in side if f.run.temperature_c is not None]


def changes_between(
    before: Sequence[RunResult], after: Sequence[RunResult], events: Sequence[Event]
) -> tuple[Event, ...]:
    """Return everything that changed the bike from the first of these runs to the last.

    A change within a group counts too, because the groups then differ by it as well.
    """
    if not before or not after:
        return ()
    times = [run_result.run.made_at for run_result in (*before, *after)]
    return tuple(events_between(events, min(times), max(times)))


def is_comparable(run: Run) -> bool:
    return run.counts and run.kind == Run.Kind.SWEEP


def suggested_groups(states: Iterable[BikeState]) -> dict[int, Group]:
    """Return the side of every suggested sweep, by run id; empty if the bike had only one state.

    Before are the sweeps of the bike's first state, after those of its last.
    """
    swept = [[run for run in state.runs if is_comparable(run)] for state in states]
    swept = [runs for runs in swept if runs]
    if len(swept) < 2:
        return {}
    sides = ((Group.BEFORE, swept[0]), (Group.AFTER, swept[-1]))
    return {run.pk: group for group, runs in sides for run in runs}


@transaction.atomic
def save_comparison(*, comparison: Comparison, groups: Mapping[int, Group]) -> None:
    """Save a comparison with its runs by group, and leave the runs that stay unchanged.

    Raises
    ------
    StaleRecord
        Another user saved it in the meantime.
    """
    comparison.save()
    for member in comparison.members.all():
        group = groups.get(member.run_id)
        if group is None:
            member.delete()
        elif group != member.group:
            member.group = group
            member.save()
    known = set(comparison.members.values_list("run_id", flat=True))
    for run_id, group in groups.items():
        if run_id not in known:
            ComparisonRun.objects.create(comparison=comparison, run_id=run_id, group=group)
