"""Everything that changes a bike during a job, and every run, in order of time.

The state of the bike at a run is what the timeline holds before it. Two groups of runs can be compared
only together with every change between them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from django.utils.translation import gettext as _

from jobs.job import registry
from jobs.job.event import Event, EventKind
from jobs.job.results import JobResults
from jobs.models import TuneRevision


def timeline(results: JobResults) -> list[Event]:
    """List all events of a job in order; at the same time a change comes before a run.

    If a run names another tune than the one last loaded, an event says that it was loaded before the run.
    """
    return add_inferred_loads(sort_events(registry.collect(results, "events")))


def sort_events(found: Iterable[Event]) -> list[Event]:
    return sorted(found, key=lambda event: (event.at, event.run is not None))


def changes(found: Iterable[Event]) -> list[Event]:
    return [event for event in found if event.changes_bike]


def events_between(found: Iterable[Event], start: datetime, end: datetime) -> list[Event]:
    """Return everything that changed the bike after ``start`` and up to ``end``.

    Between the last run before and the first run after, it is what the two differ by.
    """
    return [event for event in changes(found) if start < event.at <= end]


def add_inferred_loads(found: Sequence[Event]) -> list[Event]:
    """Add the load that a run implies if the log holds another tune, or none, at its time."""
    complete: list[Event] = []
    loaded: TuneRevision | None = None
    for event in found:
        if event.run and event.revision and loaded and event.revision != loaded:
            values = {"tune": event.revision.label, "run": event.run}
            text = _("%(tune)s loaded (according to run %(run)s)") % values
            complete.append(Event(event.at, EventKind.TUNE, text, changes_bike=True, revision=event.revision))
        already_in = event.run is None and event.revision is not None and event.revision == loaded
        complete.append(replace(event, changes_bike=False) if already_in else event)
        loaded = event.revision or loaded
    return complete
