"""Everything the job page shows, read in a fixed number of queries."""

from dataclasses import dataclass, field
from typing import Any

from django.db.models import Exists, FilteredRelation, OuterRef, Q, Subquery

from jobs.models import (
    BikeChange,
    Check,
    CheckItem,
    ClearanceReading,
    ClearanceSet,
    Comparison,
    ComparisonRun,
    Job,
    MixtureStudy,
    Part,
    Photo,
    Run,
    StageEntry,
    SuspensionSetting,
    ThrottleTable,
    TuneChange,
    TuneRevision,
    WorkItem,
)


@dataclass
class TickedItem:
    """A line of a check list and, where it is ticked, by whom and when."""

    item: CheckItem
    check: Check | None


@dataclass
class JobPage:
    """A job with the records of its sections, in their order."""

    job: Job
    photos: list[Photo] = field(default_factory=list)
    work_items: list[WorkItem] = field(default_factory=list)
    readings: dict[ClearanceSet, list[ClearanceReading]] = field(default_factory=dict)
    parts: list[Part] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)
    revisions: list[TuneRevision] = field(default_factory=list)
    changes: dict[int, list[TuneChange]] = field(default_factory=dict)  # by revision id
    throttle_tables: list[ThrottleTable] = field(default_factory=list)
    comparisons: dict[Comparison, list[ComparisonRun]] = field(default_factory=dict)
    mixture_studies: list[MixtureStudy] = field(default_factory=list)
    suspension: list[SuspensionSetting] = field(default_factory=list)
    bike_changes: list[BikeChange] = field(default_factory=list)
    checks: list[TickedItem] = field(default_factory=list)
    stage_why: str = ""


# What is asked for only where the job has any: the job's own query says which.
MAY_BE_EMPTY: dict[str, Any] = {
    "photos": Photo,
    "work_items": WorkItem,
    "readings": ClearanceSet,
    "parts": Part,
    "runs": Run,
    "revisions": TuneRevision,
    "comparisons": Comparison,
    "mixture_studies": MixtureStudy,
    "suspension": SuspensionSetting,
    "bike_changes": BikeChange,
}


def get_job(number: str) -> Job:
    """The job with this number, its people and bike read with it; raises Job.DoesNotExist."""
    has = {
        f"has_{name}": Exists(model.objects.filter(job=OuterRef("pk")))
        for name, model in MAY_BE_EMPTY.items()
    }
    tables = ThrottleTable.objects.filter(revision__job=OuterRef("pk"))
    steps = StageEntry.objects.filter(job=OuterRef("pk")).order_by("-at", "-pk")
    return (
        Job.objects.select_related("customer", "bike__engine_spec", "mechanic", "tuner")
        .annotate(**has, has_throttle_tables=Exists(tables), stage_why=Subquery(steps.values("why")[:1]))
        .get(number=number)
    )


def load_page(job: Job) -> JobPage:
    """The page of a job that get_job has read."""

    def rows(name: str, queryset: Any) -> list[Any]:
        return list(queryset) if getattr(job, f"has_{name}") else []

    page = JobPage(job, checks=ticked_items(job), stage_why=getattr(job, "stage_why", None) or "")
    page.photos = rows("photos", job.photos.all())
    page.work_items = rows("work_items", job.work_items.all())
    page.readings = rows_by_set(rows("readings", readings_of(job)))
    page.parts = rows("parts", job.parts.all())
    page.runs = rows("runs", job.runs.select_related("tune_revision", "made_by"))
    page.revisions = rows("revisions", job.tune_revisions.select_related("loaded_by"))
    for change in rows("revisions", TuneChange.objects.filter(revision__job=job).select_related("kind")):
        page.changes.setdefault(change.revision_id, []).append(change)
    page.throttle_tables = rows("throttle_tables", tables_of(job))
    for member in rows("comparisons", members_of(job)):
        page.comparisons.setdefault(member.comparison, []).append(member)
    page.mixture_studies = rows("mixture_studies", job.mixture_studies.all())
    page.suspension = rows("suspension", job.suspension_settings.select_related("by"))
    page.bike_changes = rows("bike_changes", job.bike_changes.select_related("by"))
    return page


def readings_of(job: Job) -> Any:
    return (
        ClearanceReading.objects.filter(clearance_set__job=job)
        .select_related("clearance_set__shim_plan", "clearance_set__measured_by")
        .order_by("clearance_set__measured_at", "clearance_set_id", "cylinder", "-side", "position", "-gap")
    )


def rows_by_set(readings: list[ClearanceReading]) -> dict[ClearanceSet, list[ClearanceReading]]:
    sets: dict[ClearanceSet, list[ClearanceReading]] = {}
    for reading in readings:
        sets.setdefault(reading.clearance_set, []).append(reading)
    return sets


def tables_of(job: Job) -> Any:
    return (
        ThrottleTable.objects.filter(revision__job=job)
        .select_related("revision")
        .order_by("revision__number", "mode")
    )


def members_of(job: Job) -> Any:
    return (
        ComparisonRun.objects.filter(comparison__job=job)
        .select_related("comparison", "run")
        .order_by("comparison__created_at", "comparison_id", "group", "run__made_at")
    )


def ticked_items(job: Job) -> list[TickedItem]:
    """Every item still in use, or ticked on this job, with its tick: one query."""
    items = (
        CheckItem.objects.annotate(tick=FilteredRelation("checks", condition=Q(checks__job=job)))
        .filter(Q(retired=False) | Q(tick__isnull=False))
        .order_by("list", "order", "pk")
        .select_related("tick", "tick__by")  # type: ignore[misc]  # the plugin knows no filtered relation
    )
    return [TickedItem(item, getattr(item, "tick", None)) for item in items]
