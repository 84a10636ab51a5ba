"""Parts on the handover sheet."""

from collections.abc import Iterator
from dataclasses import dataclass

from jobs.job.by_job import ByJob, group_by_job
from jobs.job.json_values import moment, number
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.job.sentences import counted, listed
from jobs.models import Part
from workshop.models import Bike, ShopProfile


@dataclass(frozen=True)
class PartFacts:
    name: str
    maker: str
    number: str
    serial: str
    quantity: float | None
    fitted_at: str | None
    replaces: str
    race_only: bool
    changes: list[str]
    note: str
    approval: str = ""


def part_facts(part: Part) -> PartFacts:
    return PartFacts(
        name=part.name,
        maker=part.maker,
        number=part.part_number,
        serial=part.serial,
        quantity=number(part.quantity),
        fitted_at=moment(part.fitted_at),
        replaces=part.replaces,
        race_only=part.race_only,
        changes=part.changes,
        note=part.note,
        approval=part.approval,
    )


def printed_parts(results: JobResults) -> list[PartFacts]:
    return [part_facts(part) for part in results.rows(Part)]


def parts_done(results: JobResults) -> Iterator[str]:
    """Yield which parts were fitted."""
    parts = results.get(printed_parts)
    if parts:
        names = [f"{part.name} (race use only)" if part.race_only else part.name for part in parts]
        yield f"{counted(len(parts), 'part')} fitted: {listed(names)}"


def parts_by_job(bike: Bike, shop: ShopProfile) -> ByJob:
    """Return the parts of every job of a bike."""
    return group_by_job(
        (part.job_id, part_facts(part)) for part in Part.objects.filter(job__bike=bike).select_related("kind")
    )


PARTS = Printed(
    "parts",
    printed_parts,
    list[PartFacts],
    heading="Parts fitted",
    title="parts",
    template="jobs/parts/_sheet.html",
    absent=[],
)
