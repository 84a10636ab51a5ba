"""What each kind of record contributes to a job, registered once by its package.

``jobs.records`` lists the packages; ``reports`` adds its own. Page, timeline, snapshot, sheet, documents
and notices walk this registry in the printed order.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import models

if TYPE_CHECKING:
    from jobs.job.event import Event
    from jobs.job.page import Rows
    from jobs.job.results import JobResults
    from jobs.job.section import Section


@dataclass(frozen=True)
class JobRecord:
    """What one kind of record contributes to a job.

    Attributes
    ----------
    key : str
        Name of the package, of the section and of its part of the snapshot.
    rows : tuple of Rows
        The rows that belong to a job.
    shared : tuple of Rows
        Lists of the shop that the rows name, such as the tune change types.
    reads : tuple of model
        Every model whose rows the section is made from.
    needs_any : tuple of model
        Models of which the section only needs to know whether the job has any.
    section : callable, optional
        Build the section of the job page.
    events : callable, optional
        List what happened to the bike.
    road_causes, cautions : callable, optional
        List what may affect road use, and what the rider has to watch.
    """

    key: str
    rows: "tuple[Rows, ...]" = ()
    shared: "tuple[Rows, ...]" = ()
    reads: tuple[type[models.Model], ...] = ()
    needs_any: tuple[type[models.Model], ...] = ()
    section: "Callable[[JobResults], Section] | None" = None
    events: "Callable[[JobResults], Iterable[Event]] | None" = None
    road_causes: "Callable[[JobResults], Iterable[str]] | None" = None
    cautions: "Callable[[JobResults], Iterable[str]] | None" = None


_records: dict[str, JobRecord] = {}
_rows: "dict[type[models.Model], Rows]" = {}


def register(record: JobRecord) -> None:
    """Add a record after those registered before it; registering it again changes nothing."""
    _records.setdefault(record.key, record)
    _rows.update((rows.model, rows) for rows in record.rows)


def records() -> tuple[JobRecord, ...]:
    """Return all records in the printed order."""
    return tuple(_records.values())


def all_rows() -> "list[Rows]":
    """Return every kind of rows."""
    return list(_rows.values())


def get_rows(model: type[models.Model]) -> "Rows":
    """Return how the rows of a model are read; raises KeyError if no record declares it."""
    return _rows[model]


def collect(results: "JobResults", contribution: str) -> "Iterator[Any]":
    """Yield what every record contributes, such as its events, in the printed order."""
    for record in records():
        contribute = getattr(record, contribution)
        if contribute is not None:
            yield from contribute(results)
