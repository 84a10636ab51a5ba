"""Suspension and settings on the job page."""

from jobs.page import JobPage
from jobs.sections.base import Section, State


def section(page: JobPage) -> Section:
    return Section(
        "suspension",
        "Suspension and settings",
        State.EMPTY,
        "nothing recorded yet",
        "jobs/sections/suspension.html",
        {},
    )
