"""What the job itself contributes: its request and its way through the shop."""

from collections.abc import Iterator

from django.db.models import Count, Max

from jobs.job.event import Event, EventKind
from jobs.job.page import Rows
from jobs.job.registry import Export, JobRecord
from jobs.job.results import JobResults
from jobs.job_page.brief import section
from jobs.job_page.facts import BRIEF
from jobs.job_page.next_steps import next_steps
from jobs.models import Authorisation, Photo, SignedReceipt, StageEntry, WorkItem
from workshop.models import StaffMember


def events(results: JobResults) -> Iterator[Event]:
    for entry in results.rows(StageEntry):
        waiting = f" for {entry.get_waiting_for_display()}" if entry.waiting_for else ""
        why = f": {entry.why}" if entry.why else ""
        text = f"{entry.get_stage_display()}{waiting}, {entry.by}{why}"
        yield Event(entry.at, EventKind.STAGE, text, changes_bike=False)


RECORD = JobRecord(
    "brief",
    rows=(
        Rows(StaffMember, "", changes=Count("pk")),
        Rows(StageEntry, people=("by",), off_sheet="The way through the shop is the shop's own."),
    ),
    shared=(Rows(StaffMember.history.model, "", changes=Max("pk")),),
    reads=(Photo, WorkItem, Authorisation, SignedReceipt),
    section=section,
    events=events,
    next_steps=next_steps,
    printed=BRIEF,
    export=Export(money=frozenset({"authorised_amount"})),
)
