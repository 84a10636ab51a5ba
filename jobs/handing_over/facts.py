"""Handovers of a job on the handover sheet and in the history of a bike."""

from dataclasses import dataclass, field, replace

from jobs.job.by_job import ByJob, group_by_job
from jobs.job.json_values import moment
from jobs.job.open_points import translate_open_point
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.models import Handover
from workshop.models import Bike, ShopProfile


@dataclass(frozen=True)
class HandoverFacts:
    at: str
    by: str
    handed_to: str
    informed_person: str
    not_told: bool  # the customer was to be told about road use and was not
    open_points: list[str] = field(default_factory=list)
    override_reason: str = ""


def handover_facts(handover: Handover) -> HandoverFacts:
    return HandoverFacts(
        at=moment(handover.at),
        by=str(handover.by),
        handed_to=handover.handed_to,
        informed_person=handover.informed_person,
        not_told=handover.informed == Handover.Informed.NOT_TOLD,
        open_points=list(handover.open_points),
        override_reason=handover.override_reason,
    )


def job_handovers(results: JobResults) -> list[HandoverFacts]:
    """Return every time that the bike was handed over on this job."""
    found = [handover_facts(handover) for handover in results.rows(Handover)]
    return [
        replace(facts, open_points=[translate_open_point(point) for point in facts.open_points])
        for facts in found
    ]


def open_when_handed_over(results: JobResults) -> list[str]:
    """Return what was open when the bike last left, which names nobody."""
    handovers = results.rows(Handover)
    return list(handovers[-1].open_points) if handovers else []


def open_points_by_job(bike: Bike, shop: ShopProfile) -> ByJob:
    """Return what was open when a bike left, by the key of the job: without people, like its history."""
    handovers = Handover.objects.filter(job__bike=bike)
    return group_by_job((handover.job_id, point) for handover in handovers for point in handover.open_points)


HANDOVERS = Printed(
    "handovers",
    job_handovers,
    list[HandoverFacts],
    heading="Handover",
    title="handover",
    template="jobs/handing_over/_sheet.html",
    absent=[],
)
