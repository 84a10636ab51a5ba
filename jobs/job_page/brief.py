"""Request and check-in on the job page."""

from typing import Any

from jobs.intake.receipt_changes import ReceiptState, receipt_state
from jobs.intake.receive import missing_check_in_fields
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import Job, Photo, Stage

MAX_REQUEST = 110


def section(results: JobResults) -> Section:
    job, receipt = results.job, receipt_state(results)
    state, summary = section_state(job, receipt)

    def context() -> dict[str, Any]:
        return {"photos": results.rows(Photo), "receipt": receipt}

    return Section(
        "brief",
        "Request and check-in",
        state,
        summary,
        "jobs/job_page/_brief.html",
        context,
        at=job.received_at or job.booked_for,
    )


def section_state(job: Job, receipt: ReceiptState) -> tuple[State, str]:
    request = shorten(job.brief)
    if receipt.changes and job.is_open:
        return State.ATTENTION, "check-in changed after it was signed"
    if job.stage == Stage.BOOKED:
        return State.IN_HAND, f"not checked in; {request}"
    missing = missing_check_in_fields(job)
    if missing and job.is_open:
        return State.IN_HAND, f"not recorded: {', '.join(missing)}; {request}"
    return State.DONE, request


def shorten(text: str) -> str:
    words = " ".join(text.split())
    return words if len(words) <= MAX_REQUEST else words[:MAX_REQUEST].rsplit(" ", 1)[0] + " …"
