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
from jobs.planner.opening_hours import ONE_DAY, Hours, WorkingDays
from workshop.clock import check_plausible_day, to_utc, utc_instants
from workshop.models import StaleRecord

LONGEST = timedelta(hours=16)
FAR = timedelta(days=366)


def clock_text(when: datetime) -> str:
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
        taken = others(slot)
        raise ValueError(taken or "Somebody took this place at the same moment. Look again.") from problem
    except StaleRecord as problem:
        raise ValueError("Somebody moved this slot meanwhile. Look at it and move it again.") from problem


def others(slot: Slot) -> str:
    """Return which slots overlap this one, as a sentence, or ""."""
    at_once = Slot.objects.filter(place=slot.place, starts_at__lt=slot.ends_at, ends_at__gt=slot.starts_at)
    other = at_once.exclude(pk=slot.pk).select_related("job", "place").first()
    if other is None:
        return ""
    until = f"{clock_text(other.starts_at)} to {clock_text(other.ends_at)}"
    return f"Job {other.job} has the {other.place} from {until} that day."


def told_when(slot: Slot) -> str:
    """Return a warning about a slot in the past or unusually far ahead, or ""."""
    day = timezone.localdate(slot.starts_at)
    if last_day(slot) < timezone.localdate():
        return f"{day:%A %-d %B %Y} is past."
    return f"{day:%A %-d %B %Y} is more than a year away." if day > timezone.localdate() + FAR else ""


def told_outside(slot: Slot, working: WorkingDays) -> str:
    """Return a warning about a slot outside the shop's hours, or ""."""
    return working.outside(timezone.localtime(slot.starts_at), timezone.localtime(slot.ends_at))


def coming_slots() -> list[Slot]:
    """Return the slots that are not over yet, in one query."""
    return list(Slot.objects.filter(ends_at__gt=timezone.now()).select_related("job", "place"))


def slots_on(days: ShutDays, slots: Iterable[Slot]) -> list[Slot]:
    """Return the slots that fall, in part or whole, on these closed days."""
    return [
        each
        for each in slots
        if timezone.localdate(each.starts_at) <= days.last and last_day(each) >= days.first
    ]


def slots_outside(hours: tuple[Hours, ...], slots: Iterable[Slot]) -> list[Slot]:
    """Return the slots outside the hours of their weekday."""
    week = WorkingDays(hours, ())
    return [each for each in slots if told_outside(each, week)]


def moved(slot: Slot, *, day: date, place: WorkPlace) -> Slot:
    """Return the slot on another day or workstation, at the same shop time and as long."""
    local = timezone.localtime(slot.starts_at)
    zone = timezone.get_current_timezone()
    assert isinstance(zone, ZoneInfo)
    lasts = slot.ends_at - slot.starts_at
    if check_plausible_day(day) != local.date():
        slot.starts_at = to_utc(zone, day, local.time(), second=False)
    slot.ends_at, slot.place = slot.starts_at + lasts, place
    return slot


def places_for(slot: Slot) -> QuerySet[WorkPlace]:
    """Return the workstations in use, and the one that the slot has already."""
    return WorkPlace.objects.filter(Q(retired=False) | Q(pk=slot.place_id))


@dataclass(frozen=True)
class Day:
    date: date
    shut: str  # why nobody works; '' where they do


@dataclass(frozen=True)
class Cell:
    day: Day
    slots: list[Slot]


@dataclass(frozen=True)
class Row:
    place: WorkPlace
    cells: list[Cell]


@dataclass(frozen=True)
class Plan:
    days: list[Day]
    rows: list[Row]
    shut: list[ShutDays]  # that fall among these days
    outside: set[int]  # slots, by their key, that the hours of their weekday do not hold
    first: date
    earlier: date  # where the plan of the days before begins
    later: date

    @property
    def disturbed(self) -> list[Day]:
        """Return the closed days that hold slots."""
        taken = {cell.day for row in self.rows for cell in row.cells if cell.slots}
        return [day for day in self.days if day.shut and day in taken]


def plan(first: date, working: WorkingDays) -> Plan:
    """Build the schedule of the next working days, with closed days that hold slots."""
    zone = timezone.get_current_timezone()
    open_days = working.from_day(first)
    last = open_days[-1] if open_days else first
    begin, end = (datetime.combine(day, time(), zone) for day in (first, last + ONE_DAY))
    slots = list(
        Slot.objects.filter(starts_at__lt=end, ends_at__gt=begin).select_related(
            "job__bike", "job__customer", "place"
        )
    )
    span = [first + ONE_DAY * ahead for ahead in range((last - first).days + 1)]
    days = [
        Day(day, working.why_shut(day))
        for day in span
        if day in open_days or any(spans(each, day) for each in slots)
    ]
    places = WorkPlace.objects.filter(Q(retired=False) | Q(pk__in={each.place_id for each in slots}))
    shut = [each for each in working.shut if each.first <= last and each.last >= first]
    outside = {each.pk for each in slots_outside(working.hours, slots)}
    rows = [row(place, days, slots) for place in places]
    return Plan(days, rows, shut, outside, first, working.before_day(first), last + ONE_DAY)


def day_named(text: str) -> date | None:
    """Parse the day in an address or form, or None if it is not plausible."""
    try:
        day = parse_date(text)
        return day and check_plausible_day(day)
    except ValueError:
        return None  # of the right shape, but no day, such as 2026-02-31


def row(place: WorkPlace, days: Iterable[Day], slots: list[Slot]) -> Row:
    def on(day: date) -> list[Slot]:
        return [each for each in slots if each.place_id == place.pk and spans(each, day)]

    return Row(place, [Cell(day, on(day.date)) for day in days])


def spans(slot: Slot, day: date) -> bool:
    return timezone.localdate(slot.starts_at) <= day <= last_day(slot)


def last_day(slot: Slot) -> date:
    """Return the last day that the slot is on; one that ends at midnight is not on the next."""
    return timezone.localdate(slot.ends_at - timedelta(seconds=1))
