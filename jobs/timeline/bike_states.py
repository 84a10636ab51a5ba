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
    """Runs made in one state of the bike, and what changed the bike since the runs before them.

    ``tune`` and ``items`` say what is in and on the bike beyond how it came.
    """

    changes: list[Event] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)
    tune: str = ""
    items: frozenset[str] = frozenset()

    def is_like(self, other: "BikeState") -> bool:
        """Return True if the records say that the bike was the same."""
        return (self.tune, self.items) == (other.tune, other.items)


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
                states.append(BikeState(tune=states[-1].tune, items=states[-1].items))
            states[-1].changes.append(event)
            apply_change(states[-1], event)
    return [state for state in states if state.runs]


def apply_change(state: BikeState, event: Event) -> None:
    """Note what is in and on the bike after a change."""
    if event.revision is not None:
        state.tune = event.revision.calibration_sha256 or str(event.revision.number or "")
    elif event.takes_off or event.item:
        missing = {f"without {key}" for key in event.takes_off - state.items}
        state.items = state.items - event.takes_off | missing | ({event.item} - {""})
    else:
        state.items |= {f"{event.at.isoformat()} {event.text}"}


def run_sides(states: Sequence[BikeState]) -> dict[int, Group]:
    """Return the runs before and after the work, of any kind, by the first and the last state.

    States without a run that counts are skipped; nothing if only one is left.
    """
    counting = [state.runs for state in states if any(run.counts for run in state.runs)]
    if len(counting) < 2:
        return {}
    sides = ((Group.BEFORE, counting[0]), (Group.AFTER, counting[-1]))
    return {run.pk: group for group, runs in sides for run in runs}


def present_state(results: JobResults) -> BikeState:
    """Return the state of the bike after every recorded change, with the runs made in a state like it."""
    present = BikeState()
    for event in results.get(timeline):
        if event.run is None and event.changes_bike:
            apply_change(present, event)
    present.runs = [run for state in results.get(bike_states) if state.is_like(present) for run in state.runs]
    return present
