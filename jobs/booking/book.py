"""Booking a bike: the job with its customer, bike, agreed work and as-received tune."""

from collections.abc import Iterable

from django.db import transaction

from jobs.models import Job, StageEntry, TuneRevision, WorkItem
from workshop.models import Bike, StaffMember


@transaction.atomic
def book_job(
    *, job: Job, bike: Bike, by: StaffMember, work: Iterable[WorkItem] = (), experience: str = ""
) -> Job:
    """Save the job and all that comes with it; the bike and its owner may be new."""
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
    return job
