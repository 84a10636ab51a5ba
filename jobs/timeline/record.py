"""What other changes of the bike contribute to a job."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from jobs.job.event import Event, EventKind
from jobs.job.page import Rows
from jobs.job.registry import BikeHistory, JobRecord
from jobs.job.results import JobResults
from jobs.models import BikeChange, Part, PartKind
from jobs.parts.on_bike import change_causes, describe_removed, kept_key, taken_off_keys
from jobs.timeline.facts import BIKE_CHANGES, changes_by_job, changes_done


def events(results: JobResults) -> Iterator[Event]:
    for change in results.rows(BikeChange):
        gone = describe_removed(change)
        text = f"{_(str(change.kind))}: {change.description}"
        text += f" ({_('removes %(other)s') % {'other': gone}})" if gone else ""
        yield Event(
            change.at,
            EventKind.BIKE,
            text,
            changes_bike=True,
            item=kept_key(change),
            takes_off=taken_off_keys(change),
        )


RECORD = JobRecord(
    "bike_changes",
    rows=(Rows(BikeChange, join=("kind", "removes_part", "removes_change"), people=("by",)),),
    reads=(Part, BikeChange, PartKind),
    carries=(Part, BikeChange),
    events=events,
    road_causes=change_causes,
    looked_at="other changes",
    printed=BIKE_CHANGES,
    done=changes_done,
    bike_history=BikeHistory(changes_by_job, "jobs/timeline/_history.html"),
)
