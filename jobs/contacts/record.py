"""What contact entries contribute to a job."""

from collections.abc import Iterator

from jobs.job.event import Event, EventKind
from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.job.results import JobResults
from jobs.models import ContactEntry


def events(results: JobResults) -> Iterator[Event]:
    for entry in results.rows(ContactEntry):
        yield Event(entry.said_at, EventKind.CONTACT, f"{entry}: {entry.text}", changes_bike=False)


RECORD = JobRecord(
    "contacts",
    rows=(
        Rows(
            ContactEntry,
            people=("by",),
            off_sheet="What shop and customer say to each other is the shop's own.",
        ),
    ),
    events=events,
)
