"""Rules of slots on the dyno and at the benches, in shop time.

Durations are computed in UTC: sums of local times follow the clock on the wall, and are an hour out
across a change of the clocks.
"""

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.text import capfirst

from jobs.models import ShutDays, Slot, WorkPlace
from jobs.planner.opening_hours import Hours, OpeningHours
from workshop.clock import check_plausible_day, to_utc, utc_instants
from workshop.models import StaleRecord
from workshop.records.times import planned_day_warning

MAX_LENGTH = timedelta(hours=16)
MOVED_BY_ANOTHER = "Someone else has moved this slot. Check it and try again."


def format_shop_time(when: datetime) -> str:
    """Format a shop time; in the repeated hour it says which instant."""
    local = timezone.localtime(when)
    text = f"{local:%H:%M}"
    zone = local.tzinfo
    if isinstance(zone, ZoneInfo) and len(utc_instants(zone, local.date(), local.time())) > 1:
        return f"{text} ({'second' if local.fold else 'first'} time, {local:%Z})"
    return text


def save_slot(slot: Slot) -> None:
    """Save the slot; raises ValueError with a sentence if the workstation is taken then."""
    try:
        with transaction.atomic():
            slot.save()
    except IntegrityError as problem:
        taken = overlap_message(slot)
        raise ValueError(
            taken or "Someone else has just booked this workstation. Choose another time."
        ) from problem
    except StaleRecord as problem:
        raise ValueError(MOVED_BY_ANOTHER) from problem


def overlap_message(slot: Slot) -> str:
    """Return which slots overlap this one, as a sentence, or ""."""
    at_once = Slot.objects.filter(place=slot.place, starts_at__lt=slot.ends_at, ends_at__gt=slot.starts_at)
    other = at_once.exclude(pk=slot.pk).select_related("job", "place").first()
    if other is None:
        return ""
    until = f"{format_shop_time(other.starts_at)} to {format_shop_time(other.ends_at)}"
    return f"{capfirst(str(other.place))} is booked for job {other.job} from {until} that day."


def date_warning(slot: Slot) -> str:
    """Return a warning about a slot in the past or unusually far ahead, or ""."""
    day, last = timezone.localdate(slot.starts_at), last_day(slot)
    return planned_day_warning(last if last >= timezone.localdate() > day else day)


def outside_hours_warning(slot: Slot, opening_hours: OpeningHours) -> str:
    """Return a warning about a slot outside the shop's hours, or ""."""
    return opening_hours.outside_hours_message(
        timezone.localtime(slot.starts_at), timezone.localtime(slot.ends_at)
    )


def heat_warning(slot: Slot, others: Iterable[Slot] | None = None) -> str:
    """Return a warning if a bench is booked after the dyno for the same bike on the same day, or "".

    ``others`` are the slots to compare with, if they are at hand. Common practice, no single source:
    clearances are measured on a cold engine, as service manuals ask.
    """
    if others is None:
        others = Slot.objects.filter(job__bike=slot.job.bike_id).select_related("place", "job")
    bike, day = slot.job.bike_id, timezone.localdate(slot.starts_at)
    same = [other for other in others if other.job.bike_id == bike and other.pk != slot.pk]
    if slot.place.kind == WorkPlace.Kind.BENCH:
        before = [other for other in same if is_run(other) and other.starts_at < slot.starts_at]
        dyno = max((other for other in before if last_day(other) >= day), key=start, default=None)
        bench: Slot | None = slot
    else:
        after = [other for other in same if not is_run(other) and other.starts_at > slot.starts_at]
        evening = last_day(slot)
        on_day = (other for other in after if timezone.localdate(other.starts_at) <= evening)
        bench, dyno = min(on_day, key=start, default=None), slot
    if dyno is None or bench is None:
        return ""
    return (
        f"The bike has the {dyno.place} until {format_shop_time(dyno.ends_at)} and the {bench.place} from "
        f"{format_shop_time(bench.starts_at)}, the same day. If you measure its valves: clearances are "
        "measured on a cold engine, so let it cool first, or choose another day."
    )


def is_run(slot: Slot) -> bool:
    return slot.place.kind == WorkPlace.Kind.DYNO


def start(slot: Slot) -> datetime:
    return slot.starts_at


def person_warning(slot: Slot) -> str:
    """Return a warning if the person of the slot has another one at the same time, or ""."""
    if slot.person_id is None:
        return ""
    at_once = Slot.objects.filter(
        person=slot.person_id, starts_at__lt=slot.ends_at, ends_at__gt=slot.starts_at
    )
    other = at_once.exclude(pk=slot.pk).select_related("job", "place", "person").first()
    if other is None:
        return ""
    until = f"{format_shop_time(other.starts_at)} to {format_shop_time(other.ends_at)}"
    return f"{other.person} also has {other.place}, job {other.job}, from {until}."


def due_warning(slot: Slot) -> str:
    """Return a warning if the slot ends after its job is due, or ""."""
    due = slot.job.promised_at
    if due is None or slot.ends_at <= due:
        return ""
    return f"Job {slot.job} is due before this slot ends: {timezone.localtime(due):%a %-d %b, %H:%M}."


def upcoming_slots() -> list[Slot]:
    """Return the slots that are not over yet, in one query."""
    return list(Slot.objects.filter(ends_at__gt=timezone.now()).select_related("job", "place"))


def slots_on(days: ShutDays, slots: Iterable[Slot]) -> list[Slot]:
    """Return the slots that fall, in part or whole, on these closed days."""
    return [
        slot
        for slot in slots
        if timezone.localdate(slot.starts_at) <= days.last and last_day(slot) >= days.first
    ]


def slots_outside(hours: tuple[Hours, ...], slots: Iterable[Slot]) -> list[Slot]:
    """Return the slots outside the hours of their weekday."""
    week = OpeningHours(hours, ())
    return [slot for slot in slots if outside_hours_warning(slot, week)]


def move_slot(
    slot: Slot, *, day: date, place: WorkPlace, clock: time | None = None, lasts: timedelta | None = None
) -> Slot:
    """Return the slot on another day or workstation; at the same shop time and as long, unless given.

    Raises ValueError with a sentence if the clocks skip that time.
    """
    local = timezone.localtime(slot.starts_at)
    zone = timezone.get_current_timezone()
    assert isinstance(zone, ZoneInfo)
    lasts = lasts or slot.ends_at - slot.starts_at
    wanted = clock or local.time()
    if (check_plausible_day(day), wanted) != (local.date(), local.time()):
        slot.starts_at = to_utc(zone, day, wanted, second=False)
    slot.ends_at, slot.place = slot.starts_at + lasts, place
    return slot


def workstations_for(slot: Slot) -> QuerySet[WorkPlace]:
    """Return the workstations in use, and the one that the slot has already."""
    return WorkPlace.objects.filter(Q(retired=False) | Q(pk=slot.place_id))


def parse_day(text: str) -> date | None:
    """Parse the day in an address or form, or None if it is not plausible."""
    try:
        day = parse_date(text)
        return day and check_plausible_day(day)
    except ValueError:
        return None  # of the right shape, but no day, such as 2026-02-31


def is_on_day(slot: Slot, day: date) -> bool:
    return timezone.localdate(slot.starts_at) <= day <= last_day(slot)


def last_day(slot: Slot) -> date:
    """Return the last day that the slot is on; one that ends at midnight is not on the next."""
    return timezone.localdate(slot.ends_at - timedelta(seconds=1))
