"""Request and check-in on the job page."""

from jobs.intake.receipt_changes import ReceiptState, receipt_state
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import Job, Photo, Stage, WorkItem
from jobs.work_items.totals import Total, work_total


def section(results: JobResults) -> Section:
    work = results.get(work_total)
    receipt = receipt_state(results)
    state, reason = section_state(results.job, work, receipt)
    context = {
        "photos": results.rows(Photo),
        "work_items": results.rows(WorkItem),
        "work": work,
        "receipt": receipt,
    }
    return Section("brief", "Brief and receipt", state, reason, "jobs/job_page/_brief.html", context)


def section_state(job: Job, work: Total, receipt: ReceiptState) -> tuple[State, str]:
    if work.over is not None:
        return State.ATTENTION, "over the authorised amount"
    if receipt.changes and job.is_open:
        return State.ATTENTION, "changed after it was signed"
    if job.stage == Stage.BOOKED:
        return State.IN_HAND, "booked, not received yet"
    missing = missing_check_in_fields(job)
    if missing and job.is_open:
        return State.IN_HAND, f"not recorded: {', '.join(missing)}"
    return State.DONE, "received"


def missing_check_in_fields(job: Job) -> list[str]:
    """List what the check-in lacks."""
    lacks = {
        "condition": not job.condition,
        "odometer or engine hours": job.odometer_km is None and job.engine_hours is None,
    }
    return [name for name, is_missing in lacks.items() if is_missing]
