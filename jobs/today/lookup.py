"""The list of jobs: what it can be filtered and sorted by; the address holds all of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Count, Q
from django.http import HttpRequest
from django.utils import timezone
from django.utils.dateparse import parse_date

from jobs.models import Job, Stage
from jobs.models.job import OPEN_STAGES, JobQuerySet
from jobs.search.find import find_jobs
from workshop.models import StaffMember
from workshop.records.lists import ListColumn, search_text, sort_rows
from workshop.records.responses import parse_pk

COLUMNS = (
    ListColumn("number", "Job", ("year", "sequence")),
    ListColumn("bike", "Bike", ("bike__make", "bike__model")),
    ListColumn("customer", "Customer", ("customer__name",)),
    ListColumn("stage", "Stage", ("stage",)),
    ListColumn("ready", "Ready by", ("promised_at",)),
)
CSV_HEADER = ("job", "bike", "plate", "customer", "stage", "drop_off", "ready_by", "mechanic", "tuner")


@dataclass(frozen=True)
class JobFilters:
    """What the address asks for; what is no stage, person or date is ignored."""

    text: str
    stage: str
    make: str
    person: int
    since: date | None
    until: date | None

    @property
    def count(self) -> int:
        """Return how many filters are set besides the text and the stage, which are always in sight."""
        return sum(map(bool, (self.make, self.person, self.since, self.until)))

    @property
    def are_any(self) -> bool:
        return bool(self.text or self.stage or self.count)


@dataclass(frozen=True)
class StageChip:
    """A stage to filter by; ``count`` is None for stages that are never counted, since they only grow."""

    value: str
    label: str
    count: int | None


def read_filters(request: HttpRequest) -> JobFilters:
    return JobFilters(
        text=search_text(request),
        stage=request.GET.get("stage", ""),
        make=search_text(request, "make"),
        person=parse_pk(request.GET.get("person", "")),
        since=read_date(request, "since"),
        until=read_date(request, "until"),
    )


def read_date(request: HttpRequest, name: str) -> date | None:
    try:
        return parse_date(request.GET.get(name, ""))
    except ValueError:  # looks like a date, such as 2026-02-31, but is none
        return None


def list_jobs(request: HttpRequest, filters: JobFilters) -> JobQuerySet:
    """Return the jobs that the address asks for, in its order."""
    jobs = find_jobs(filters.text)
    if filters.stage == "open":
        jobs = jobs.open()
    elif filters.stage == "late":
        jobs = jobs.overdue()
    elif filters.stage in Stage.values:
        jobs = jobs.filter(stage=filters.stage)
    if filters.make:
        jobs = jobs.filter(bike__make__iexact=filters.make)
    if filters.person:
        jobs = jobs.filter(Q(mechanic=filters.person) | Q(tuner=filters.person))
    if filters.since:
        jobs = jobs.filter(promised_at__gte=start_of(filters.since))
    if filters.until:
        jobs = jobs.filter(promised_at__lt=start_of(filters.until + timedelta(days=1)))
    return sort_rows(request, jobs, COLUMNS)


def start_of(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))


def stage_chips() -> list[StageChip]:
    """Return the stages to choose from, with the number of jobs at each open one."""
    rows = Job.objects.open().values("stage").annotate(n=Count("pk")).order_by()
    counts = {row["stage"]: row["n"] for row in rows}
    chips = [StageChip("", "All", None), StageChip("open", "All open", sum(counts.values()))]
    chips += [
        StageChip(stage.value, str(stage.label).capitalize(), counts.get(stage.value, 0))
        for stage in OPEN_STAGES
    ]
    closed = [stage for stage in Stage if stage not in OPEN_STAGES]
    return [
        *chips,
        StageChip("late", "Overdue", None),
        *(StageChip(stage.value, str(stage.label).capitalize(), None) for stage in closed),
    ]


def staff_choices() -> Sequence[StaffMember]:
    return list(StaffMember.objects.filter(is_active=True).order_by("first_name", "last_name"))


def csv_rows(jobs: JobQuerySet) -> Iterator[list[Any]]:
    for job in jobs.select_related("mechanic", "tuner").iterator():
        yield [
            job.number,
            str(job.bike),
            job.bike.plate,
            str(job.customer),
            job.get_stage_display(),
            local_minute(job.booked_for),
            local_minute(job.promised_at),
            str(job.mechanic or ""),
            str(job.tuner or ""),
        ]


def local_minute(at: datetime | None) -> str:
    return timezone.localtime(at).strftime("%Y-%m-%d %H:%M") if at else ""
