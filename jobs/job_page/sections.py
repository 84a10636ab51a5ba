"""The sections of the job page; one whose rows have not changed is not rendered again."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from hashlib import blake2b
from typing import TypeVar

from django.core.cache import caches
from django.db import connection
from django.db.models import Model
from django.template.loader import render_to_string

from jobs.job.registry import JobRecord, records
from jobs.job.results import JobResults
from jobs.job.section import State
from jobs.models import Slot, StageEntry, WorkPlace
from workshop.models import Role, StaffMember

T = TypeVar("T")
HEAD = JobRecord("head", reads=(StageEntry, Slot, WorkPlace))


@dataclass(frozen=True)
class RenderedSection:
    """A section as HTML, with its entry in the list of sections."""

    key: str
    title: str
    state: State
    reason: str
    html: str


def rendered_sections(results: JobResults, roles: frozenset[Role]) -> list[RenderedSection]:
    """Return the sections in the printed order, as a holder of these roles sees them.

    A section is made from rows, roles and shop alone, never from the request or the time of day, so it
    is stored under what it was made from. Within a transaction nothing is stored, since what that has
    written may still be undone.
    """
    return [
        stored(
            record,
            results,
            (sorted(roles), facts_made_from(record, results)),
            partial(render, record, results, roles),
        )
        for record in with_section()
    ]


def facts_made_from(record: JobRecord, results: JobResults) -> list[object]:
    """Return what a section needs of rows that it does not read whole, stored under those rows."""

    def fact(model: type[Model], make: Callable[[JobResults], object]) -> object:
        rows = JobRecord(f"{record.key} from {model.__name__}", reads=(model,))
        return results.keep(make, stored(rows, results, "", partial(make, results)))

    return [fact(model, make) for model, make in record.made_from.items()]


def stored(record: JobRecord, results: JobResults, made_from: object, make: Callable[[], T]) -> T:
    """Return what was made from the same rows before, or make it now."""
    if connection.in_atomic_block:
        return make()
    key = cache_key(record, results, made_from)
    value: T | None = caches["sections"].get(key)
    if value is None:
        value = make()
        caches["sections"].set(key, value)
    return value


def with_section() -> Iterator[JobRecord]:
    return (record for record in records() if record.section)


def render(record: JobRecord, results: JobResults, roles: frozenset[Role]) -> RenderedSection:
    assert record.section is not None
    section = record.section(results)
    context = {"job": results.job, "user": reader(roles), "shop": results.shop, "section": section}
    html = render_to_string("jobs/job_page/_section.html", context | section.context)
    return RenderedSection(section.key, section.title, section.state, section.reason, html)


def head_facts(results: JobResults, roles: frozenset[Role]) -> str:
    """Return the facts in the head of the page as HTML; a job that became late is another head."""
    made_from = (sorted(roles), results.job.is_late)
    return stored(HEAD, results, made_from, lambda: render_head(results, roles))


def render_head(results: JobResults, roles: frozenset[Role]) -> str:
    entries, job = results.rows(StageEntry), results.job
    job.mechanic, job.tuner = (results.get(people).get(pk or 0) for pk in (job.mechanic_id, job.tuner_id))
    context = {
        "job": job,
        "user": reader(roles),
        "stage_why": entries[-1].why if entries else "",
        "slots": sorted(results.rows(Slot), key=lambda slot: (slot.starts_at, slot.pk)),
    }
    return render_to_string("jobs/job_page/_head_facts.html", context)


def people(results: JobResults) -> dict[int, StaffMember]:
    return {person.pk: person for person in results.rows(StaffMember)}


def reader(roles: frozenset[Role]) -> StaffMember:
    return StaffMember(**{f"is_{role}": True for role in roles})


def cache_key(record: JobRecord, results: JobResults, made_from: object) -> str:
    job = results.job
    owners = (job, job.customer, job.bike, job.bike.engine_spec, results.shop)
    versions = [(row.pk, row.version) for row in owners if row is not None]
    everything = (record.key, versions, results.page.section_stamps(record), made_from)
    return blake2b(repr(everything).encode(), digest_size=20).hexdigest()
