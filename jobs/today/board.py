"""The open bikes of the day: counts, filters, and each bike once by its due time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from jobs.job.next_steps import JobStep
from jobs.job.page import load_pages
from jobs.job.results import JobResults
from jobs.job_page.next_steps import called_at, next_step, stage_before
from jobs.models import Job, Stage, StageEntry
from jobs.planner.opening_hours import OpeningHours
from workshop.models import ShopProfile, StaffMember

MAX_SHOWN = 25
# The stages as bars, in their order; a waiting job is where it was before.
TRACK = (Stage.BOOKED, Stage.RECEIVED, Stage.BENCH, Stage.ROLLER, Stage.READY)
FILTERS = {
    "late": "overdue",
    "in": "coming in today",
    "out": "due out today",
    "waiting": "waiting",
    "here": "in the shop",
    "ready": "waiting for collection",
}


@dataclass(frozen=True)
class DayCount:
    key: str
    label: str
    count: int


@dataclass(frozen=True)
class BikeRow:
    """One open job as a line of the list."""

    job: Job
    stage: str
    stage_note: str
    track: list[str]  # a class for each bar
    due: str
    due_note: str
    is_late: bool
    due_warning: str
    step: JobStep | None
    may_step: bool
    is_most_urgent: bool


@dataclass(frozen=True)
class Board:
    counts: list[DayCount]
    rows: list[BikeRow]
    more: int


def open_jobs() -> list[Job]:
    """Return all open jobs, the most urgent first, in one query."""
    jobs = Job.objects.open().for_list().select_related("bike__engine_spec", "mechanic", "tuner")
    jobs = jobs.defer("condition_marks", "next_service", "not_tested")
    never = timezone.now() + timedelta(days=100_000)
    return sorted(jobs.order_by(), key=lambda job: (job.promised_at or never, job.pk))


def build_board(
    jobs: Sequence[Job],
    by: StaffMember,
    shop: ShopProfile,
    opening_hours: OpeningHours,
    *,
    shown: str = "",
    is_mine: bool = False,
) -> Board:
    """Build the list of bikes.

    Parameters
    ----------
    jobs : sequence of Job
        All open jobs, the most urgent first.
    shown : str
        A key of FILTERS, or "" for all.
    is_mine : bool
        Only those whose mechanic or tuner is the reader.
    """
    mine = [job for job in jobs if not is_mine or by.pk in (job.mechanic_id, job.tuner_id)]
    counts = [
        DayCount(key, label, sum(is_counted(job, key) for job in mine)) for key, label in FILTERS.items()
    ]
    chosen = [job for job in mine if not shown or is_counted(job, shown)]
    listed = chosen[:MAX_SHOWN]
    results = [JobResults(page, shop) for page in load_pages(listed)]
    steps = {job.job.pk: next_step(job) for job in results}
    able = [job for job in listed if (step := steps[job.pk]) and by.holds(*step.roles)]
    now = [job for job in able if is_actionable(job)]
    urgent = next(iter(now or able), None)
    rows = [
        build_row(
            job,
            steps[job.job.pk],
            opening_hours,
            may_step=job.job in able,
            is_most_urgent=job.job is urgent,
        )
        for job in results
    ]
    # "Waiting for collection" is said only if a bike is.
    shown_counts = [count for count in counts if count.count or count.key != "ready"]
    return Board(shown_counts, rows, len(chosen) - len(listed))


def is_counted(job: Job, key: str) -> bool:
    today = timezone.localdate()
    tests = {
        "late": job.is_late,
        "ready": is_uncollected(job),
        "in": job.received_at is None and is_on(job.booked_for, today),
        "out": is_on(job.promised_at, today),
        "waiting": job.stage == Stage.WAITING,
        "here": job.received_at is not None,
    }
    return tests[key]


def is_on(at: datetime | None, day: object) -> bool:
    return at is not None and timezone.localdate(at) == day


def is_uncollected(job: Job) -> bool:
    """Return True if the bike is finished and its time is past: the customer is late, not the shop."""
    return job.stage == Stage.READY and job.promised_at is not None and job.promised_at < timezone.now()


def is_actionable(job: Job) -> bool:
    """Return True unless the bike comes another day, or the job waits."""
    if job.stage == Stage.WAITING:
        return False
    return job.stage != Stage.BOOKED or is_on(job.booked_for, timezone.localdate())


def build_row(
    results: JobResults,
    step: JobStep | None,
    opening_hours: OpeningHours,
    *,
    may_step: bool,
    is_most_urgent: bool,
) -> BikeRow:
    job = results.job
    due, due_note = describe_due(job)
    return BikeRow(
        job=job,
        stage=describe_stage(job),
        stage_note=describe_where(results),
        track=track_of(results),
        due=due,
        due_note=due_note,
        is_late=job.is_late,
        due_warning=closed_warning(job, opening_hours),
        step=step,
        may_step=may_step,
        is_most_urgent=is_most_urgent,
    )


def describe_stage(job: Job) -> str:
    if is_uncollected(job):
        return "Waiting for collection"
    if job.stage == Stage.WAITING:
        return f"Waiting for {job.get_waiting_for_display()}"
    return job.get_stage_display().capitalize()


def describe_where(results: JobResults) -> str:
    """Return what is known beside the stage: when the bike comes, why it waits, or who has it."""
    job = results.job
    if job.stage == Stage.BOOKED:
        return f"drop-off {mention(job.booked_for)}" if job.booked_for else "no drop-off time"
    if job.stage == Stage.WAITING:
        where = "" if job.received_at else "bike with the customer"
        entries = results.rows(StageEntry)
        return ", ".join(filter(None, (entries[-1].why if entries else "", where)))
    if job.stage == Stage.READY and (called := called_at(results)):
        return f"customer told {mention(called)}"
    person = job.tuner if job.stage == Stage.ROLLER else job.mechanic
    return str(person or job.mechanic or job.tuner or "")


def track_of(results: JobResults) -> list[str]:
    job = results.job
    stage = stage_before(results) if job.stage == Stage.WAITING else Stage(job.stage)
    at = TRACK.index(stage)
    now = "is-waiting" if job.stage == Stage.WAITING else "is-now"
    return ["is-done" if place < at else now if place == at else "" for place in range(len(TRACK))]


def describe_due(job: Job) -> tuple[str, str]:
    """Return when the job is due, and how long that is."""
    if job.promised_at is None:
        return "No due time", ""
    now = timezone.now()
    left = job.promised_at - now
    if is_uncollected(job):
        return format_moment(job.promised_at), f"ready, {format_span(-left)} past its time"
    if left < timedelta(0):
        return f"{format_span(-left)} overdue", format_moment(job.promised_at)
    if is_on(job.promised_at, timezone.localdate()):
        return format_moment(job.promised_at), f"{format_span(left)} left"
    return format_moment(job.promised_at), ""


def format_moment(at: datetime) -> str:
    """Format a date and time, such as "Tue 1 Dec, 12:00" or "Today, 12:00"; another year with its number."""
    local, today = timezone.localtime(at), timezone.localdate()
    if local.date() == today:
        return f"Today, {local:%H:%M}"
    year = "" if local.year == today.year else f" {local.year}"
    return f"{local:%a %-d %b}{year}, {local:%H:%M}"


def mention(at: datetime) -> str:
    """Format a date and time within a sentence."""
    return format_moment(at).replace("Today", "today")


def format_span(span: timedelta) -> str:
    """Format about how long: minutes, hours up to two days, then days."""
    minutes = round(span / timedelta(minutes=1))
    if minutes < 60:
        return f"{minutes} min"
    hours = minutes // 60
    if hours < 10:
        return f"{hours} h {minutes % 60:02d}" if minutes % 60 else f"{hours} h"
    return f"{hours} h" if hours < 48 else f"{hours // 24} days"


def closed_warning(job: Job, opening_hours: OpeningHours) -> str:
    """Return that the shop is closed on the due day, or ""."""
    if job.promised_at is None or job.is_late or is_uncollected(job):
        return ""
    reason = opening_hours.closed_reason(timezone.localdate(job.promised_at))
    return f"closed that day: {reason}" if reason else ""
