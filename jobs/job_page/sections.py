"""The sections of the job page: a line each, and a body that is rendered only when it is opened."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from django.db.models import Model
from django.template.loader import render_to_string

from jobs.job.registry import JobRecord, records
from jobs.job.results import JobResults
from jobs.job.section import Section
from jobs.job_page.stored import reader, stored, token_mark
from workshop.models import Role


@dataclass(frozen=True)
class SectionLine:
    """The line of a section in the overview, as HTML: with its body to be asked for, or without one."""

    key: str
    title: str
    closed: str
    summary: str


def lines(results: JobResults) -> list[SectionLine]:
    """Return the lines of all sections in the printed order."""
    return [stored_line(record, results) for record in with_section()]


def stored_line(record: JobRecord, results: JobResults) -> SectionLine:
    """Return a line; it is made from rows and shop alone, never from the request or the time of day."""
    facts = facts_made_from(record, results)
    return stored(record, results, ("line", facts), partial(render_line, record, results))


def render_line(record: JobRecord, results: JobResults) -> SectionLine:
    section = make_section(record, results)
    context = {"section": section, "job": results.job}
    summary = render_to_string("jobs/job_page/_line.html", context)
    closed = render_to_string("jobs/job_page/_closed.html", {**context, "summary": summary})
    return SectionLine(section.key, section.title, closed, summary)


def stored_body(record: JobRecord, results: JobResults, roles: frozenset[Role]) -> str:
    """Return what opens below a line, as a holder of these roles sees it."""
    made_from = ("body", sorted(roles), facts_made_from(record, results))
    return stored(record, results, made_from, partial(render_body, record, results, roles))


def render_body(record: JobRecord, results: JobResults, roles: frozenset[Role]) -> str:
    section = make_section(record, results)
    context = {
        "job": results.job,
        "user": reader(roles),
        "shop": results.shop,
        "section": section,
        "csrf_token": token_mark(),
        **section.context(),
    }
    return render_to_string(section.template, context)


def make_section(record: JobRecord, results: JobResults) -> Section:
    assert record.section is not None
    return record.section(results)


def facts_made_from(record: JobRecord, results: JobResults) -> list[object]:
    """Return what a section needs of rows that it does not read whole, stored under those rows."""

    def fact(model: type[Model], make: Callable[[JobResults], object]) -> object:
        rows = JobRecord(f"{record.key} from {model.__name__}", reads=(model,))
        return results.keep(make, stored(rows, results, "", partial(make, results)))

    return [fact(model, make) for model, make in record.made_from.items()]


def with_section() -> Iterator[JobRecord]:
    return (record for record in records() if record.section)


def find_record(key: str) -> JobRecord | None:
    return next((record for record in with_section() if record.key == key), None)
