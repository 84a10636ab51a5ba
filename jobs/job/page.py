"""Everything the job page shows, read in a fixed number of queries."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, cast

from django.db import connection
from django.db.models import FilteredRelation, ManyToOneRel, Q
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
    SuspensionSetting,
    ThrottleTable,
    TuneChange,
    TuneRevision,
    WorkItem,
    WorkPlace,
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
)


# Written out, since an Exists() for each is worked out anew at every reading of the page, and that takes
# longer than the query itself.


def of_the_job(relation: str) -> str:
    """FROM and WHERE of the rows that a job has of these, inside a query of jobs."""
    key = cast("ManyToOneRel", Job._meta.get_field(relation)).field
    quoted = connection.ops.quote_name
    table, jobs = quoted(key.model._meta.db_table), quoted(Job._meta.db_table)
    return f"FROM {table} WHERE {table}.{quoted(key.column)} = {jobs}.id"


def any_of(relation: str) -> RawSQL:
    """Whether a job has any of these."""
    return RawSQL(f"EXISTS(SELECT 1 {of_the_job(relation)})", ())


def last_reason() -> RawSQL:
    """Why a job came to its stage."""
    return RawSQL(f"(SELECT why {of_the_job('stage_entries')} ORDER BY at DESC, id DESC LIMIT 1)", ())


# A subquery, since PostgreSQL puts at most eight tables in order by what they cost (join_collapse_limit).
SLOT_PLACE = RawSQL(
    f"(SELECT name FROM {WorkPlace._meta.db_table} WHERE {WorkPlace._meta.db_table}.id = slot.place_id)", ()
)


def get_job(number: str) -> Job:
    """The job with this number, its people, bike, sheets and slots read with it; raises Job.DoesNotExist."""
    has: dict[str, Any] = {f"has_{name}": any_of(name) for name in MAY_BE_EMPTY}
    jobs: Any = Job.objects.select_related("customer", "bike__engine_spec", "mechanic", "tuner")
    joining = jobs.annotate(sheet=FilteredRelation("handover_sheets"), slot=FilteredRelation("slots"))
    found = list(
        joining.select_related("sheet", "slot")
        .defer("sheet__snapshot")
        .annotate(**has, stage_why=last_reason(), slot_place=SLOT_PLACE)
        .filter(number=number)
        .order_by("-sheet__issue_number", "slot__starts_at", "slot__pk")
    )
    if not found:
        raise Job.DoesNotExist(number)
    job: Any = found[0]
    job.sheets = joined(found, "sheet")
    places = {row.slot.pk: row.slot_place for row in found if hasattr(row, "slot")}
    job.when_where = [(slot, places[slot.pk]) for slot in joined(found, "slot")]
    return job


def joined(rows: Iterable[Any], name: str) -> list[Any]:
    """The records joined to rows under a name, each once; a row that has none lacks it."""
    records = [getattr(row, name) for row in rows if hasattr(row, name)]
    return list({record.pk: record for record in records}.values())


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
    if has("tune_revisions"):
        read_tunes(page)
    if has("runs"):
        read_runs(page, compared=has("comparisons"))
    page.mixture_studies = rows("mixture_studies", job.mixture_studies.all())
    page.suspension = rows("suspension_settings", job.suspension_settings.select_related("by"))
    page.bike_changes = rows("bike_changes", job.bike_changes.select_related("by"))
    return page


def read_tunes(page: JobPage) -> None:
    """The revisions, one row for each of their changes or for none, and their tables."""
    rows: Any = page.job.tune_revisions.annotate(change=FilteredRelation("changes"))
    revisions: dict[int, TuneRevision] = {}
    for row in rows.select_related("loaded_by", "change__kind").order_by(
        "number", "change__created_at", "change__pk"
    ):
        revisions.setdefault(row.pk, row)
        page.changes.setdefault(row.pk, []).extend(joined([row], "change"))
    page.revisions = list(revisions.values())
    page.throttle_tables = list(ThrottleTable.objects.filter(revision__job=page.job))
    for table in page.throttle_tables:
        table.revision = revisions[table.revision_id]
    page.throttle_tables.sort(key=lambda table: (table.revision.number, table.mode))


def read_runs(page: JobPage, *, compared: bool) -> None:
    """The runs, after the revisions, and where some are compared each once more for every comparison."""
    rows: Any = page.job.runs.select_related("made_by").order_by("made_at", "pk")
    if compared:
        rows = rows.annotate(member=FilteredRelation("compared_in")).select_related("member__comparison")
    tunes = {revision.pk: revision for revision in page.revisions}
    runs: dict[int, Run] = {}
    members: list[ComparisonRun] = []
    for row in rows:
        run = runs.setdefault(row.pk, row)
        if run.tune_revision_id in tunes:
            run.tune_revision = tunes[run.tune_revision_id]
        for member in joined([row], "member"):
            member.run = run
            members.append(member)
    page.runs = list(runs.values())
    members.sort(key=lambda each: (each.comparison.created_at, each.comparison_id, each.group))
    for member in members:
        page.comparisons.setdefault(member.comparison, []).append(member)


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


def ticked_items(job: Job) -> list[TickedItem]:
    """Every item still in use, or ticked on this job, with its tick: one query."""
    items = (
        CheckItem.objects.annotate(tick=FilteredRelation("checks", condition=Q(checks__job=job)))
        .filter(Q(retired=False) | Q(tick__isnull=False))
        .order_by("list", "order", "pk")
        .select_related("tick", "tick__by")  # type: ignore[misc]  # the plugin knows no filtered relation
    )
    return [TickedItem(item, getattr(item, "tick", None)) for item in items]
