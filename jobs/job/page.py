"""The rows of one job: each kind is read once, in one query, and only if it is asked for."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Any, TypeVar, cast

from django.db import connection, models
from django.db.models import Count, F, Max, Sum, Value

from jobs.job import registry
from jobs.job.by_job import group_by_job
from jobs.job.compiled import CompiledQuery, compile_query, fill_in, read_rows
from jobs.models import Job
from workshop.models import StaffMember

M = TypeVar("M", bound=models.Model)
Stamps = dict[str, tuple[Any, ...]]  # by label of the model: row count, highest key, sum of versions

STAFF = StaffMember.history.model._meta.label_lower  # names of people are in every section
OTHER_JOBS = "other jobs of the bike"
THE_JOB, THE_BIKE, THE_NUMBER = -1, -2, "the number"  # placeholders in the queries that are compiled once


@dataclass(frozen=True)
class Rows:
    """One kind of rows that belong to a job.

    Attributes
    ----------
    to_job : str
        Lookup from the model to its job; empty for a list of the shop that every job shares.
    join : tuple of str
        Relations that are read with the rows.
    people : tuple of str
        Foreign keys to people, who are read once for all rows.
    defer : tuple of str
        Columns that are not read.
    link : callable, optional
        Receives the page and the rows, and sets relations to rows that the page holds already.
    changes : aggregate
        What differs after a row was changed, beside the row count and the highest key.
    carried_columns : tuple of str
        Columns that are read of the bike's other jobs, without their job; all if empty.
    off_page, off_timeline, off_sheet : str
        Why the job page, the timeline or the handover sheet shows none of these rows; empty if it does.
    """

    model: type[models.Model]
    to_job: str = "job"
    join: tuple[str, ...] = ()
    people: tuple[str, ...] = ()
    defer: tuple[str, ...] = ()
    link: "Callable[[JobPage, list[Any]], None] | None" = None
    changes: models.Aggregate = field(default_factory=lambda: Sum("version"))
    carried_columns: tuple[str, ...] = ()
    off_page: str = ""
    off_timeline: str = ""
    off_sheet: str = ""

    @cached_property
    def label(self) -> str:
        return model_label(self.model)

    @cached_property
    def carried_label(self) -> str:
        return f"{self.label} of other jobs"

    def queryset(self, job_pk: Any) -> "models.QuerySet[Any]":
        rows = self.model._default_manager.all()
        return rows.filter(**{self.to_job: job_pk}) if self.to_job else rows

    def carried_queryset(self, job_pk: Any, bike_pk: Any) -> "models.QuerySet[Any]":
        """Return the rows of the bike's other jobs."""
        rows = self.model._default_manager.filter(**{f"{self.to_job}__bike": bike_pk})
        return rows.exclude(**{self.to_job: job_pk})

    def joined(self, rows: "models.QuerySet[Any]", *more: str) -> "models.QuerySet[Any]":
        """Return rows with the relations and without the columns that are declared."""
        join = (*self.join, *more)
        rows = rows.select_related(*join) if join else rows
        return rows.defer(*self.defer) if self.defer else rows


@cache
def model_label(model: type[models.Model]) -> str:
    return model._meta.label_lower


class JobPage:
    """A job with its rows, as they were when each kind was first asked for.

    Parameters
    ----------
    stamps : dict, optional
        Of the job's rows, so that kinds without a row need no query.
    together : sequence of JobPage, optional
        This page and others: a kind that one of them asks for is read for all of them, in one query.
    """

    def __init__(self, job: Job, stamps: Stamps | None = None, together: "Sequence[JobPage]" = ()) -> None:
        self.job = job
        self._stamps = stamps
        self._together = together
        self._rows: dict[type[models.Model], list[Any]] = {}
        self._carried: dict[type[models.Model], list[Any]] = {}

    def rows(self, model: type[M]) -> list[M]:
        """Return the job's rows of a model, in the model's order."""
        if model not in self._rows:
            kind = registry.get_rows(model)
            for page, rows in _read_together(kind, self._together) or [(self, self._read(kind))]:
                page._rows[model] = page._linked(kind, rows)
        return cast("list[M]", self._rows[model])

    def _read(self, kind: Rows) -> list[Any]:
        if self._stamps is not None and kind.label not in self._stamps:
            return []
        return read_rows(kind.model, _rows_query(kind, connection.vendor), {THE_JOB: self.job.pk})

    def _linked(self, kind: Rows, rows: list[Any]) -> list[Any]:
        if not rows:
            return rows  # whoever they name need not be read
        for row in rows:
            if kind.to_job == "job":
                row.job = self.job
        for name in kind.people:
            link_to(rows, name, self.rows(StaffMember))
        if kind.link is not None:
            kind.link(self, rows)
        return rows

    def carried_rows(self, model: type[M]) -> list[M]:
        """Return the rows of a model from the bike's other jobs, each with its job, in the model's order."""
        if model not in self._carried:
            self._carried[model] = self._read_carried(registry.get_rows(model))
        return cast("list[M]", self._carried[model])

    def _read_carried(self, kind: Rows) -> list[Any]:
        if self._stamps is not None and kind.carried_label not in self._stamps:
            return []
        rows = kind.carried_queryset(self.job.pk, self.job.bike_id)
        if kind.carried_columns:
            return list(rows.only(*kind.carried_columns))
        return list(kind.joined(rows, kind.to_job))

    def has(self, model: type[models.Model]) -> bool:
        """Return True if the job has a row of a model, without reading them if that is known."""
        if self._stamps is None or model in self._rows:
            return bool(self.rows(model))
        return model_label(model) in self._stamps

    def read_all(self) -> "JobPage":
        """Read every kind now, so that all of them come from one transaction."""
        for kind in registry.all_rows():
            self.rows(kind.model)
        for kind in registry.carried_rows():
            self.carried_rows(kind.model)
        return self

    def section_stamps(self, record: registry.JobRecord) -> list[tuple[Any, ...] | None]:
        """Return what tells the present rows of a record's section from any other."""
        stamps = self._stamps or {}
        present = [(model_label(model) in stamps,) for model in record.needs_any]
        carried = [registry.get_rows(model).carried_label for model in record.carries]
        carried += [OTHER_JOBS] if carried else []
        labels = (*map(model_label, record.reads), STAFF, *carried)
        return [*(stamps.get(label) for label in labels), *present]

    @property
    def models_read(self) -> set[type[models.Model]]:
        return set(self._rows)

    @property
    def models_carried(self) -> set[type[models.Model]]:
        return set(self._carried)


def get_job(number: str) -> Job:
    """Return the job with its customer, bike and engine; raises Job.DoesNotExist."""
    found = read_rows(Job, _job_query(connection.vendor), {THE_NUMBER: number})
    if not found:
        raise Job.DoesNotExist
    return found[0]


@cache
def _job_query(vendor: str) -> CompiledQuery:
    jobs = Job.objects.select_related("customer", "bike__engine_spec")
    return compile_query(jobs.filter(number=THE_NUMBER))


@cache
def _rows_query(kind: Rows, vendor: str) -> CompiledQuery:
    return compile_query(kind.joined(kind.queryset(THE_JOB)))


def _read_together(kind: Rows, pages: Sequence[JobPage]) -> list[tuple[JobPage, list[Any]]]:
    """Return the rows of each page, from one query."""
    if not pages:
        return []
    rows = kind.joined(kind.model._default_manager.all())
    if not kind.to_job:
        shared = list(rows)
        return [(page, shared) for page in pages]
    rows = rows.filter(**{f"{kind.to_job}__in": [page.job.pk for page in pages]})
    of_jobs = group_by_job((row.of_job, row) for row in rows.annotate(of_job=F(kind.to_job)))
    return [(page, of_jobs[page.job.pk]) for page in pages]


def load_pages(jobs: Iterable[Job]) -> list[JobPage]:
    """Return the pages of several jobs, whose rows are read together."""
    pages: list[JobPage] = []
    pages.extend(JobPage(job, together=pages) for job in jobs)
    return pages


def load_page(job: Job) -> JobPage:
    """Return the page of a job whose empty kinds are known."""
    return JobPage(job, read_stamps(job))


def read_stamps(job: Job) -> Stamps:
    """Return what tells the present rows of a job from any other, in one query; empty kinds are left out.

    Rows that other jobs of the bike left on it have stamps of their own.

    Versions only grow and keys are never used again, so equal stamps mean equal rows.
    """
    sql, params = _stamps_query(connection.vendor)
    with connection.cursor() as cursor:
        cursor.execute(sql, fill_in(params, {THE_JOB: job.pk, THE_BIKE: job.bike_id}))
        return {label: (count, *stamp) for label, count, *stamp in cursor.fetchall() if count}


@cache
def _stamps_query(vendor: str) -> tuple[str, tuple[Any, ...]]:
    # Compiling a union of twenty queries takes longer than running it, so it is done once.
    kinds = [*registry.all_rows(), *(shared for record in registry.records() for shared in record.shared)]
    queries = [_stamp_query(kind, kind.label, kind.queryset(THE_JOB)) for kind in kinds]
    queries += [
        _stamp_query(kind, kind.carried_label, kind.carried_queryset(THE_JOB, THE_BIKE))
        for kind in registry.carried_rows()
    ]
    jobs = Rows(Job, "")
    others = Job.objects.filter(bike=THE_BIKE).exclude(pk=THE_JOB)
    queries.append(_stamp_query(jobs, OTHER_JOBS, others))
    return queries[0].union(*queries[1:], all=True).query.sql_with_params()


def _stamp_query(kind: Rows, name: str, rows: "models.QuerySet[Any]") -> "models.QuerySet[Any, Any]":
    label = Value(name, output_field=models.CharField())
    labelled = rows.order_by().annotate(stamp_of=label).values("stamp_of")
    return labelled.annotate(stamp_count=Count("pk"), stamp_last=Max("pk"), stamp_changes=kind.changes)


def link_to(rows: Iterable[Any], name: str, targets: Iterable[models.Model]) -> None:
    """Point the foreign key of rows at records that were read already."""
    by_pk = {target.pk: target for target in targets}
    for row in rows:
        target = by_pk.get(getattr(row, f"{name}_id"))
        if target is not None:
            setattr(row, name, target)
