"""What checklists contribute to a job."""

from collections.abc import Iterator
from typing import Any

from jobs.checklists.facts import CHECKS
from jobs.checklists.questions import run_sessions
from jobs.checklists.section import section
from jobs.checklists.sources import READS
from jobs.job.event import Event, EventKind
from jobs.job.page import JobPage, Rows, link_to
from jobs.job.registry import JobRecord
from jobs.job.results import JobResults
from jobs.models import (
    Check,
    CheckItem,
    ClearanceReading,
    DynoSession,
    Run,
)


def link_rows(page: JobPage, rows: list[Any]) -> None:
    link_to(rows, "item", page.rows(CheckItem))
    link_to(rows, "session", page.rows(DynoSession))


def events(results: JobResults) -> Iterator[Event]:
    for session in results.rows(DynoSession):
        text = f"strapped down on the dyno again, session {session.number}, {session.by}"
        yield Event(session.started_at, EventKind.STAGE, text, changes_bike=False)


RECORD = JobRecord(
    "checks",
    rows=(
        Rows(CheckItem, ""),
        Rows(Check, people=("by",), link=link_rows, off_timeline="A tick changes nothing on the bike."),
        Rows(DynoSession, people=("by",)),
    ),
    reads=READS,
    needs_any=(ClearanceReading,),
    made_from={Run: run_sessions},
    events=events,
    section=section,
    printed=CHECKS,
)
