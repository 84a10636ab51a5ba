"""The bike as it came against the bike as it is now, whatever comparisons the shop made on the way."""

from collections.abc import Collection
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.comparisons.compare import Group, compare_runs, comparison_results, is_comparable
from jobs.comparisons.facts import comparison_facts
from jobs.job.results import JobResults
from jobs.models import Comparison, ComparisonRun, Run
from jobs.timeline.bike_states import bike_states, present_state
from jobs.timeline.events import changes, timeline
from reports.handover.snapshot.schema import PresentFacts

TITLE = gettext_noop("Before the work and now")
NOT_AS_RECEIVED = gettext_noop(
    "No full-throttle dyno run was made before the first change, so there is nothing to compare."
)
NOT_SINCE = gettext_noop(
    "No full-throttle dyno run was made after the last change, so its effect was not measured."
)


def present_facts(results: JobResults) -> PresentFacts | None:
    """Return the comparison of the bike before the first change and now; None without runs or changes."""
    changed = changes(results.get(timeline))
    states = [(state, found) for state in results.get(bike_states) if (found := sweeps(state.runs))]
    if not states or not changed:
        return None
    first, before = states[0]
    if first.changes:
        return PresentFacts(reason=_(NOT_AS_RECEIVED))
    after = [run for run in sweeps(results.get(present_state).runs) if run not in before]
    is_now = bool(after)
    after = after or (states[-1][1] if len(states) > 1 else [])
    since = [] if is_now else [event.text for event in changed if not after or event.at > last_made(after)]
    if not after:
        return PresentFacts(reason=_(NOT_SINCE), since=since)
    printed = index_of_printed(results, before, after)
    if printed is not None:
        return PresentFacts(index=printed, since=since)
    comparison = Comparison(job=results.job, title=_(TITLE))
    groups = {Group.BEFORE: before, Group.AFTER: after}
    members = [
        ComparisonRun(comparison=comparison, run=run, group=group)
        for group, runs in groups.items()
        for run in runs
    ]
    compared = compare_runs(comparison, members, results)
    return PresentFacts(comparison=comparison_facts(compared, results.shop), since=since)


def sweeps(runs: Collection[Run]) -> list[Run]:
    return [run for run in runs if is_comparable(run)]


def last_made(runs: Collection[Run]) -> datetime:
    return max(run.made_at for run in runs)


def index_of_printed(results: JobResults, before: Collection[Run], after: Collection[Run]) -> int | None:
    """Return which printed comparison is between these two states, the last one if several."""
    sides = ({run.pk for run in before}, {run.pk for run in after})
    printed = [found for found in results.get(comparison_results).values() if found.comparison.on_sheet]
    matching = [
        index
        for index, found in enumerate(printed)
        if found.result
        and {member.run.pk for member in found.before if member not in found.again} <= sides[0]
        and {member.run.pk for member in found.after} <= sides[1]
    ]
    return matching[-1] if matching else None
