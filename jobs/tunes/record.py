"""What tunes contribute to a job."""

from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext as _

from jobs.job.event import Event, EventKind
from jobs.job.page import JobPage, Rows, link_to
from jobs.job.registry import BikeHistory, JobRecord
from jobs.job.results import JobResults
from jobs.models import Run, TuneChange, TuneChangeKind, TuneRevision
from jobs.tunes.facts import TUNE, tune_done, tunes_by_job
from jobs.tunes.revisions import changes_by_revision, changes_in_bike
from jobs.tunes.road_use import tune_causes
from jobs.tunes.section import section


def link_revisions(page: JobPage, rows: list[Any]) -> None:
    link_to(rows, "revision", page.rows(TuneRevision))


def events(results: JobResults) -> Iterator[Event]:
    changes = results.get(changes_by_revision)
    for revision in results.rows(TuneRevision):
        if revision.number == 0:
            text = _("calibration as received")
        else:
            parts = [revision.full_title, *map(describe, changes.get(revision.pk, ()))]
            description = "; ".join(filter(None, parts))
            text = _("%(tune)s loaded") % {"tune": revision.label}
            text += f": {description}" if description else ""
        changes_bike = revision.number != 0
        yield Event(revision.loaded_at, EventKind.TUNE, text, changes_bike, revision=revision)


def describe(change: TuneChange) -> str:
    return f"{_(change.kind.name)}: {change.to_value} {change.unit}".strip()


def cautions(results: JobResults) -> list[str]:
    found = (change.kind.customer_caution for change in results.get(changes_in_bike))
    return list(dict.fromkeys(_(caution) for caution in found if caution))


RECORD = JobRecord(
    "tunes",
    rows=(
        Rows(TuneRevision, people=("loaded_by",)),
        Rows(TuneChange, "revision__job", join=("kind",), link=link_revisions),
    ),
    shared=(Rows(TuneChangeKind, ""),),
    reads=(TuneRevision, TuneChange, TuneChangeKind, Run),
    carries=(TuneRevision, TuneChange, Run),
    section=section,
    events=events,
    road_causes=tune_causes,
    looked_at="tunes",
    cautions=cautions,
    printed=TUNE,
    done=tune_done,
    bike_history=BikeHistory(tunes_by_job, "jobs/tunes/_history.html"),
)
