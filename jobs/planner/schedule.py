"""The schedule drawn to time: workstations down, hours across, positions in quarter hours of shop time."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from django.db.models import Q
from django.utils import timezone

from jobs.models import Job, ShutDays, Slot, Stage, WorkPlace
from jobs.planner.opening_hours import ONE_DAY, OpeningHours
from jobs.planner.slots import due_warning, heat_warning, is_on_day, last_day, slots_outside

QUARTERS_PER_HOUR = 4
LAST_QUARTER = 24 * QUARTERS_PER_HOUR
PIN_QUARTERS = 10  # what the words beside an arrival or a collection take
DEFAULT_HOURS = (time(8), time(18))  # drawn if the shop is closed on all days shown
MAX_IN_TRAY = 6
NEEDS_SLOT = (Stage.BOOKED, Stage.RECEIVED, Stage.BENCH, Stage.ROLLER)


@dataclass(frozen=True)
class Span:
    """A stretch of a day, in quarter hours from the start of the axis."""

    start: int
    length: int


@dataclass(frozen=True)
class SlotBlock(Span):
    """A slot as drawn on one day."""

    slot: Slot
    is_outside: bool
    is_now: bool
    is_whole: bool  # False if a part of it is on another day


@dataclass(frozen=True)
class DeskTime(Span):
    """A bike that comes in or is collected; its words are left of the mark if the right has no room."""

    job: Job
    at: datetime
    way: str  # "in" or "out"
    is_left: bool


@dataclass(frozen=True)
class Load:
    """What is booked of a workstation on one day."""

    place: WorkPlace
    booked: timedelta
    open: timedelta

    @property
    def percent(self) -> int:
        return min(100, round(100 * self.booked / self.open)) if self.open else 100 * bool(self.booked)

    @property
    def bar_top(self) -> int:
        """Return where the bar of the load begins, of 20 downwards."""
        return 20 - self.percent // 5

    @property
    def words(self) -> str:
        if not self.booked:
            return "free all day" if self.open else "closed"
        if not self.open:
            return f"{format_length(self.booked)} booked, closed"
        return f"{format_length(self.booked)} of {format_length(self.open)} booked"


@dataclass(frozen=True)
class ScheduleDay:
    date: date
    closed_reason: str  # "" if the shop is open
    loads: Sequence[Load] = ()
    closed: Sequence[Span] = ()  # the part of the axis outside the opening hours
    now: int | None = None  # position of the present time


@dataclass(frozen=True)
class ScheduleCell:
    day: ScheduleDay
    blocks: list[SlotBlock]


@dataclass(frozen=True)
class ScheduleLane:
    place: WorkPlace
    cells: list[ScheduleCell]
    people: list[str]
    load: Load | None  # of the one day that is shown


@dataclass(frozen=True)
class TrayItem:
    """Work that has no slot, or a slot that is questioned."""

    job: Job
    slot: Slot | None = None
    question: str = ""


@dataclass(frozen=True)
class Schedule:
    days: list[ScheduleDay]  # to choose from
    shown: list[ScheduleDay]
    desk: list[tuple[ScheduleDay, list[DeskTime]]]
    lanes: list[ScheduleLane]
    tray: list[TrayItem]
    more_in_tray: int
    closed_days: list[ShutDays]  # those among these days
    start: int  # of the axis, in quarter hours from midnight
    quarters: int
    first: date
    earlier: date  # first day of the page before
    later: date
    is_week: bool

    @property
    def closed_days_with_slots(self) -> list[ScheduleDay]:
        """Return the closed days that hold slots."""
        return [day for day in self.days if day.closed_reason and any(load.booked for load in day.loads)]

    @property
    def hours(self) -> list[tuple[int, str]]:
        """Return the position and text of every hour of the axis but the last."""
        return [
            (at, f"{(self.start + at) // QUARTERS_PER_HOUR:02d}:00")
            for at in range(0, self.quarters, QUARTERS_PER_HOUR)
        ]


def build_schedule(
    opening_hours: OpeningHours,
    jobs: Sequence[Job],
    *,
    first: date,
    chosen: date | None = None,
    is_week: bool = False,
) -> Schedule:
    """Build the schedule of the next working days, with closed days that hold slots or dates.

    Parameters
    ----------
    jobs : sequence of Job
        The open jobs: when they come in and are due, and whether they have a slot.
    chosen : date, optional
        The day that is drawn; by default the first.
    """
    open_days = opening_hours.working_days_from(first)
    if chosen and not (open_days and first <= chosen <= open_days[-1]):
        first, open_days = chosen, opening_hours.working_days_from(chosen)
    last = open_days[-1] if open_days else first
    slots = read_slots(first, last)
    places = read_places(slots, first, last)
    days = [
        day_with_loads(day, opening_hours, places, slots)
        for day in (first + ONE_DAY * ahead for ahead in range((last - first).days + 1))
        if day in open_days or is_used(day, slots, jobs)
    ]
    shown = days if is_week else [day for day in days if day.date == chosen] or days[:1]
    start, end = find_axis(shown, opening_hours, slots, jobs)
    shown = [on_axis(day, opening_hours, start, end) for day in shown]
    outside = {slot.pk for slot in slots_outside(opening_hours.hours, slots)}
    tray = build_tray(jobs, slots)
    return Schedule(
        days=days,
        shown=shown,
        desk=[(day, list(desk_times(day.date, jobs, start, end))) for day in shown],
        lanes=[build_lane(place, shown, slots, outside, start) for place in places],
        tray=tray[:MAX_IN_TRAY],
        more_in_tray=len(tray) - len(tray[:MAX_IN_TRAY]),
        closed_days=[
            closed for closed in opening_hours.closed_days if closed.first <= last and closed.last >= first
        ],
        start=start,
        quarters=end - start,
        first=first,
        earlier=opening_hours.working_day_before(first),
        later=last + ONE_DAY,
        is_week=is_week,
    )


def read_slots(first: date, last: date) -> list[Slot]:
    """Return the slots of these days and those to come, in one query."""
    zone = timezone.get_current_timezone()
    begin, end = (datetime.combine(day, time(), zone) for day in (first, last + ONE_DAY))
    today = datetime.combine(timezone.localdate(), time(), zone)
    asked = Q(starts_at__lt=end, ends_at__gt=begin) | Q(ends_at__gt=today)
    return list(Slot.objects.filter(asked).select_related("job__bike", "place", "person"))


def read_places(slots: Iterable[Slot], first: date, last: date) -> list[WorkPlace]:
    """Return the workstations in use, and those that have a slot on these days."""
    on_days = {
        slot.place_id
        for slot in slots
        if timezone.localdate(slot.starts_at) <= last and last_day(slot) >= first
    }
    return [place for place in WorkPlace.objects.all() if not place.retired or place.pk in on_days]


def is_used(day: date, slots: Iterable[Slot], jobs: Iterable[Job]) -> bool:
    """Return True if a slot, an arrival or a collection is on that day."""
    return any(is_on_day(slot, day) for slot in slots) or any(
        timezone.localdate(at) == day for job in jobs for at, _ in dates_of(job)
    )


def dates_of(job: Job) -> Iterator[tuple[datetime, str]]:
    """Yield when the bike comes in, if it is not here yet, and when it is due."""
    if job.booked_for and job.received_at is None:
        yield job.booked_for, "in"
    if job.promised_at:
        yield job.promised_at, "out"


def day_with_loads(
    day: date, opening_hours: OpeningHours, places: Sequence[WorkPlace], slots: Sequence[Slot]
) -> ScheduleDay:
    hours = opening_hours.hours_on(day)
    open_for = timedelta(0)
    if hours:
        opens, shuts = (datetime.combine(day, clock) for clock in hours)
        open_for = shuts - opens
    on_day = [slot for slot in slots if is_on_day(slot, day)]
    return ScheduleDay(
        day,
        opening_hours.closed_reason(day),
        [
            Load(
                place,
                sum((length_on(slot, day) for slot in on_day if slot.place_id == place.pk), timedelta(0)),
                open_for,
            )
            for place in places
            if not place.retired or any(slot.place_id == place.pk for slot in on_day)
        ],
    )


def length_on(slot: Slot, day: date) -> timedelta:
    """Return how much of a slot is on that day."""
    zone = timezone.get_current_timezone()
    begin, end = (datetime.combine(at, time(), zone) for at in (day, day + ONE_DAY))
    # Compared as instants: the difference of local times would be an hour out across a change of the clocks.
    starts, ends = max(slot.starts_at, begin), min(slot.ends_at, end)
    return timedelta(seconds=ends.timestamp() - starts.timestamp())


def quarter_of(at: datetime, day: date, *, up: bool = False) -> int:
    """Return the quarter hour of an instant, from midnight of that day; 0 or 96 if it is on another."""
    local = timezone.localtime(at)
    if local.date() != day:
        return 0 if local.date() < day else LAST_QUARTER
    return -(-minutes(local.time()) // 15) if up else minutes(local.time()) // 15


def minutes(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def slot_span(slot: Slot, day: date) -> tuple[int, int]:
    """Return first and last quarter hour of a slot on that day; at least one in the repeated hour."""
    start = quarter_of(slot.starts_at, day)
    return start, max(start + 1, quarter_of(slot.ends_at, day, up=True))


def find_axis(
    days: Iterable[ScheduleDay], opening_hours: OpeningHours, slots: Iterable[Slot], jobs: Iterable[Job]
) -> tuple[int, int]:
    """Return start and end of the axis: whole hours that hold opening hours, slots and dates."""
    dates = [day.date for day in days]
    ends = [
        *(-(-minutes(clock) // 15) for day in dates for clock in opening_hours.hours_on(day) or ()),
        *(at for day in dates for slot in slots if is_on_day(slot, day) for at in slot_span(slot, day)),
        *(
            quarter_of(at, day)
            for day in dates
            for job in jobs
            for at, _ in dates_of(job)
            if timezone.localdate(at) == day
        ),
    ]
    ends = ends or [clock.hour * QUARTERS_PER_HOUR for clock in DEFAULT_HOURS]
    start = min(ends) // QUARTERS_PER_HOUR * QUARTERS_PER_HOUR
    return start, max(start + QUARTERS_PER_HOUR, -(-max(ends) // QUARTERS_PER_HOUR) * QUARTERS_PER_HOUR)


def on_axis(day: ScheduleDay, opening_hours: OpeningHours, start: int, end: int) -> ScheduleDay:
    """Return the day with the present time and its closed hours on the axis."""
    now = timezone.localtime()
    position = quarter_of(now, day.date) - start
    hours = opening_hours.hours_on(day.date)
    closed = [Span(0, end - start)]
    if hours:
        opens, shuts = (
            quarter_of(timezone.make_aware(datetime.combine(day.date, clock)), day.date) for clock in hours
        )
        closed = [Span(0, opens - start), Span(shuts - start, end - shuts)]
    return replace(
        day,
        closed=[span for span in closed if span.length > 0],
        now=position if day.date == now.date() and 0 <= position < end - start else None,
    )


def desk_times(day: date, jobs: Iterable[Job], start: int, end: int) -> Iterator[DeskTime]:
    """Yield who comes in and is collected that day, in order."""
    dates = [(at, way, job) for job in jobs for at, way in dates_of(job) if timezone.localdate(at) == day]
    for at, way, job in sorted(dates, key=lambda found: (found[0], found[2].pk)):
        position = quarter_of(at, day) - start
        is_left = position + PIN_QUARTERS > end - start and position >= PIN_QUARTERS
        length = min(PIN_QUARTERS, end - start if is_left else max(1, end - start - position))
        yield DeskTime(position - length if is_left else position, length, job, at, way, is_left)


def build_lane(
    place: WorkPlace, days: Sequence[ScheduleDay], slots: Iterable[Slot], outside: set[int], start: int
) -> ScheduleLane:
    own = [slot for slot in slots if slot.place_id == place.pk]
    cells = [
        ScheduleCell(
            day, [build_block(slot, day.date, outside, start) for slot in own if is_on_day(slot, day.date)]
        )
        for day in days
    ]
    people = {str(block.slot.person): None for cell in cells for block in cell.blocks if block.slot.person}
    loads = [load for day in days for load in day.loads if load.place == place]
    return ScheduleLane(place, cells, list(people), loads[0] if len(days) == 1 and loads else None)


def build_block(slot: Slot, day: date, outside: set[int], start: int) -> SlotBlock:
    first, last = slot_span(slot, day)
    return SlotBlock(
        first - start,
        last - first,
        slot,
        is_outside=slot.pk in outside,
        is_now=slot.starts_at <= timezone.now() < slot.ends_at,
        is_whole=timezone.localdate(slot.starts_at) == last_day(slot),
    )


def build_tray(jobs: Sequence[Job], slots: Sequence[Slot]) -> list[TrayItem]:
    """Return the slots that are questioned, then the work that has no slot, each the most urgent first."""
    by_key = {job.pk: job for job in jobs}
    coming = [slot for slot in slots if slot.ends_at > timezone.now() and slot.job_id in by_key]
    last = {slot.job_id: slot for slot in sorted(coming, key=lambda slot: slot.ends_at)}
    questioned = [
        TrayItem(by_key[slot.job_id], slot, question)
        for slot in coming
        for question in (
            question_due(slot) if slot is last[slot.job_id] else "",
            question_heat(slot, coming),
        )
        if question
    ]
    placed = {slot.job_id for slot in slots}
    without = [TrayItem(job) for job in jobs if job.stage in NEEDS_SLOT and job.pk not in placed]
    return [*questioned, *without]


def question_due(slot: Slot) -> str:
    """Return a question if a slot ends after the due time of a job that is not late already."""
    if slot.job.is_late or not due_warning(slot):
        return ""
    due, end = (timezone.localtime(at) for at in (slot.job.promised_at, slot.ends_at))
    return f"due {due:%a %-d %b, %H:%M}, but this slot ends {end:%a %-d %b, %H:%M}"


def question_heat(slot: Slot, slots: Sequence[Slot]) -> str:
    """Return a question if a bench follows the dyno on the same day: it is the bench that can be moved."""
    if slot.place.kind != WorkPlace.Kind.BENCH or not heat_warning(slot, slots):
        return ""
    return "after the dyno on the same day: check that the engine is cold before measuring valves"


def format_length(length: timedelta) -> str:
    """Format a length of time, such as "4 h 30" or "45 min"."""
    hours, minutes = divmod(round(length / timedelta(minutes=1)), 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes:02d}" if minutes else f"{hours} h"
