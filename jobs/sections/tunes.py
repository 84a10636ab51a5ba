"""Tune log on the job page."""

from jobs.page import JobPage
from jobs.sections.base import Section, State


def section(page: JobPage) -> Section:
    return Section("tunes", "Tune log", State.EMPTY, "nothing recorded yet", "jobs/sections/tunes.html", {})
