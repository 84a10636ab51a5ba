"""What each kind of record contributes to a job, registered once by its package.

``jobs.records`` lists the packages; ``reports`` adds its own. Page, timeline, snapshot, sheet, documents
and notices walk this registry in the printed order.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db import models

if TYPE_CHECKING:
    from jobs.job.event import Event
    from jobs.job.next_steps import Blocker, JobStep
    from jobs.job.page import Rows
    from jobs.job.printed import Printed
    from jobs.job.results import JobResults
    from jobs.job.road_use import RoadCause
    from jobs.job.section import Section
    from workshop.models import Bike, ShopProfile


@dataclass(frozen=True)
class BikeHistory:
    """What a record adds to the printed history of a bike.

    Attributes
    ----------
    rows : callable
        Return the facts of each job of a bike, by the key of the job, with one query a model.
    template : str
        Prints those of one job, which it finds as ``rows``.
    """

    rows: "Callable[[Bike, ShopProfile], Mapping[int, Sequence[Any]]]"
    template: str


@dataclass(frozen=True)
class Export:
    """How the rows of a record are exported with their job.

    Attributes
    ----------
    column_names : mapping of str to str
        Column by name of field, if the field's own name lacks its unit.
    money : set of str
        Fields in the shop's currency.
    left_out : tuple of model
        Rows that are no record, such as locks.
    files : mapping of str to callable
        Further tables by name of file, each made from the rows by model.
    """

    column_names: Mapping[str, str] = field(default_factory=dict)
    money: frozenset[str] = frozenset()
    left_out: tuple[type[models.Model], ...] = ()
    files: Mapping[str, Callable[[Mapping[type[models.Model], Sequence[Any]]], str]] = field(
        default_factory=dict
    )


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
    made_from : mapping of model to callable
        Models of which the section only needs what the function makes of their rows: it is made again only
        if that has changed.
    carries : tuple of model
        Models whose rows of the bike's other jobs section or road-use causes are made from.
    section : callable, optional
        Build the section of the job page.
    events : callable, optional
        List what happened to the bike.
    blockers : callable, optional
        List what blocks the handover sheet.
    next_steps : callable, optional
        List what has to be done next, the most urgent first.
    road_causes, cautions : callable, optional
        List what on the bike may affect road use, from all its jobs, and what the rider has to watch.
    looked_at : str
        What of the record was searched for causes, as the notice names it.
    printed : Printed, optional
        Its section of the handover sheet.
    done : callable, optional
        List what was done, a sentence each.
    bike_history : BikeHistory, optional
        What it adds to the printed history of the bike.
    export : Export
        How its rows are exported.
    """

    key: str
    rows: "tuple[Rows, ...]" = ()
    shared: "tuple[Rows, ...]" = ()
    reads: tuple[type[models.Model], ...] = ()
    needs_any: tuple[type[models.Model], ...] = ()
    made_from: "Mapping[type[models.Model], Callable[[JobResults], object]]" = field(default_factory=dict)
    carries: tuple[type[models.Model], ...] = ()
    section: "Callable[[JobResults], Section] | None" = None
    events: "Callable[[JobResults], Iterable[Event]] | None" = None
    blockers: "Callable[[JobResults], Iterable[Blocker]] | None" = None
    next_steps: "Callable[[JobResults], Iterable[JobStep]] | None" = None
    road_causes: "Callable[[JobResults], Iterable[RoadCause]] | None" = None
    looked_at: str = ""
    cautions: "Callable[[JobResults], Iterable[str]] | None" = None
    printed: "Printed[Any] | None" = None
    done: "Callable[[JobResults], Iterable[str]] | None" = None
    bike_history: BikeHistory | None = None
    export: Export = field(default_factory=Export)


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


def carried_rows() -> "list[Rows]":
    """Return every kind of rows that is also read from the bike's other jobs."""
    models_carried = dict.fromkeys(model for record in records() for model in record.carries)
    return [_rows[model] for model in models_carried]


def get_rows(model: type[models.Model]) -> "Rows":
    """Return how the rows of a model are read; raises KeyError if no record declares it."""
    return _rows[model]


def collect(results: "JobResults", contribution: str) -> "Iterator[Any]":
    """Yield what every record contributes, such as its events, in the printed order."""
    for record in records():
        contribute = getattr(record, contribution)
        if contribute is not None:
            yield from contribute(results)


def printed_records() -> "list[Printed[Any]]":
    """Return what is printed on the handover sheet, in the printed order."""
    return [record.printed for record in records() if record.printed is not None]
