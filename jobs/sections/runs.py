"""Runs on the job page."""

from jobs.page import JobPage
from jobs.sections.base import Section, State


def section(page: JobPage) -> Section:
    return Section("runs", "Runs", State.EMPTY, "nothing recorded yet", "jobs/sections/runs.html", {})
