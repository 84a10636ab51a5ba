"""Add an entry to the contacts of a job."""

from datetime import datetime

from django.utils import timezone

from jobs.models import ContactEntry, Job
from workshop.models import StaffMember


def add_contact(
    job: Job,
    kind: ContactEntry.Kind,
    text: str,
    *,
    direction: ContactEntry.Direction = ContactEntry.Direction.IN,
    by: StaffMember | None = None,
    said_at: datetime | None = None,
) -> ContactEntry:
    """Store a call, a message or a note; ``by`` is None if the customer wrote it on their own page."""
    return ContactEntry.objects.create(
        job=job,
        kind=kind,
        direction="" if kind == ContactEntry.Kind.NOTE else direction,
        text=text,
        by=by,
        said_at=said_at or timezone.now(),
    )
