"""States of the bike between changes, and the runs made in each."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from jobs.job.event import Event
from jobs.job.results import JobResults
from jobs.models import ComparisonRun, Run
from jobs.timeline.events import timeline

Group = ComparisonRun.Group


@dataclass
class BikeState:
    """Runs made in one state of the bike, and what changed the bike since the runs before them."""

    changes: list[Event] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)


def bike_states(results: JobResults) -> list[BikeState]:
    return split_into_states(results.get(timeline))


def split_into_states(events: Iterable[Event]) -> list[BikeState]:
    """Return the states of the bike in which runs were made, in order."""
    states = [BikeState()]
    for event in events:
        if event.run is not None:
            states[-1].runs.append(event.run)
        elif event.changes_bike:
            if states[-1].runs:
                states.append(BikeState())
            states[-1].changes.append(event)
    return [state for state in states if state.runs]


def run_sides(states: Sequence[BikeState]) -> dict[int, Group]:
    """Return the runs before and after the work, of any kind, by the first and the last state.

    States without a run that counts are skipped; nothing if only one is left.
    """
    counting = [state.runs for state in states if any(run.counts for run in state.runs)]
    if len(counting) < 2:
        return {}
    sides = ((Group.BEFORE, counting[0]), (Group.AFTER, counting[-1]))
    return {run.pk: group for group, runs in sides for run in runs}
