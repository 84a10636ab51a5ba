"""Receiving a bike: its condition, odometer, fuel, keys and photos."""

from django.db import transaction

from jobs.models import Job, Stage
from jobs.photos import Prepared, add_photos
from jobs.stages import move_to_stage
from workshop.models import StaffMember
from workshop.units import format_value

UNUSUAL_DISTANCE_KM = 100_000


def odometer_question(*, job: Job, odometer_km: float, distance_unit: str) -> str:
    """What to ask about a reading that does not follow from the bike's last one; '' where it does."""
    last = (
        Job.objects.filter(bike=job.bike_id, odometer_km__isnull=False)
        .exclude(pk=job.pk)
        .order_by("-year", "-sequence")
        .first()
    )
    if last is None or last.odometer_km is None:
        return ""
    before = format_value(last.odometer_km, "distance", distance_unit)
    now = format_value(odometer_km, "distance", distance_unit)
    if odometer_km < last.odometer_km:
        return f"{now} is less than the {before} of job {last}. Is it right?"
    if odometer_km > last.odometer_km + UNUSUAL_DISTANCE_KM:
        return f"{now} is far more than the {before} of job {last}. Is it right?"
    return ""


@transaction.atomic
def receive_bike(*, job: Job, by: StaffMember, photos: list[Prepared]) -> None:
    """Take the bike in; a job that is in the shop already keeps its stage."""
    add_photos(job=job, by=by, photos=photos)
    if job.stage == Stage.BOOKED:
        move_to_stage(job=job, by=by, stage=Stage.RECEIVED)
