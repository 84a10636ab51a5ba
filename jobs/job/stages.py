"""The stages of a job: each step is stored with its person, time and reason.

The last one is reached by a handover only (``jobs.handing_over``).
"""

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from jobs.models import CLOSED_STAGES, Job, Stage, StageEntry
from workshop.models import Customer, StaffMember

IN_SHOP = (Stage.RECEIVED, Stage.BENCH, Stage.ROLLER, Stage.WAITING, Stage.READY)
# A job may wait for parts while its bike is still at home.
HERE = (Stage.RECEIVED, Stage.BENCH, Stage.ROLLER, Stage.READY)
BY_HANDOVER_ONLY = (
    "A bike is handed over on the handover page: open “Handover” on this job. "
    "It needs an issued sheet, its checks, and the customer told where that is due."
)


def missing_fields(*, job: Job, stage: str, why: str, waiting_for: str) -> dict[str, str]:
    """Return what a step still lacks, by field."""
    missing = {}
    if (stage, waiting_for) == (job.stage, job.waiting_for) and not why.strip():
        return {"stage": f"The job is “{job.get_stage_display()}” already. Choose another stage, or say why."}
    if stage == Stage.HANDED_OVER and job.stage != Stage.HANDED_OVER:
        return {"stage": BY_HANDOVER_ONLY}
    if stage == Stage.WAITING and not waiting_for:
        missing["waiting_for"] = "Say what the job waits for."
    if job.stage in CLOSED_STAGES and stage not in CLOSED_STAGES and not why.strip():
        missing["why"] = f"This job is {job.get_stage_display()}. Say why it is opened again."
    elif stage == Stage.CANCELLED and not why.strip():
        missing["why"] = "Say why the job is cancelled."
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
        job.received_at = job.received_at or at
    elif stage == Stage.BOOKED:
        job.received_at = None
    job.handed_over_at = (job.handed_over_at or at) if stage == Stage.HANDED_OVER else None
    job.save()
    return StageEntry.objects.create(job=job, stage=stage, waiting_for=waiting_for, why=why, by=by, at=at)


def open_jobs_blocker(customer: Customer) -> str:
    """Return why the customer cannot be erased while a job is open, or ""."""
    still_open = [str(job) for job in Job.objects.filter(customer=customer).open()]
    return f"Open jobs still need the name: {', '.join(still_open)}." if still_open else ""
