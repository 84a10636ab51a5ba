"""Tune log on the job page."""

from jobs.job.page import JobPage
from jobs.job.section import Section, State
from jobs.models import TuneChange, TuneRevision
from jobs.tunes.revisions import carried_changes, in_the_bike, road_effects

TEMPLATE = "jobs/tunes/_section.html"


def section(page: JobPage) -> Section:
    in_bike = in_the_bike(page.revisions, page.runs)
    carried = carried_changes(in_bike, page.revisions, page.changes)
    state, why = where_it_stands(page, in_bike, carried)
    context = {
        "tunes": [(each, page.changes.get(each.pk, [])) for each in reversed(page.revisions)],
        "tune_in_bike": in_bike,
        "tune_road_effects": road_effects(carried),
    }
    return Section("tunes", "Tune log", state, why, TEMPLATE, context)


def where_it_stands(
    page: JobPage, in_bike: TuneRevision | None, carried: list[TuneChange]
) -> tuple[State, str]:
    if in_bike is None or (len(page.revisions) == 1 and not carried):
        return State.EMPTY, "nothing loaded yet" if in_bike is None else "as received"
    on_the_road = sum(change.kind.affects_road_use for change in carried)
    if on_the_road:
        changes = "1 change" if on_the_road == 1 else f"{on_the_road} changes"
        return State.ATTENTION, f"{in_bike} in the bike, {changes} may affect road use"
    silent = [each for each in page.revisions if says_nothing(each, page)]
    if silent:
        return State.IN_HAND, f"{silent[-1]} does not say what it changes"
    return State.DONE, f"{in_bike} in the bike"


def says_nothing(revision: TuneRevision, page: JobPage) -> bool:
    return bool(revision.number) and not (revision.note or revision.title or page.changes.get(revision.pk))
