"""Tune log on the job page."""

from functools import partial
from typing import Any

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.job.sentences import counted
from jobs.models import TuneChange, TuneRevision
from jobs.tunes.revisions import changes_by_revision, changes_in_bike, tune_in_bike
from jobs.tunes.road_use import settings_in_bike, tune_causes

TEMPLATE = "jobs/tunes/_section.html"


def section(results: JobResults) -> Section:
    in_bike, revisions = results.get(tune_in_bike), results.rows(TuneRevision)
    state, summary = section_state(results, in_bike)
    latest = revisions[-1] if revisions else None
    return Section(
        "tunes",
        "Tune",
        state,
        summary,
        TEMPLATE,
        partial(section_context, results),
        who=str(latest.loaded_by) if latest else "",
        at=latest.loaded_at if latest else None,
    )


def section_context(results: JobResults) -> dict[str, Any]:
    changes = results.get(changes_by_revision)
    return {
        "tunes": [
            (revision, changes.get(revision.pk, [])) for revision in reversed(results.rows(TuneRevision))
        ],
        "tune_in_bike": results.get(tune_in_bike),
        "tune_causes": [cause.describe(results.shop, results.job) for cause in results.get(tune_causes)],
    }


def section_state(results: JobResults, in_bike: TuneRevision | None) -> tuple[State, str]:
    revisions = results.rows(TuneRevision)
    count = sum(change.kind.affects_road_use for change in results.get(settings_in_bike))
    if count:
        tune = f"{in_bike} in the bike, " if in_bike is not None else ""
        return State.ATTENTION, f"{tune}{counted(count, 'change')} may affect road use"
    if in_bike is None or (len(revisions) == 1 and not results.get(changes_in_bike)):
        return State.EMPTY, "none recorded" if in_bike is None else "as received"
    changes = results.get(changes_by_revision)
    undescribed = [tune for tune in revisions if is_undescribed(tune, changes.get(tune.pk, []))]
    if undescribed:
        return State.IN_HAND, f"{undescribed[-1]} has no recorded changes"
    titled = f": {in_bike.full_title}" if in_bike.full_title else ""
    return State.DONE, f"{in_bike} in the bike{titled}"


def is_undescribed(revision: TuneRevision, changes: list[TuneChange]) -> bool:
    return bool(revision.number) and not (revision.note or revision.title or changes)
