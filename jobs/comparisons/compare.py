"""A comparison of two groups of runs, its figures and what changed between them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db import transaction

from jobs.calc.dyno import comparison as calc
from jobs.calc.dyno.curves import Flag
from jobs.models import Comparison, ComparisonRun, Run
from jobs.runs.results import RunFigures, figures_together
from jobs.timeline.bike_states import BikeState
from jobs.timeline.events import Event, between, events
from workshop.models import ShopProfile

CLAIM = "The difference belongs to all of these changes together: none of them was tested alone."


Group = ComparisonRun.Group


@dataclass(frozen=True, eq=False)
class Compared:
    """Both groups' figures, the difference between them, and every change that lies between.

    ``result`` is None where the groups can't be compared, and ``reason`` says why. A side with a single
    run has the shop's repeatability for its spread.
    """

    comparison: Comparison
    before: tuple[RunFigures, ...]
    after: tuple[RunFigures, ...]
    result: calc.Comparison | None
    changes: tuple[Event, ...]
    left_out: tuple[str, ...]
    repeatability_pct: float
    reason: str = ""

    @property
    def flags(self) -> tuple[Flag, ...]:
        return (*self.result.flags, *gear_flag((*self.before, *self.after))) if self.result else ()

    @property
    def claim(self) -> str:
        """What may be said of the cause."""
        if not self.changes:
            return "Nothing that was recorded changed between the two groups."
        return CLAIM if len(self.changes) > 1 else "Only this was changed between the two groups."


def gear_flag(compared: Iterable[RunFigures]) -> tuple[Flag, ...]:
    gears = sorted({figures.run.gear for figures in compared if figures.run.gear is not None})
    if len(gears) < 2:
        return ()
    named = " and ".join(str(gear) for gear in gears)
    return (Flag("gears", f"The runs were made in gears {named}: losses and slip differ with the gear."),)


def shop_bands(shop: ShopProfile, low_rpm: float, high_rpm: float) -> dict[str, tuple[float, float]]:
    """The shop's bands inside what was measured; a band that lies outside is left out."""
    bands = {}
    for band in shop.bands:
        low = max(low_rpm, band["low_rpm"] or low_rpm)
        high = min(high_rpm, band["high_rpm"] or high_rpm)
        if low < high:
            bands[band["name"]] = (low, high)
    return bands


def compare_runs(
    comparison: Comparison,
    members: Sequence[ComparisonRun],
    shop: ShopProfile,
    timeline: Sequence[Event] | None = None,
) -> Compared:
    """The figures of a comparison from its runs; a run set aside or without a curve is left out and named.

    ``timeline`` is the job's, where the caller has read it already.
    """
    ordered = sorted(members, key=lambda m: (m.run.made_at, m.run.pk))
    left_out = [f"{m.run}: set aside, {m.run.set_aside_reason}." for m in ordered if m.run.set_aside]
    used = [member for member in ordered if not member.run.set_aside]
    groups: dict[str, list[RunFigures]] = {"before": [], "after": []}
    for member, figures in zip(used, figures_together([m.run for m in used], shop), strict=True):
        if figures.curve is None:
            left_out.append(f"{member.run}: {figures.reason}")
        else:
            groups[member.group].append(figures)
    before, after = tuple(groups["before"]), tuple(groups["after"])
    result, reason = _result(before, after, shop)
    changed = changes_between(before, after, timeline)
    return Compared(
        comparison, before, after, result, changed, tuple(left_out), shop.repeatability_pct, reason
    )


def _result(
    before: Sequence[RunFigures], after: Sequence[RunFigures], shop: ShopProfile
) -> tuple[calc.Comparison | None, str]:
    sides = [[f.curve for f in side if f.curve] for side in (before, after)]
    if not all(sides):
        return None, "A comparison needs at least one run with a curve before and one after."
    if len({f.is_corrected for f in (*before, *after)}) > 1:
        return None, "Some of these runs have no air entered: corrected and observed are not compared."
    if len({f.run.kind for f in (*before, *after)}) > 1:
        return None, "Runs of different kinds (sweeps, held runs) are not compared."
    curves = [*sides[0], *sides[1]]
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


def _temperatures(side: Sequence[RunFigures]) -> list[float]:
    return [f.run.temperature_c for f in side if f.run.temperature_c is not None]


def changes_between(
    before: Sequence[RunFigures], after: Sequence[RunFigures], timeline: Sequence[Event] | None = None
) -> tuple[Event, ...]:
    """Everything on the job's timeline that changed the bike from the first of these runs to the last.

    A change amid a group counts too: it is part of what the groups differ by.
    """
    if not before or not after:
        return ()
    times = [figures.run.made_at for figures in (*before, *after)]
    found = events(before[0].run.job) if timeline is None else timeline
    return tuple(between(found, min(times), max(times)))


def can_be_compared(run: Run) -> bool:
    return run.counts and run.kind == Run.Kind.SWEEP


def suggested_groups(states: Iterable[BikeState]) -> dict[int, Group]:
    """The sweeps of the first state of the bike as before and those of the last as after, by run id.

    Nothing where all sweeps were made in one state.
    """
    swept = [[run for run in state.runs if can_be_compared(run)] for state in states]
    swept = [runs for runs in swept if runs]
    if len(swept) < 2:
        return {}
    sides = ((Group.BEFORE, swept[0]), (Group.AFTER, swept[-1]))
    return {run.pk: group for group, runs in sides for run in runs}


@transaction.atomic
def save_comparison(*, comparison: Comparison, groups: Mapping[int, Group]) -> None:
    """Save a comparison with its runs by group; of the runs it had, those that stay are left as they are.

    Raises
    ------
    StaleRecord
        Somebody else saved it meanwhile.
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
