"""The handover on the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from reports.handover.issuing import blockers
from reports.models import HandoverSheet


def section(results: JobResults) -> Section:
    sheets = sorted(results.rows(HandoverSheet), key=lambda sheet: -sheet.issue_number)
    standing = blockers(results)
    state, why = where_it_stands(sheets, len(standing))
    context = {"handover_standing": standing, "handover_sheets": sheets}
    return Section("handover", "Handover", state, why, "reports/handover/_section.html", context)


def where_it_stands(sheets: list[HandoverSheet], standing: int) -> tuple[State, str]:
    if sheets:
        return State.DONE, f"sheet {sheets[0].issue_number} issued"
    if standing:
        return State.EMPTY, f"{standing} things to put right before the sheet is issued"
    return State.IN_HAND, "ready to be issued"
