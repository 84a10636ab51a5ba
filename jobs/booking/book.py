"""Booking a bike: the job with its customer, bike, wishes, agreed work and as-received tune."""

from collections.abc import Iterable

from django.db import transaction

from jobs.models import Job, Slot, StageEntry, TuneRevision, Wish, WorkItem
from jobs.planner.slots import save_slot
from workshop.models import Bike, StaffMember


@transaction.atomic
def book_job(
    *,
    job: Job,
    bike: Bike,
    by: StaffMember,
    work: Iterable[WorkItem] = (),
    wishes: Iterable[Wish] = (),
    experience: str = "",
    slot: Slot | None = None,
) -> Job:
    """Save the job and all that comes with it; the bike and its owner may be new.

    Raises ValueError with a sentence, and saves nothing, if the workstation is taken then.
    """
    owner = bike.owner
    if experience:
        owner.experience = experience
    if experience or owner._state.adding:
        owner.save()
    if bike._state.adding:
        bike.owner = owner
        bike.save()
    job.bike, job.customer = bike, owner
    job.save()
    StageEntry.objects.create(job=job, stage=job.stage, by=by)
    TuneRevision.objects.create(job=job, number=0, loaded_by=by)
    for item in work:
        item.job = job
        item.save()
    for position, wish in enumerate(wishes, start=1):
        wish.job, wish.position = job, position
        wish.save()
    if slot is not None:
        slot.job = job
        save_slot(slot)
    return job
