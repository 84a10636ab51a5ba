"""A section of the job page: the same sections, in the same order, that the handover sheet prints."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any


class State(StrEnum):
    EMPTY = "empty"
    IN_HAND = "in hand"
    ATTENTION = "attention"
    DONE = "done"

    @property
    def label(self) -> str:
        return {"empty": "not started", "in hand": "in progress"}.get(self, str(self))


@dataclass(frozen=True)
class Section:
    """One record of the job: a line of the overview, and a body that opens below it.

    Attributes
    ----------
    summary : str
        The answer in one line, such as '12 of 12 on target; 2 were tight'.
    template : str
        Renders the body.
    context : callable
        Return what the template needs; called only when the section is opened.
    who, at : str and datetime
        Who recorded the latest row, and when.
    picture : str
        A small picture beside the summary, as HTML from ``jobs.job.small_pictures``.
    """

    key: str
    title: str
    state: State
    summary: str
    template: str
    context: Callable[[], dict[str, Any]]
    who: str = ""
    at: datetime | None = None
    picture: str = ""
