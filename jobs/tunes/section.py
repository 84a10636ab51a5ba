"""Tune log on the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import TuneChange, TuneRevision
from jobs.tunes.revisions import changes_by_revision, changes_in_bike, road_effects, tune_in_bike

TEMPLATE = "jobs/tunes/_section.html"


def section(results: JobResults) -> Section:
    in_bike, carried = results.get(tune_in_bike), results.get(changes_in_bike)
    changes = results.get(changes_by_revision)
    state, why = where_it_stands(results, in_bike, carried)
    context = {
        "tunes": [(each, changes.get(each.pk, [])) for each in reversed(results.rows(TuneRevision))],
        "tune_in_bike": in_bike,
        "tune_road_effects": road_effects(carried),
    }
    return Section("tunes", "Tune log", state, why, TEMPLATE, context)


def where_it_stands(
    results: JobResults, in_bike: TuneRevision | None, carried: list[TuneChange]
) -> tuple[State, str]:
    revisions = results.rows(TuneRevision)
    if in_bike is None or (len(revisions) == 1 and not carried):
        return State.EMPTY, "nothing loaded yet" if in_bike is None else "as received"
    on_the_road = sum(change.kind.affects_road_use for change in carried)
    if on_the_road:
        counted = "1 change" if on_the_road == 1 else f"{on_the_road} changes"
        return State.ATTENTION, f"{in_bike} in the bike, {counted} may affect road use"
    changes = results.get(changes_by_revision)
    silent = [each for each in revisions if says_nothing(each, changes.get(each.pk, []))]
    if silent:
        return State.IN_HAND, f"{silent[-1]} does not say what it changes"
    return State.DONE, f"{in_bike} in the bike"


def says_nothing(revision: TuneRevision, changes: list[TuneChange]) -> bool:
    return bool(revision.number) and not (revision.note or revision.title or changes)
