"""Checklists on the handover sheet."""

from dataclasses import dataclass

from jobs.checklists.ticks import job_checklists
from jobs.job.json_values import moment
from jobs.job.printed import Printed
from jobs.job.results import JobResults


@dataclass(frozen=True)
class CheckFacts:
    text: str
    by: str
    at: str | None
    note: str


@dataclass(frozen=True)
class ChecklistFacts:
    title: str
    items: list[CheckFacts]
    open: int


def check_facts(results: JobResults) -> list[ChecklistFacts]:
    """Return the checklists that the job needed or that someone ticked."""
    return [
        ChecklistFacts(
            title=checklist.title,
            items=[
                CheckFacts(
                    text=item.item.text,
                    by=str(item.check.by) if item.check else "",
                    at=moment(item.check.at) if item.check else None,
                    note=item.check.note if item.check else "",
                )
                for item in checklist.items
            ],
            open=checklist.open,
        )
        for checklist in results.get(job_checklists)
        if checklist.needed or checklist.ticked
    ]


CHECKS = Printed(
    "checks",
    check_facts,
    list[ChecklistFacts],
    heading="Checks",
    title="checks",
    template="jobs/checklists/_sheet.html",
    absent=[],
)
