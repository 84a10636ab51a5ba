"""Parts on the job page."""

from jobs.page import JobPage
from jobs.sections.base import Section, State


def section(page: JobPage) -> Section:
    return Section("parts", "Parts", State.EMPTY, "nothing recorded yet", "jobs/sections/parts.html", {})
