"""Checklists of a job: what is ticked, what is open, and which lists the job needs."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.checklists.questions import contradictions, later_change, questions, runs_in_session
from jobs.checklists.sessions import current_session, number_of
from jobs.job.open_points import SESSION_TITLE
from jobs.job.results import JobResults
from jobs.models import Check, CheckItem, ClearanceReading, DynoSession, Job
from workshop.models import StaffMember

List = CheckItem.List

CAUTIONS = {
    List.AFTER_VALVES: (
        "Before the engine is started",
        [
            "Measure and adjust a cold engine. Turn the engine by hand, in its running direction only.",
            "Turn it over twice by hand before starting. If you feel a hard stop, find out why.",
        ],
    ),
    List.BEFORE_ROLLER: (
        "A running dyno can maim and kill",
        [
            "Keep hands, hair and clothes away from roller, tyre and chain. Nobody stands behind the bike.",
            "Straps pull the bike forward and down. Check them again after the first run.",
            "Exhaust gas contains carbon monoxide: extraction on, doors and alarm as local rules require.",
            "Ears covered; extinguisher within reach; fuel lines dry.",
            "The tyre's speed rating and age allow the speed of the run.",
        ],
    ),
    List.BEFORE_HANDOVER: (
        "Before the bike leaves",
        ["The next rider must know what was changed and what was not tested."],
    ),
}
SHORT_TITLES = {
    List.AFTER_VALVES: "After valve work",
    List.BEFORE_ROLLER: "Before the dyno",
    List.BEFORE_HANDOVER: "Before handover",
}


@dataclass(frozen=True)
class TickedItem:
    """A check of a list and its answer, if there is one, with what is questioned about it."""

    item: CheckItem
    check: Check | None
    questions: list[str]
    is_outdated: bool = False  # the bike was changed after it, and no reason says that this is right


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
    def answered(self) -> int:
        return len(self.items) - self.open

    @property
    def ticked(self) -> int:
        return self.answered - self.not_applicable

    @property
    def not_applicable(self) -> int:
        return sum(item.check is not None and item.check.not_applicable for item in self.items)

    @property
    def questioned(self) -> int:
        """Return how many ticks are questioned and have no reason."""
        return sum(bool(item.check and item.questions and not item.check.note) for item in self.items)

    @property
    def outdated(self) -> int:
        """Return how many ticks are older than a later change of the bike."""
        return sum(item.is_outdated for item in self.items)

    @property
    def is_answered(self) -> bool:
        """Return True if a check of the list is answered."""
        return self.open < len(self.items)

    @property
    def short_title(self) -> str:
        return SHORT_TITLES[List(self.key)]

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
            title=_(SESSION_TITLE) % {"list": _(kind.label), "number": number_of(session)}
            if len(sessions) > 1
            else _(kind.label),
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
    if check is None:
        return TickedItem(item, None, contradictions(results, item))
    is_outdated = not check.note and later_change(results, check) is not None
    return TickedItem(item, check, questions(results, check), is_outdated)


def session_for(item: CheckItem, job: Job) -> DynoSession | None:
    """Return the session that an answer given now belongs to; None for the first, and for no session."""
    return current_session(job) if item.list == List.BEFORE_ROLLER else None


@transaction.atomic
def set_tick(
    *,
    job: Job,
    item: CheckItem,
    by: StaffMember,
    ticked: bool,
    at: datetime | None = None,
    again: bool = False,
) -> None:
    """Tick an item or remove its tick; the first person to tick it stays on record.

    ``at`` is when that is done; by default now. ``again`` replaces a tick, which stays in the history.
    """
    session, at = session_for(item, job), at or timezone.now()
    if again:
        for check in Check.objects.filter(job=job, item=item, session=session):
            check.delete()
    if ticked:
        Check.objects.get_or_create(
            job=job, item=item, session=session, defaults={"by": by, "at": at, "recorded_at": at}
        )
        return
    for check in Check.objects.filter(job=job, item=item, session=session):
        check.delete()
