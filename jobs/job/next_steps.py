"""What has to be done on a job: its next steps, and what blocks its handover sheet."""

import re
from dataclasses import dataclass

from jobs.models import Job
from workshop.models import Role

# A request is free text: these words say that clearances are part of the work.
VALVE_WORK = re.compile(r"\b(?:valves?|clearances?|shims?)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Blocker:
    """An open point, what to do about it, and the page to do it on.

    ``label`` names it in a few words, such as 'After valve work: 6 of 6 checks open'.
    """

    text: str
    url: str
    remedy: str = ""
    label: str = ""

    def __str__(self) -> str:
        return f"{self.text} {self.remedy}".strip()


@dataclass(frozen=True)
class JobStep:
    """The next thing to do: a page or number to do it with, or a ``stage`` to move the job to.

    Those who may do it have one of the ``roles``; it is first of all for the first of them.
    """

    label: str
    roles: tuple[Role, ...]
    url: str = ""
    stage: str = ""
    icon: str = "arrow"

    def who(self, job: Job) -> str:
        """Return the person named on the job for it, or the role."""
        role = self.roles[0]
        person = {Role.MECHANIC: job.mechanic, Role.TUNER: job.tuner}.get(role)
        names = {Role.MECHANIC: "the mechanic", Role.TUNER: "the tuner", Role.DESK: "the service desk"}
        return str(person) if person else names[role]


def names_valve_work(text: str) -> bool:
    return VALVE_WORK.search(text) is not None
