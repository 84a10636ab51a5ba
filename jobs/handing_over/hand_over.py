"""Hand a bike over: the only way to the last stage of a job."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from jobs.job.stages import set_stage
from jobs.models import CLOSED_STAGES, Handover, Job, Stage
from workshop.models import StaffMember
from workshop.people.names import is_person_name


@transaction.atomic
def hand_over(
    *,
    job: Job,
    by: StaffMember,
    handed_to: str,
    informed: Handover.Informed,
    informed_person: str = "",
    open_points: Sequence[str] = (),
    override_reason: str = "",
    at: datetime | None = None,
) -> Handover:
    """Store the handover and move the job to its last stage.

    Parameters
    ----------
    open_points : sequence of str
        What is still open by the rules of page and sheet; only the owner may override it, with a reason.

    Raises
    ------
    ValueError
        The job is closed, a name is missing, or there are open points without a reason of the owner.
    """
    if job.stage in CLOSED_STAGES:
        raise ValueError(f"Job {job} is already {job.get_stage_display()}.")
    if not is_person_name(handed_to):
        raise ValueError("Enter the name of the person who receives the bike.")
    if informed == Handover.Informed.TOLD and not is_person_name(informed_person):
        raise ValueError("Enter the name of the person who was told.")
    if open_points and not (by.is_owner and override_reason.strip()):
        raise ValueError("There are open points. Only the owner can override them, with a reason.")
    at = at or timezone.now()
    set_stage(job=job, by=by, stage=Stage.HANDED_OVER, why=f"to {handed_to}", at=at)
    return Handover.objects.create(
        job=job,
        at=at,
        by=by,
        handed_to=handed_to,
        informed=informed,
        informed_person=informed_person if informed == Handover.Informed.TOLD else "",
        open_points=list(open_points),
        override_reason=override_reason.strip() if open_points else "",
    )
