"""Throttle tables on the job page."""

from jobs.page import JobPage
from jobs.sections.base import Section, State


def section(page: JobPage) -> Section:
    return Section(
        "throttle", "Throttle tables", State.EMPTY, "nothing recorded yet", "jobs/sections/throttle.html", {}
    )
