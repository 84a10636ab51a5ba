"""Everything the job page shows, read in a fixed number of queries."""

from dataclasses import dataclass, field
from typing import Any, cast

from django.db import connection
from django.db.models import Exists, FilteredRelation, ManyToOneRel, OuterRef, Q, Subquery
from django.db.models.expressions import RawSQL

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


# What is asked for only where the job has any: the job's own query says which. By the name of its relation.
MAY_BE_EMPTY = (
    "photos",
    "work_items",
    "clearance_sets",
    "parts",
    "runs",
    "tune_revisions",
    "comparisons",
    "mixture_studies",
    "suspension_settings",
    "bike_changes",
    "handover_sheets",
)


def any_of(relation: str) -> RawSQL:
    """Whether a job has any of these.

    Written out, since an Exists() for each is worked out anew at every reading of the page, and that takes
    longer than the query itself.
    """
    key = cast("ManyToOneRel", Job._meta.get_field(relation)).field
    quoted = connection.ops.quote_name
    table, jobs = quoted(key.model._meta.db_table), quoted(Job._meta.db_table)
    return RawSQL(f"EXISTS(SELECT 1 FROM {table} WHERE {table}.{quoted(key.column)} = {jobs}.id)", ())


def get_job(number: str) -> Job:
    """The job with this number, its people and bike read with it; raises Job.DoesNotExist."""
    has: dict[str, Any] = {f"has_{name}": any_of(name) for name in MAY_BE_EMPTY}
    tables = ThrottleTable.objects.filter(revision__job=OuterRef("pk"))
    steps = StageEntry.objects.filter(job=OuterRef("pk")).order_by("-at", "-pk")
    return (
        Job.objects.select_related("customer", "bike__engine_spec", "mechanic", "tuner")
        .annotate(**has, has_throttle_tables=Exists(tables), stage_why=Subquery(steps.values("why")[:1]))
        .get(number=number)
    )


def load_page(job: Job) -> JobPage:
    """The page of a job that get_job has read."""

    def has(relation: str) -> bool:
        return getattr(job, f"has_{relation}")

    def rows(name: str, queryset: Any) -> list[Any]:
        return list(queryset) if has(name) else []

    page = JobPage(job, checks=ticked_items(job), stage_why=getattr(job, "stage_why", None) or "")
    page.photos = rows("photos", job.photos.all())
    page.work_items = rows("work_items", job.work_items.all())
    page.readings = readings_by_set(job) if has("clearance_sets") else {}
    page.parts = rows("parts", job.parts.all())
    page.runs = rows("runs", job.runs.select_related("tune_revision", "made_by"))
    page.revisions = rows("tune_revisions", job.tune_revisions.select_related("loaded_by"))
    for change in rows("tune_revisions", TuneChange.objects.filter(revision__job=job).select_related("kind")):
        page.changes.setdefault(change.revision_id, []).append(change)
    page.throttle_tables = rows("throttle_tables", tables_of(job))
    for member in rows("comparisons", members_of(job)):
        page.comparisons.setdefault(member.comparison, []).append(member)
    page.mixture_studies = rows("mixture_studies", job.mixture_studies.all())
    page.suspension = rows("suspension_settings", job.suspension_settings.select_related("by"))
    page.bike_changes = rows("bike_changes", job.bike_changes.select_related("by"))
    return page


def readings_by_set(job: Job) -> dict[ClearanceSet, list[ClearanceReading]]:
    """The clearances of a job, set by set as they were measured."""
    sets = {
        measured.pk: measured
        for measured in job.clearance_sets.select_related("shim_plan", "measured_by").order_by(
            "measured_at", "pk"
        )
    }
    readings: dict[ClearanceSet, list[ClearanceReading]] = {measured: [] for measured in sets.values()}
    of_these = ClearanceReading.objects.filter(clearance_set_id__in=list(sets))
    for reading in of_these.order_by("cylinder", "-side", "position", "-gap"):
        reading.clearance_set = sets[reading.clearance_set_id]
        readings[reading.clearance_set].append(reading)
    return {measured: rows for measured, rows in readings.items() if rows}


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
