"""Which job has the dyno and the benches when, in shop time.

Durations are computed in UTC: sums of local times follow the clock on the wall, and are an hour out
across a change of the clocks.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.dateparse import parse_date

from jobs.models import ShutDays, Slot, WorkPlace
from jobs.planner.opening_hours import ONE_DAY, Hours, OpeningHours
from workshop.clock import check_plausible_day, to_utc, utc_instants
from workshop.models import StaleRecord
from workshop.records.times import planned_day_warning

MAX_LENGTH = timedelta(hours=16)


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
        raise ValueError(taken or "Somebody took this place at the same moment. Look again.") from problem
    except StaleRecord as problem:
        raise ValueError("Somebody moved this slot meanwhile. Look at it and move it again.") from problem


def overlap_message(slot: Slot) -> str:
    """Return which slots overlap this one, as a sentence, or ""."""
    at_once = Slot.objects.filter(place=slot.place, starts_at__lt=slot.ends_at, ends_at__gt=slot.starts_at)
    other = at_once.exclude(pk=slot.pk).select_related("job", "place").first()
    if other is None:
        return ""
    until = f"{format_shop_time(other.starts_at)} to {format_shop_time(other.ends_at)}"
    return f"Job {other.job} has the {other.place} from {until} that day."


def date_warning(slot: Slot) -> str:
    """Return a warning about a slot in the past or unusually far ahead, or ""."""
    day, last = timezone.localdate(slot.starts_at), last_day(slot)
    return planned_day_warning(last if last >= timezone.localdate() > day else day)


def outside_hours_warning(slot: Slot, opening_hours: OpeningHours) -> str:
    """Return a warning about a slot outside the shop's hours, or ""."""
    return opening_hours.outside_hours_message(
        timezone.localtime(slot.starts_at), timezone.localtime(slot.ends_at)
    )


def heat_warning(slot: Slot) -> str:
    """Return a warning if a bench is booked after the dyno for the same bike on the same day, or "".

    Common practice, no single source: clearances are measured on a cold engine, as service manuals ask.
    """
    others = Slot.objects.filter(job__bike=slot.job.bike_id).exclude(pk=slot.pk).select_related("place")
    if slot.place.kind == WorkPlace.Kind.BENCH:
        day = start_of_day(timezone.localdate(slot.starts_at))
        dyno = others.filter(
            place__kind=WorkPlace.Kind.DYNO, starts_at__lt=slot.starts_at, ends_at__gt=day
        ).last()
        bench = slot if dyno else None
    else:
        evening = start_of_day(last_day(slot) + ONE_DAY)
        bench = others.filter(
            place__kind=WorkPlace.Kind.BENCH, starts_at__gt=slot.starts_at, starts_at__lt=evening
        ).first()
        dyno = slot if bench else None
    if dyno is None or bench is None:
        return ""
    return (
        f"The bike has the {dyno.place} until {format_shop_time(dyno.ends_at)} and the {bench.place} from "
        f"{format_shop_time(bench.starts_at)}, the same day. If its valves are to be measured: clearances "
        "are measured on a cold engine, so leave it time to cool, or take another day."
    )


def start_of_day(day: date) -> datetime:
    return datetime.combine(day, time(), timezone.get_current_timezone())


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


def move_slot(slot: Slot, *, day: date, place: WorkPlace) -> Slot:
    """Return the slot on another day or workstation, at the same shop time and as long."""
    local = timezone.localtime(slot.starts_at)
    zone = timezone.get_current_timezone()
    assert isinstance(zone, ZoneInfo)
    lasts = slot.ends_at - slot.starts_at
    if check_plausible_day(day) != local.date():
        slot.starts_at = to_utc(zone, day, local.time(), second=False)
    slot.ends_at, slot.place = slot.starts_at + lasts, place
    return slot


def workstations_for(slot: Slot) -> QuerySet[WorkPlace]:
    """Return the workstations in use, and the one that the slot has already."""
    return WorkPlace.objects.filter(Q(retired=False) | Q(pk=slot.place_id))


@dataclass(frozen=True)
class ScheduleDay:
    date: date
    closed_reason: str  # "" if the shop is open


@dataclass(frozen=True)
class ScheduleCell:
    day: ScheduleDay
    slots: list[Slot]


@dataclass(frozen=True)
class ScheduleRow:
    place: WorkPlace
    cells: list[ScheduleCell]


@dataclass(frozen=True)
class Schedule:
    days: list[ScheduleDay]
    rows: list[ScheduleRow]
    closed_days: list[ShutDays]  # those among these days
    outside: set[int]  # keys of the slots outside the opening hours of their weekday
    first: date
    earlier: date  # first day of the page before
    later: date

    @property
    def closed_days_with_slots(self) -> list[ScheduleDay]:
        """Return the closed days that hold slots."""
        taken = {cell.day for row in self.rows for cell in row.cells if cell.slots}
        return [day for day in self.days if day.closed_reason and day in taken]


def build_schedule(first: date, opening_hours: OpeningHours) -> Schedule:
    """Build the schedule of the next working days, with closed days that hold slots."""
    zone = timezone.get_current_timezone()
    open_days = opening_hours.working_days_from(first)
    last = open_days[-1] if open_days else first
    begin, end = (datetime.combine(day, time(), zone) for day in (first, last + ONE_DAY))
    slots = list(
        Slot.objects.filter(starts_at__lt=end, ends_at__gt=begin).select_related(
            "job__bike", "job__customer", "place"
        )
    )
    span = [first + ONE_DAY * ahead for ahead in range((last - first).days + 1)]
    days = [
        ScheduleDay(day, opening_hours.closed_reason(day))
        for day in span
        if day in open_days or any(is_on_day(slot, day) for slot in slots)
    ]
    places = WorkPlace.objects.filter(Q(retired=False) | Q(pk__in={slot.place_id for slot in slots}))
    closed_days = [days for days in opening_hours.closed_days if days.first <= last and days.last >= first]
    outside = {slot.pk for slot in slots_outside(opening_hours.hours, slots)}
    rows = [build_row(place, days, slots) for place in places]
    return Schedule(
        days, rows, closed_days, outside, first, opening_hours.working_day_before(first), last + ONE_DAY
    )


def parse_day(text: str) -> date | None:
    """Parse the day in an address or form, or None if it is not plausible."""
    try:
        day = parse_date(text)
        return day and check_plausible_day(day)
    except ValueError:
        return None  # of the right shape, but no day, such as 2026-02-31


def build_row(place: WorkPlace, days: Iterable[ScheduleDay], slots: list[Slot]) -> ScheduleRow:
    def on(day: date) -> list[Slot]:
        return [slot for slot in slots if slot.place_id == place.pk and is_on_day(slot, day)]

    return ScheduleRow(place, [ScheduleCell(day, on(day.date)) for day in days])


def is_on_day(slot: Slot, day: date) -> bool:
    return timezone.localdate(slot.starts_at) <= day <= last_day(slot)


def last_day(slot: Slot) -> date:
    """Return the last day that the slot is on; one that ends at midnight is not on the next."""
    return timezone.localdate(slot.ends_at - timedelta(seconds=1))
