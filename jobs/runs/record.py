"""Contribution of runs to a job."""

from collections.abc import Iterator
from typing import Any

from jobs.job.event import Event, EventKind
from jobs.job.page import JobPage, Rows, link_to
from jobs.job.registry import Export, JobRecord
from jobs.job.results import JobResults
from jobs.models import Run, TuneRevision
from jobs.runs.facts import RUNS, runs_done
from jobs.runs.section import section


def link_tunes(page: JobPage, rows: list[Any]) -> None:
    link_to(rows, "tune_revision", page.rows(TuneRevision))


def events(results: JobResults) -> Iterator[Event]:
    for run in results.rows(Run):
        exclusion = f", set aside: {run.set_aside_reason}" if run.set_aside else ""
        with_tune = f" with {run.tune_revision}" if run.tune_revision else ""
        text = f"{run.get_kind_display()} {run}{with_tune}{exclusion}"
        revision = run.tune_revision
        yield Event(run.made_at, EventKind.RUN, text, changes_bike=False, run=run, revision=revision)


RECORD = JobRecord(
    "runs",
    rows=(
        Rows(
            Run,
            people=("made_by",),
            link=link_tunes,
            carried_columns=("job_id", "tune_revision_id", "made_at", "original_name", "pull"),
        ),
    ),
    reads=(Run, TuneRevision),
    section=section,
    events=events,
    printed=RUNS,
    done=runs_done,
    export=Export(
        column_names={
            "size": "size_bytes",
            "sweep_start": "sweep_start_sample",
            "sweep_stop": "sweep_stop_sample",
        }
    ),
)
