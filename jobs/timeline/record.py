"""What other changes of the bike contribute to a job."""

from collections.abc import Iterator

from jobs.job.event import Event, EventKind
from jobs.job.page import Rows
from jobs.job.registry import BikeHistory, JobRecord
from jobs.job.results import JobResults
from jobs.models import BikeChange
from jobs.timeline.facts import BIKE_CHANGES, changes_by_job, changes_done


def events(results: JobResults) -> Iterator[Event]:
    for change in results.rows(BikeChange):
        text = f"{change.get_kind_display()} changed: {change.description}"
        yield Event(change.at, EventKind.BIKE, text, changes_bike=True)


RECORD = JobRecord(
    "bike_changes",
    rows=(Rows(BikeChange, people=("by",)),),
    events=events,
    printed=BIKE_CHANGES,
    done=changes_done,
    bike_history=BikeHistory(changes_by_job, "jobs/timeline/_history.html"),
)
