"""Parts on the handover sheet."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.job.by_job import ByJob, group_by_job
from jobs.job.json_values import moment, number
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.job.sentences import listed
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
        race = _("%(part)s (race use only)")
        names = [race % {"part": part.name} if part.race_only else part.name for part in parts]
        text = ngettext("%(count)s part fitted: %(parts)s", "%(count)s parts fitted: %(parts)s", len(parts))
        yield text % {"count": len(parts), "parts": listed(names)}


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
