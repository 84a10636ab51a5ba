"""Checklists on the handover sheet."""

from dataclasses import dataclass, field

from jobs.checklists.ticks import JobChecklist, TickedItem, job_checklists
from jobs.job.json_values import moment
from jobs.job.printed import Printed
from jobs.job.results import JobResults


@dataclass(frozen=True)
class CheckFacts:
    text: str
    by: str
    at: str | None
    note: str
    recorded_later_at: str | None = None
    not_applicable: bool = False
    questions: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class ChecklistFacts:
    title: str
    items: list[CheckFacts]
    open: int
    started_at: str | None = None
    started_by: str = ""


def check_facts(results: JobResults) -> list[ChecklistFacts]:
    """Return the checklists that the job needed or that someone answered."""
    return [
        checklist_facts(checklist)
        for checklist in results.get(job_checklists)
        if checklist.needed or checklist.is_answered
    ]


def checklist_facts(checklist: JobChecklist) -> ChecklistFacts:
    session = checklist.session
    return ChecklistFacts(
        title=checklist.title,
        items=[answer_facts(item) for item in checklist.items],
        open=checklist.open,
        started_at=moment(session.started_at) if session else None,
        started_by=str(session.by) if session else "",
    )


def answer_facts(item: TickedItem) -> CheckFacts:
    check = item.check
    if check is None:
        return CheckFacts(text=item.item.text, by="", at=None, note="")
    return CheckFacts(
        text=item.item.text,
        by=str(check.by),
        at=moment(check.at),
        note=check.note,
        recorded_later_at=moment(check.recorded_later_at),
        not_applicable=check.not_applicable,
        questions=item.questions,
    )


CHECKS = Printed(
    "checks",
    check_facts,
    list[ChecklistFacts],
    heading="Checks",
    title="checks",
    template="jobs/checklists/_sheet.html",
    absent=[],
)
