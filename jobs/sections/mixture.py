"""Mixture on the job page."""

from jobs.page import JobPage
from jobs.sections.base import Section, State


def section(page: JobPage) -> Section:
    return Section(
        "mixture", "Mixture", State.EMPTY, "nothing recorded yet", "jobs/sections/mixture.html", {}
    )
