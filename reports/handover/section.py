"""The handover on the job page."""

from jobs.job.page import JobPage
from jobs.job_page.sections import Section, State
from jobs.models import Job
from reports.handover.issuing import blockers_on
from reports.models import HandoverSheet


def section(page: JobPage) -> Section:
    sheets = issued(page.job)
    standing = blockers_on(page)
    state, why = where_it_stands(sheets, len(standing))
    context = {"handover_standing": standing, "handover_sheets": sheets}
    return Section("handover", "Handover", state, why, "reports/handover/_section.html", context)


def issued(job: Job) -> list[HandoverSheet]:
    """The job's sheets, the latest first, as they were read with it."""
    sheets: list[HandoverSheet] = getattr(job, "sheets", [])
    for sheet in sheets:
        sheet.job = job  # its number is asked for, and the job is at hand
    return sheets


def where_it_stands(sheets: list[HandoverSheet], standing: int) -> tuple[State, str]:
    if sheets:
        return State.DONE, f"sheet {sheets[0].issue_number} issued"
    if standing:
        return State.EMPTY, f"{standing} things to put right before the sheet is issued"
    return State.IN_HAND, "ready to be issued"
