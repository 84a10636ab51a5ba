"""The shop's schedule as a calendar feed for other programs (RFC 5545)."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.utils import timezone

from jobs.models import CalendarAddress, Job, ShutDays, Slot
from workshop.models import StaffMember

PRODUCT = "-//Lash & Lambda//shop calendar//EN"
DAYS_BACK = timedelta(days=30)
DAYS_AHEAD = timedelta(days=180)


@dataclass(frozen=True)
class CalendarEntry:
    """A calendar entry with start and end: instants, or whole days including the last."""

    uid: str
    summary: str
    starts: date | datetime
    ends: date | datetime
    description: str = ""
    changed_at: datetime | None = None
    sequence: int = 0


def format_calendar(name: str, entries: list[CalendarEntry]) -> bytes:
    """Write the calendar as RFC 5545, with the time zone if an entry uses it."""
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", name)
    for entry in entries:
        calendar.add_component(build_event(entry))
    calendar.add_missing_timezones()
    text: bytes = calendar.to_ical()
    return text


def build_event(entry: CalendarEntry):  # type: ignore[no-untyped-def]  # icalendar is imported where it is used
    from icalendar import Event

    made = Event()
    made.add("uid", entry.uid)
    made.add("dtstamp", entry.changed_at or timezone.now())
    made.add("sequence", entry.sequence)
    made.add("summary", entry.summary)
    made.add("dtstart", entry.starts)
    # The end of whole days is the day after the last (RFC 5545, 3.6.1).
    made.add("dtend", entry.ends if isinstance(entry.ends, datetime) else entry.ends + timedelta(days=1))
    if entry.description:
        made.add("description", entry.description)
    return made


def list_entries(host: str, site: str) -> list[CalendarEntry]:
    """List slots, ready-by days of open jobs and closed days, from last month on.

    Customers are not named: a calendar is often read where others look on.
    """
    now = timezone.now()
    slots = Slot.objects.filter(ends_at__gt=now - DAYS_BACK, starts_at__lt=now + DAYS_AHEAD).select_related(
        "job__bike", "place", "person"
    )
    promised = Job.objects.open().filter(promised_at__gt=now - DAYS_BACK).select_related("bike")
    closed_days = ShutDays.objects.filter(
        last__gt=(now - DAYS_BACK).date(), first__lt=(now + DAYS_AHEAD).date()
    )
    return [
        *(slot_entry(slot, host, site) for slot in slots),
        *(ready_by_entry(job, host, site) for job in promised.order_by("promised_at")),
        *(closed_entry(days, host) for days in closed_days),
    ]


def to_feed_times(*instants: datetime) -> list[datetime]:
    """Return instants in shop time; in UTC if one falls into the repeated hour.

    A local time that occurs twice means the first of the two (RFC 5545, 3.3.5).
    """
    local = [timezone.localtime(instant) for instant in instants]
    return [time.astimezone(UTC) for time in local] if any(time.fold for time in local) else local


def slot_entry(slot: Slot, host: str, site: str) -> CalendarEntry:
    starts, ends = to_feed_times(slot.starts_at, slot.ends_at)
    who = f"{slot.person}\n" if slot.person else ""
    return CalendarEntry(
        uid=f"slot-{slot.pk}@{host}",
        summary=f"{slot.place}: {slot.job.bike} ({slot.job})",
        starts=starts,
        ends=ends,
        description=f"{who}{slot.job.brief}\n{site}{slot.job.get_absolute_url()}",
        changed_at=slot.updated_at,
        sequence=slot.version,
    )


def ready_by_entry(job: Job, host: str, site: str) -> CalendarEntry:
    assert job.promised_at is not None
    day = timezone.localtime(job.promised_at)
    return CalendarEntry(
        uid=f"promise-{job.pk}@{host}",
        summary=f"Ready by {day:%H:%M}: {job.bike} ({job})",
        starts=day.date(),
        ends=day.date(),
        description=f"{job.brief}\n{site}{job.get_absolute_url()}",
        changed_at=job.updated_at,
        sequence=job.version,
    )


def closed_entry(days: ShutDays, host: str) -> CalendarEntry:
    return CalendarEntry(
        uid=f"shut-{days.pk}@{host}",
        summary=f"Closed: {days.reason}",
        starts=days.first,
        ends=days.last,
        changed_at=days.updated_at,
        sequence=days.version,
    )


def hash_token(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def create_token(person: StaffMember) -> str:
    """Create a new secret for this person's calendar, and revoke the old one."""
    token = secrets.token_urlsafe(32)
    CalendarAddress.objects.update_or_create(
        person=person,
        defaults={"token_sha256": hash_token(token), "made_at": timezone.now(), "read_at": None},
    )
    return token


def find_calendar(token: str) -> CalendarAddress | None:
    """Return the calendar that a secret opens, or None if it was revoked or its person has left."""
    found = CalendarAddress.objects.select_related("person").filter(token_sha256=hash_token(token)).first()
    if found is None or not found.person.is_active or not found.person.holds(*found.person.roles):
        return None
    return found
