"""Comparisons on the job page."""

from jobs.page import JobPage
from jobs.sections.base import Section, State


def section(page: JobPage) -> Section:
    return Section(
        "comparisons",
        "Comparisons",
        State.EMPTY,
        "nothing recorded yet",
        "jobs/sections/comparisons.html",
        {},
    )
