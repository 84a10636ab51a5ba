"""Other changes to the bike on the handover sheet."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.job.by_job import ByJob, group_by_job
from jobs.job.json_values import moment
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.models import BikeChange
from workshop.models import Bike, ShopProfile


@dataclass(frozen=True)
class BikeChangeFacts:
    kind: str
    description: str
    at: str | None
    by: str
    approval: str = ""


def bike_change_facts(change: BikeChange) -> BikeChangeFacts:
    return BikeChangeFacts(
        kind=str(change.kind),
        description=change.description,
        at=moment(change.at),
        by=str(change.by),
        approval=change.approval,
    )


def printed_changes(results: JobResults) -> list[BikeChangeFacts]:
    return [bike_change_facts(change) for change in results.rows(BikeChange)]


def changes_done(results: JobResults) -> list[str]:
    return [f"{_(change.kind)}: {change.description}" for change in results.get(printed_changes)]


def changes_by_job(bike: Bike, shop: ShopProfile) -> ByJob:
    """Return the other changes of every job of a bike."""
    changes = BikeChange.objects.filter(job__bike=bike).select_related("kind")
    return group_by_job(
        (
            change.job_id,
            {"kind": str(change.kind), "description": change.description, "at": moment(change.at)},
        )
        for change in changes
    )


BIKE_CHANGES = Printed(
    "bike_changes",
    printed_changes,
    list[BikeChangeFacts],
    heading="Other changes to the bike",
    title="other changes",
    template="jobs/timeline/_sheet.html",
    absent=[],
)
