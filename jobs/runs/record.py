"""Contribution of runs to a job."""

from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext as _

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
        values = {"kind": _(run.get_kind_display()), "run": run, "tune": run.tune_revision}
        text = (_("%(kind)s %(run)s with %(tune)s") if run.tune_revision else "%(kind)s %(run)s") % values
        text += f", {_('excluded: %(reason)s') % {'reason': run.set_aside_reason}}" if run.set_aside else ""
        revision = run.tune_revision
        yield Event(run.made_at, EventKind.RUN, text, changes_bike=False, run=run, revision=revision)


RECORD = JobRecord(
    "runs",
    rows=(
        Rows(
            Run,
            people=("made_by",),
            link=link_tunes,
            carried_columns=("job_id", "tune_revision_id", "made_at", "name", "original_name", "pull"),
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
