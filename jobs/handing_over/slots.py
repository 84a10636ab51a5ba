"""Slots that a job still has though its bike has left, or never comes."""

from collections.abc import Collection

from django.utils import timezone

from jobs.job.results import JobResults
from jobs.models import Job, Slot


def left_over_slots(results: JobResults) -> list[Slot]:
    """Return the slots of a closed job that are not over yet, the first one first."""
    if results.job.is_open:
        return []
    now = timezone.now()
    coming = (slot for slot in results.rows(Slot) if slot.ends_at > now)
    return sorted(coming, key=lambda slot: (slot.starts_at, slot.pk))


def cancel_slots(job: Job, chosen: Collection[int] = ()) -> list[Slot]:
    """Cancel the chosen slots of a closed job, or all of them, and return those that there were.

    Raises ValueError with a sentence if the job is open: its slots are still needed.
    """
    if job.is_open:
        raise ValueError(f"Job {job} is open, so its slots may still be needed. Cancel them one by one.")
    slots = Slot.objects.filter(job=job, ends_at__gt=timezone.now()).select_related("place", "job")
    cancelled = list(slots.filter(pk__in=chosen) if chosen else slots)
    for slot in cancelled:
        slot.delete()
    return cancelled
