"""Checking a bike in: its condition, odometer, fuel, keys and photos."""

from collections.abc import Callable
from typing import Any

from django.db import transaction
from django.utils import timezone

from jobs.intake.photos import PreparedPhoto, add_photos
from jobs.job.stages import date_received_tune, move_to_stage
from jobs.models import Job, Stage
from workshop.models import StaffMember

SIDES = ("right", "left")  # the first is that of marks from before both sides could be marked
# Larger increases since the last job are questioned.
MAX_SINCE_LAST_JOB = {"odometer_km": 100_000, "engine_hours": 2_000}
MAX_MARKS, MAX_NOTE_LENGTH = 40, 200
MAX_POINTS = 5_000


def meter_warning(*, job: Job, meter: str, value: float, display: Callable[[float], str]) -> str:
    """Return a question about a reading that does not follow from the bike's last one, or "".

    ``meter`` is the job's field: the odometer's or the engine hours'.
    """
    last = (
        Job.objects.filter(bike=job.bike_id, **{f"{meter}__isnull": False})
        .exclude(pk=job.pk)
        .order_by("-year", "-sequence")
        .first()
    )
    if last is None:
        return ""
    before = getattr(last, meter)
    if value < before:
        return f"{display(value)} is less than the {display(before)} recorded on job {last}. Is that correct?"
    if value > before + MAX_SINCE_LAST_JOB[meter]:
        return (
            f"{display(value)} is much more than the {display(before)} recorded on job {last}. Is "
            "that correct?"
        )
    return ""


def missing_check_in_fields(job: Job) -> list[str]:
    """List what the check-in lacks."""
    lacks = {
        "condition": not job.condition,
        "odometer or engine hours": job.odometer_km is None and job.engine_hours is None,
        "fuel level": not job.fuel,
        "keys": job.keys is None,
    }
    return [name for name, is_missing in lacks.items() if is_missing]


@transaction.atomic
def check_in_bike(*, job: Job, by: StaffMember, photos: list[PreparedPhoto]) -> None:
    """Check the bike in; a job that is in the shop already keeps its stage."""
    add_photos(job=job, by=by, photos=photos)
    if job.stage == Stage.BOOKED:
        move_to_stage(job=job, by=by, stage=Stage.RECEIVED)
    elif job.received_at is None:
        job.received_at = timezone.now()
        date_received_tune(job, job.received_at)
        job.save()


def parse_marks(marks: Any) -> list[dict[str, Any]]:
    """Parse marks on the outline: x and y in % of the drawing, its side of the bike, and a note.

    A mark stored without a side stays so: it was marked on the only drawing there was.

    Raises ValueError with a sentence if they are malformed.
    """
    if not isinstance(marks, list) or len(marks) > MAX_MARKS:
        raise ValueError(f"You can add up to {MAX_MARKS} damage marks.")
    read = []
    for mark in marks:
        x, y, note = (mark.get(key) for key in ("x", "y", "note")) if isinstance(mark, dict) else (None,) * 3
        if not all(isinstance(value, int | float) and 0 <= value <= 100 for value in (x, y)):
            raise ValueError("A mark is outside the drawing. Move or remove it.")
        if not isinstance(note, str) or not note.strip():
            raise ValueError("Describe each mark or remove it.")
        side = {"side": mark["side"]} if "side" in mark else {}
        if side and side["side"] not in SIDES:
            raise ValueError("A mark is on the right or on the left side of the bike.")
        at = {"x": round(float(str(x)), 1), "y": round(float(str(y)), 1)}
        read.append({**at, **side, "note": clean_note(note)})
    return read


def clean_note(note: str) -> str:
    """Strip a note of characters that no page or database can hold, such as half an emoji."""
    whole = note.replace("\0", "").encode(errors="replace").decode()
    return whole.strip()[:MAX_NOTE_LENGTH]


def parse_signature(strokes: Any) -> list[list[list[int]]]:
    """Parse a signature: lines of points, each 0 to 1000 across and 0 to 300 down.

    Raises ValueError with a sentence if it is malformed.
    """
    points = [point for stroke in strokes for point in stroke] if is_nested(strokes) else None
    if points is None or len(points) > MAX_POINTS:
        raise ValueError("The signature could not be read. Clear the box and sign again.")
    for point in points:
        is_pair = isinstance(point, list) and len(point) == 2
        if not is_pair or not all(isinstance(value, int) and 0 <= value <= 1000 for value in point):
            raise ValueError("The signature could not be read. Clear the box and sign again.")
    return [stroke for stroke in strokes if len(stroke) > 1]


def is_nested(strokes: Any) -> bool:
    return isinstance(strokes, list) and all(isinstance(stroke, list) for stroke in strokes)
