"""Brief and receipt on the job page."""

from jobs.page import JobPage
from jobs.sections.base import Section, State


def section(page: JobPage) -> Section:
    return Section(
        "brief", "Brief and receipt", State.EMPTY, "nothing recorded yet", "jobs/sections/brief.html", {}
    )
