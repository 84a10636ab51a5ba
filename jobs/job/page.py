"""The rows of one job: each kind is read once, in one query, and only if it is asked for."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cache
from typing import Any, TypeVar, cast

from django.db import connection, models
from django.db.models import Count, Max, Sum, Value

from jobs.job import registry
from jobs.models import Job
from workshop.models import StaffMember

M = TypeVar("M", bound=models.Model)
Stamps = dict[str, tuple[Any, ...]]  # by label of the model: row count, highest key, sum of versions

STAFF = StaffMember.history.model._meta.label_lower  # names of people are in every section
THE_JOB = -1  # placeholder of the job's key in the query that is compiled once


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
    off_page: str = ""
    off_timeline: str = ""
    off_sheet: str = ""

    @property
    def label(self) -> str:
        return model_label(self.model)

    def queryset(self, job_pk: Any) -> "models.QuerySet[Any]":
        rows = self.model._default_manager.all()
        return rows.filter(**{self.to_job: job_pk}) if self.to_job else rows


def model_label(model: type[models.Model]) -> str:
    return model._meta.label_lower


class JobPage:
    """A job with its rows, as they were when each kind was first asked for.

    Parameters
    ----------
    stamps : dict, optional
        Of the job's rows, so that kinds without a row need no query.
    """

    def __init__(self, job: Job, stamps: Stamps | None = None) -> None:
        self.job = job
        self._stamps = stamps
        self._rows: dict[type[models.Model], list[Any]] = {}

    def rows(self, model: type[M]) -> list[M]:
        """Return the job's rows of a model, in the model's order."""
        if model not in self._rows:
            self._rows[model] = self._read(registry.get_rows(model))
        return cast("list[M]", self._rows[model])

    def _read(self, kind: Rows) -> list[Any]:
        if self._stamps is not None and kind.label not in self._stamps:
            return []
        queryset = kind.queryset(self.job.pk)
        if kind.join:
            queryset = queryset.select_related(*kind.join)
        if kind.defer:
            queryset = queryset.defer(*kind.defer)
        rows = list(queryset)
        for row in rows:
            if kind.to_job == "job":
                row.job = self.job
        for name in kind.people:
            link_to(rows, name, self.rows(StaffMember))
        if kind.link is not None:
            kind.link(self, rows)
        return rows

    def has(self, model: type[models.Model]) -> bool:
        """Return True if the job has a row of a model, without reading them if that is known."""
        if self._stamps is None or model in self._rows:
            return bool(self.rows(model))
        return model_label(model) in self._stamps

    def read_all(self) -> "JobPage":
        """Read every kind now, so that all of them come from one transaction."""
        for kind in registry.all_rows():
            self.rows(kind.model)
        return self

    def section_stamps(self, record: registry.JobRecord) -> list[tuple[Any, ...] | None]:
        """Return what tells the present rows of a record's section from any other."""
        stamps = self._stamps or {}
        present = [(model_label(model) in stamps,) for model in record.needs_any]
        return [*(stamps.get(label) for label in (*map(model_label, record.reads), STAFF)), *present]

    @property
    def models_read(self) -> set[type[models.Model]]:
        return set(self._rows)


def get_job(number: str) -> Job:
    """Return the job with its customer, bike and engine; raises Job.DoesNotExist."""
    return Job.objects.select_related("customer", "bike__engine_spec").get(number=number)


def load_page(job: Job) -> JobPage:
    """Return the page of a job whose empty kinds are known."""
    return JobPage(job, read_stamps(job.pk))


def read_stamps(job_pk: int) -> Stamps:
    """Return what tells the present rows of a job from any other, in one query; empty kinds are left out.

    Versions only grow and keys are never used again, so equal stamps mean equal rows.
    """
    sql, params = _stamps_query(connection.vendor)
    with connection.cursor() as cursor:
        cursor.execute(sql, [job_pk if param == THE_JOB else param for param in params])
        return {label: (count, *stamp) for label, count, *stamp in cursor.fetchall() if count}


@cache
def _stamps_query(vendor: str) -> tuple[str, tuple[Any, ...]]:
    # Compiling a union of twenty queries takes longer than running it, so it is done once.
    kinds = [*registry.all_rows(), *(shared for record in registry.records() for shared in record.shared)]
    queries = [_stamp_query(kind) for kind in kinds]
    return queries[0].union(*queries[1:], all=True).query.sql_with_params()


def _stamp_query(kind: Rows) -> "models.QuerySet[Any, Any]":
    label = Value(kind.label, output_field=models.CharField())
    labelled = kind.queryset(THE_JOB).order_by().annotate(stamp_of=label).values("stamp_of")
    return labelled.annotate(stamp_count=Count("pk"), stamp_last=Max("pk"), stamp_changes=kind.changes)


def link_to(rows: Iterable[Any], name: str, targets: Iterable[models.Model]) -> None:
    """Point the foreign key of rows at records that were read already."""
    by_pk = {target.pk: target for target in targets}
    for row in rows:
        target = by_pk.get(getattr(row, f"{name}_id"))
        if target is not None:
            setattr(row, name, target)
