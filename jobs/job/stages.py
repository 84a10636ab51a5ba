"""The stages of a job: each step is stored with its person, time and reason.

The last one is reached by a handover only (``jobs.handing_over``).
"""

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from jobs.models import CLOSED_STAGES, Job, Stage, StageEntry
from workshop.models import Customer, StaffMember

# A job may wait for parts while its bike is still at home.
HERE = (Stage.RECEIVED, Stage.BENCH, Stage.ROLLER, Stage.READY)
BY_HANDOVER_ONLY = (
    "Hand over the bike on the handover page: open “Handover” on this job. The page shows what is still open."
)


def missing_fields(*, job: Job, stage: str, why: str, waiting_for: str) -> dict[str, str]:
    """Return what a step still lacks, by field."""
    missing = {}
    if (stage, waiting_for) == (job.stage, job.waiting_for) and not why.strip():
        return {
            "stage": (
                f"The job is already “{job.get_stage_display()}”. Choose another stage or enter a reason."
            )
        }
    if stage == Stage.HANDED_OVER and job.stage != Stage.HANDED_OVER:
        return {"stage": BY_HANDOVER_ONLY}
    if stage == Stage.WAITING and not waiting_for:
        missing["waiting_for"] = "Choose what the job is waiting for."
    if job.stage in CLOSED_STAGES and stage not in CLOSED_STAGES and not why.strip():
        missing["why"] = f"This job is {job.get_stage_display()}. Enter why you are reopening it."
    elif stage == Stage.CANCELLED and not why.strip():
        missing["why"] = "Enter why the job is cancelled."
    return missing


@transaction.atomic
def move_to_stage(
    *, job: Job, by: StaffMember, stage: str, why: str = "", waiting_for: str = "", at: datetime | None = None
) -> StageEntry:
    """Move the job to a stage; raises ValueError if the reason is missing or the stage needs a handover."""
    waiting_for = waiting_for if stage == Stage.WAITING else ""
    missing = missing_fields(job=job, stage=stage, why=why, waiting_for=waiting_for)
    if missing:
        raise ValueError(" ".join(missing.values()))
    return set_stage(job=job, by=by, stage=stage, why=why, waiting_for=waiting_for, at=at or timezone.now())


@transaction.atomic
def set_stage(
    *, job: Job, by: StaffMember, stage: str, why: str, at: datetime, waiting_for: str = ""
) -> StageEntry:
    """Set the job's stage and what follows from it, and store the step."""
    job.stage, job.waiting_for = stage, waiting_for
    if stage in HERE:
        if job.received_at is None:
            date_received_tune(job, at)
        job.received_at = job.received_at or at
    elif stage == Stage.BOOKED:
        job.received_at = None
    job.handed_over_at = (job.handed_over_at or at) if stage == Stage.HANDED_OVER else None
    job.save()
    return StageEntry.objects.create(job=job, stage=stage, waiting_for=waiting_for, why=why, by=by, at=at)


def date_received_tune(job: Job, at: datetime) -> None:
    """Date the tune that the bike came with at the check-in, not at the booking before it."""
    for received in job.tune_revisions.filter(number=0, loaded_at__lt=at):
        received.loaded_at = at
        received.save()


def open_jobs_blocker(customer: Customer) -> str:
    """Return why the customer cannot be erased while a job is open, or ""."""
    still_open = [str(job) for job in Job.objects.filter(customer=customer).open()]
    return (
        f"Close these jobs first. They still need the customer's name: {', '.join(still_open)}."
        if still_open
        else ""
    )
