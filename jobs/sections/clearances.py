"""Valve clearances on the job page."""

from jobs.page import JobPage
from jobs.sections.base import Section, State


def section(page: JobPage) -> Section:
    return Section(
        "clearances",
        "Valve clearances",
        State.EMPTY,
        "nothing recorded yet",
        "jobs/sections/clearances.html",
        {},
    )
