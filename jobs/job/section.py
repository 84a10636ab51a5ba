"""A section of the job page: the same sections, in the same order, that the handover sheet prints."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class State(StrEnum):
    EMPTY = "empty"
    IN_HAND = "in hand"
    ATTENTION = "attention"
    DONE = "done"


@dataclass(frozen=True)
class Section:
    """What the page shows of one record of the job, and its state."""

    key: str
    title: str
    state: State
    reason: str
    template: str
    context: dict[str, Any] = field(default_factory=dict)
