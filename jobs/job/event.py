"""One thing that happened to the bike during a job."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from jobs.models import Run, TuneRevision


class EventKind(StrEnum):
    STAGE = "stage"
    PART = "part"
    CLEARANCES = "clearances"
    TUNE = "tune"
    BIKE = "bike"
    SETTINGS = "settings"
    RUN = "run"
    CONTACT = "contact"

    @property
    def icon(self) -> str:
        """The symbol of ``static/img/icons.svg`` that stands beside such events."""
        return ICONS[self]


ICONS = {
    EventKind.STAGE: "arrow",
    EventKind.PART: "part",
    EventKind.CLEARANCES: "feeler",
    EventKind.TUNE: "sliders",
    EventKind.BIKE: "wrench",
    EventKind.SETTINGS: "spring",
    EventKind.RUN: "curve",
    EventKind.CONTACT: "phone",
}


@dataclass(frozen=True)
class Event:
    """One thing that happened, and whether it changed the bike.

    ``run`` is set if the event is a run; ``revision`` is the tune that was loaded then, if known. ``item``
    names a part or change that is on the bike from then on, empty if the bike is only back as it was;
    ``takes_off`` names those that are not on it any more.
    """

    at: datetime
    kind: EventKind
    text: str
    changes_bike: bool
    run: Run | None = None
    revision: TuneRevision | None = None
    item: str = ""
    takes_off: frozenset[str] = frozenset()
