"""Checklists of a job: what is ticked, what is open, and which lists the job needs."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from jobs.checklists.questions import contradictions, questions, runs_in_session
from jobs.checklists.sessions import current_session, number_of
from jobs.job.results import JobResults
from jobs.models import Check, CheckItem, ClearanceReading, DynoSession, Job
from workshop.models import StaffMember

List = CheckItem.List

CAUTIONS = {
    List.AFTER_VALVES: (
        "Before the engine is started",
        [
            "Measure and set cold; turn the engine by hand in its running direction only.",
            "Turn it over twice by hand before starting: if it stops hard, find out why.",
        ],
    ),
    List.BEFORE_ROLLER: (
        "A running dyno can maim and kill",
        [
            "Keep hands, hair and clothes off roller, tyre and chain; nobody stands behind the bike.",
            "Straps hold the bike forward and down; look at them again after the first run.",
            "Exhaust gas holds carbon monoxide: extraction on, doors and alarm as local rules ask.",
            "Ears covered; extinguisher within reach; fuel lines dry.",
            "The tyre's speed symbol and age allow the speed that the run reaches.",
        ],
    ),
    List.BEFORE_HANDOVER: (
        "Before the bike leaves",
        ["Whoever rides it next must know what was changed and what was not tested."],
    ),
}


@dataclass(frozen=True)
class TickedItem:
    """A check of a list and its answer, if there is one, with what is questioned about it."""

    item: CheckItem
    check: Check | None
    questions: list[str]


@dataclass(frozen=True)
class JobChecklist:
    """One checklist of a job; the list before the dyno comes once for each session."""

    key: str
    title: str
    items: list[TickedItem]
    needed: bool
    session: DynoSession | None = None
    is_former: bool = False

    @property
    def open(self) -> int:
        """Return how many checks are neither ticked nor said not to apply."""
        return sum(item.check is None for item in self.items)

    @property
    def ticked(self) -> int:
        return len(self.items) - self.open - self.not_applicable

    @property
    def not_applicable(self) -> int:
        return sum(item.check is not None and item.check.not_applicable for item in self.items)

    @property
    def questioned(self) -> int:
        """Return how many ticks are questioned and have no reason."""
        return sum(bool(item.check and item.questions and not item.check.note) for item in self.items)

    @property
    def is_answered(self) -> bool:
        """Return True if a check of the list is answered."""
        return self.open < len(self.items)

    @property
    def session_number(self) -> int:
        return number_of(self.session)

    @property
    def caution(self) -> tuple[str, list[str]]:
        return CAUTIONS[List(self.key)]


def job_checklists(results: JobResults) -> list[JobChecklist]:
    """Return the lists that have items; a list is needed if the job has the work it belongs to.

    Former sessions on the dyno stand before the present one; those without a run or an answer are left out.
    """
    needed = {List.AFTER_VALVES: results.page.has(ClearanceReading), List.BEFORE_HANDOVER: True}
    lists = []
    for kind in List:
        if kind == List.BEFORE_ROLLER:
            lists += session_checklists(results)
        else:
            lists.append(JobChecklist(kind.value, kind.label, ticked_items(results, kind), needed[kind]))
    return [checklist for checklist in lists if checklist.items]


def session_checklists(results: JobResults) -> list[JobChecklist]:
    """Return the list before running on the dyno, once for each session."""
    kind = List.BEFORE_ROLLER
    sessions = [None, *results.rows(DynoSession)]
    lists = [
        JobChecklist(
            key=kind.value,
            title=f"{kind.label}, session {number_of(session)}" if len(sessions) > 1 else kind.label,
            items=ticked_items(results, kind, session),
            needed=bool(runs_in_session(results, session)),
            session=session,
            is_former=session is not sessions[-1],
        )
        for session in sessions
    ]
    return [
        checklist
        for checklist in lists
        if not checklist.is_former or checklist.needed or checklist.is_answered
    ]


def ticked_items(results: JobResults, kind: List, session: DynoSession | None = None) -> list[TickedItem]:
    """List every item of a list that is still used, or was answered on this job."""
    pk = session.pk if session else None
    checks = {check.item_id: check for check in results.rows(Check) if check.session_id == pk}
    items = [item for item in results.rows(CheckItem) if item.list == kind]
    return [
        ticked_item(results, item, checks.get(item.pk))
        for item in items
        if not item.retired or item.pk in checks
    ]


def ticked_item(results: JobResults, item: CheckItem, check: Check | None) -> TickedItem:
    return TickedItem(item, check, questions(results, check) if check else contradictions(results, item))


def session_for(item: CheckItem, job: Job) -> DynoSession | None:
    """Return the session that an answer given now belongs to; None for the first, and for no session."""
    return current_session(job) if item.list == List.BEFORE_ROLLER else None


@transaction.atomic
def set_tick(*, job: Job, item: CheckItem, by: StaffMember, ticked: bool, at: datetime | None = None) -> None:
    """Tick an item or remove its tick; the first person to tick it stays on record.

    ``at`` is when that is done; by default now.
    """
    session, at = session_for(item, job), at or timezone.now()
    if ticked:
        Check.objects.get_or_create(
            job=job, item=item, session=session, defaults={"by": by, "at": at, "recorded_at": at}
        )
        return
    for check in Check.objects.filter(job=job, item=item, session=session):
        check.delete()
