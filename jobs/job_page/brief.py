"""Brief and receipt on the job page."""

from jobs.job.page import JobPage
from jobs.job.section import Section, State
from jobs.models import Job, Stage
from jobs.work_items.totals import total


def section(page: JobPage) -> Section:
    state, why = where_it_stands(page)
    context = {"photos": page.photos, "work_items": page.work_items, "work": total(page.job, page.work_items)}
    return Section("brief", "Brief and receipt", state, why, "jobs/job_page/_brief.html", context)


def where_it_stands(page: JobPage) -> tuple[State, str]:
    job = page.job
    work = total(job, page.work_items)
    if work.over is not None:
        return State.ATTENTION, "over the authorised amount"
    if job.stage == Stage.BOOKED:
        return State.IN_HAND, "booked, not received yet"
    missing = not_received(job)
    if missing and job.is_open:
        return State.IN_HAND, f"not recorded: {', '.join(missing)}"
    return State.DONE, "received"


def not_received(job: Job) -> list[str]:
    """What the receipt lacks."""
    lacks = {
        "condition": not job.condition,
        "odometer or engine hours": job.odometer_km is None and job.engine_hours is None,
    }
    return [name for name, is_missing in lacks.items() if is_missing]
