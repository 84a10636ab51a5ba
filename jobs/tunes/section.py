"""Tune log on the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import TuneChange, TuneRevision
from jobs.tunes.revisions import changes_by_revision, changes_in_bike, road_effects, tune_in_bike

TEMPLATE = "jobs/tunes/_section.html"


def section(results: JobResults) -> Section:
    in_bike, in_effect = results.get(tune_in_bike), results.get(changes_in_bike)
    changes = results.get(changes_by_revision)
    state, reason = section_state(results, in_bike, in_effect)
    context = {
        "tunes": [
            (revision, changes.get(revision.pk, [])) for revision in reversed(results.rows(TuneRevision))
        ],
        "tune_in_bike": in_bike,
        "tune_road_effects": road_effects(in_effect),
    }
    return Section("tunes", "Tune log", state, reason, TEMPLATE, context)


def section_state(
    results: JobResults, in_bike: TuneRevision | None, in_effect: list[TuneChange]
) -> tuple[State, str]:
    revisions = results.rows(TuneRevision)
    if in_bike is None or (len(revisions) == 1 and not in_effect):
        return State.EMPTY, "nothing loaded yet" if in_bike is None else "as received"
    count = sum(change.kind.affects_road_use for change in in_effect)
    if count:
        counted = "1 change" if count == 1 else f"{count} changes"
        return State.ATTENTION, f"{in_bike} in the bike, {counted} may affect road use"
    changes = results.get(changes_by_revision)
    undescribed = [tune for tune in revisions if is_undescribed(tune, changes.get(tune.pk, []))]
    if undescribed:
        return State.IN_HAND, f"{undescribed[-1]} does not say what it changes"
    return State.DONE, f"{in_bike} in the bike"


def is_undescribed(revision: TuneRevision, changes: list[TuneChange]) -> bool:
    return bool(revision.number) and not (revision.note or revision.title or changes)
