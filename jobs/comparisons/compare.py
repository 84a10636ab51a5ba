"""Compare two groups of runs and name what changed between them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.calc.dyno import comparison as calc
from jobs.calc.dyno.curves import Flag
from jobs.calc.dyno.design import Design
from jobs.calc.dyno.spread import ShopSpread
from jobs.calc.units.numbers import format_digits
from jobs.calc.wording import join_words
from jobs.comparisons.sessions import number_sessions
from jobs.comparisons.shop_spread import shop_spread
from jobs.job.event import Event
from jobs.job.results import JobResults
from jobs.models import Comparison, ComparisonRun, Run
from jobs.runs.results import RunResult, curves_at_one_width, run_results
from jobs.runs.setup_flags import setup_flags
from jobs.timeline.bike_states import BikeState
from jobs.timeline.events import events_between, timeline
from workshop.models import ShopProfile

CHANGED_TOGETHER = gettext_noop(
    "These changes were tested together, so the difference cannot be credited to any one of them."
)
IN_DOUBT = gettext_noop(
    "The files of some of these runs may already be corrected. Edit these runs and enter whether they are."
)


Group = ComparisonRun.Group


@dataclass(frozen=True, eq=False)
class ComparisonResult:
    """Results of both groups, the difference between them, and every change in between.

    ``result`` is None if the groups cannot be compared; ``reason`` then says why. ``undone`` is what changed
    before the baseline was run again. ``spread`` is the shop's, behind every interval.
    """

    comparison: Comparison
    before: tuple[RunResult, ...]
    after: tuple[RunResult, ...]
    result: calc.RunComparison | None
    changes: tuple[Event, ...]
    undone: tuple[Event, ...]
    left_out: tuple[str, ...]
    spread: ShopSpread
    reason: str = ""

    @property
    def flags(self) -> tuple[Flag, ...]:
        compared = (*self.before, *self.after)
        if self.result is None:
            return ()
        setup = setup_flags(self.before, self.after, self.changes)
        return (
            *self.result.flags,
            *gear_flag(compared),
            *width_flag(compared),
            *setup,
            *self.not_undone_flag,
        )

    @property
    def again(self) -> tuple[RunResult, ...]:
        """The runs of the baseline that were made after the change."""
        return runs_again(self.before, self.after)

    @property
    def not_undone_flag(self) -> tuple[Flag, ...]:
        if not self.again or self.undone or not self.changes:
            return ()
        sentence = _("The baseline was run again, but no record says that the change was undone before it.")
        return (Flag("not-undone", sentence),)

    @property
    def attribution_sentence(self) -> str:
        """What the difference may be credited to."""
        if not self.changes:
            return _("No recorded change between before and after.")
        return (
            _(CHANGED_TOGETHER)
            if len(self.changes) > 1
            else _("This is the only recorded change between before and after.")
        )


def order_key(run_result: RunResult) -> tuple[datetime, int]:
    return run_result.run.made_at, run_result.run.pk


def runs_again(before: Sequence[RunResult], after: Sequence[RunResult]) -> tuple[RunResult, ...]:
    """Return the runs before that were made after the first run after, if others were made before it."""
    if not before or not after:
        return ()
    first_after = order_key(after[0])
    again = tuple(f for f in before if order_key(f) > first_after)
    return again if len(again) < len(before) else ()


def gear_flag(compared: Iterable[RunResult]) -> tuple[Flag, ...]:
    gears = sorted({run_result.run.gear for run_result in compared if run_result.run.gear is not None})
    if len(gears) < 2:
        return ()
    named = join_words([str(gear) for gear in gears], _("%(first)s and %(last)s"))
    text = _("The runs were made in gears %(gears)s. Losses and slip differ between gears.")
    return (Flag("gears", text % {"gears": named}),)


def width_flag(compared: Iterable[RunResult]) -> tuple[Flag, ...]:
    widths = sorted({result.curve.width_rpm for result in compared if result.curve})
    if len(widths) < 2:
        return ()
    text = _("A file has few samples, so all runs are smoothed over %(width)s rpm in this comparison.")
    return (Flag("width", text % {"width": format_digits(widths[-1])}),)


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
    left_out = [
        _("%(run)s: excluded, %(reason)s.") % {"run": m.run, "reason": m.run.set_aside_reason}
        for m in ordered
        if m.run.set_aside
    ]
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
    result, reason = compare_groups(before, after, results.shop)
    changed, undone = changes_between(before, after, results.get(timeline))
    return ComparisonResult(
        comparison,
        before,
        after,
        result,
        changed,
        undone,
        tuple(left_out),
        shop_spread(results.shop),
        reason,
    )


def compare_groups(
    before: Sequence[RunResult],
    after: Sequence[RunResult],
    shop: ShopProfile,
    bands: Mapping[str, tuple[float, float]] | None = None,
) -> tuple[calc.RunComparison | None, str]:
    """Compare two groups over the shop's bands or those given; None with the reason if that is impossible."""
    if not before or not after:
        return None, _("A comparison needs at least one run with a curve before and one after.")
    if len({f.file_correction.in_doubt for f in (*before, *after)}) > 1:
        return None, _(IN_DOUBT)
    if len({f.is_corrected for f in (*before, *after)}) > 1:
        return None, _(
            "Some of these runs have no air data. Corrected and uncorrected runs cannot be compared."
        )
    if len({f.run.kind for f in (*before, *after)}) > 1:
        return None, _("Runs of different types (sweeps, held-throttle runs) cannot be compared.")
    curves = curves_at_one_width((*before, *after), shop)
    sides = (curves[: len(before)], curves[len(before) :])
    low, high = max(c.measured_from_rpm for c in curves), min(c.measured_to_rpm for c in curves)
    if not low < high:
        return None, _("These runs have no engine speed in common.")
    airs = [_temperatures(side) for side in (before, after)]
    try:
        return calc.compare(
            sides[0],
            sides[1],
            bands or shop_bands(shop, low, high) or None,
            design=make_design(before, after),
            spread=shop_spread(shop),
            temperatures_c=(airs[0], airs[1]) if all(airs) else None,
        ), ""
    except ValueError as problem:
        return None, str(problem)


def make_design(before: Sequence[RunResult], after: Sequence[RunResult]) -> Design:
    """Return side and session of all runs in the order they were made."""
    changed = {f.run.pk for f in after}
    runs = [f.run for f in sorted((*before, *after), key=order_key)]
    return Design.from_runs([run.pk in changed for run in runs], number_sessions(runs))


def _temperatures(side: Sequence[RunResult]) -> list[float]:
    return [f.run.temperature_c for f in side if f.run.temperature_c is not None]


def changes_between(
    before: Sequence[RunResult], after: Sequence[RunResult], events: Sequence[Event]
) -> tuple[tuple[Event, ...], tuple[Event, ...]]:
    """Return what changed the bike from the first of these runs to the last, and what was undone after it.

    A change within a group counts too, because the groups then differ by it as well. If the baseline was run
    again, what changed the bike between the last run before that and the last of it is what was undone.
    """
    if not before or not after:
        return (), ()
    times = [run_result.run.made_at for run_result in (*before, *after)]
    found = events_between(events, min(times), max(times))
    again = runs_again(before, after)
    if not again:
        return tuple(found), ()
    since = max(f.run.made_at for f in after if order_key(f) < order_key(again[0]))
    return tuple(e for e in found if e.at <= since), tuple(e for e in found if e.at > since)


def is_comparable(run: Run) -> bool:
    return run.counts and run.kind == Run.Kind.SWEEP


def suggested_groups(states: Iterable[BikeState]) -> dict[int, Group]:
    """Return the side of every suggested sweep, by run id; empty if the bike had only one state.

    After are the sweeps of the last state that is not the baseline. Before are those of the baseline: the
    first state, and the same state again after the change.
    """
    swept = [(state, runs) for state in states if (runs := [r for r in state.runs if is_comparable(r)])]
    changed = [place for place, (state, _) in enumerate(swept) if not state.is_like(swept[0][0])]
    if not changed:
        return {}
    last = changed[-1]
    baselines = [runs for place, (_, runs) in enumerate(swept) if place == 0 or place > last]
    sides = (*((Group.BEFORE, runs) for runs in baselines), (Group.AFTER, swept[last][1]))
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
