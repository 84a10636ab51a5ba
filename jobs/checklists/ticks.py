"""Checklists of a job: what is ticked, what is open, and which lists the job needs."""

from dataclasses import dataclass

from django.db import transaction

from jobs.job.results import JobResults
from jobs.models import Check, CheckItem, ClearanceReading, Job, Run
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
    """A check of a list and its tick, if it is ticked."""

    item: CheckItem
    check: Check | None


@dataclass(frozen=True)
class JobChecklist:
    """One checklist of a job."""

    key: str
    title: str
    items: list[TickedItem]
    needed: bool

    @property
    def open(self) -> int:
        return sum(item.check is None for item in self.items)

    @property
    def ticked(self) -> int:
        return len(self.items) - self.open

    @property
    def caution(self) -> tuple[str, list[str]]:
        return CAUTIONS[List(self.key)]


def job_checklists(results: JobResults) -> list[JobChecklist]:
    """Return the lists that have items; a list is needed if the job has the work it belongs to."""
    needed = {
        List.BEFORE_ROLLER: results.page.has(Run),
        List.AFTER_VALVES: results.page.has(ClearanceReading),
        List.BEFORE_HANDOVER: True,
    }
    items = ticked_items(results)
    lists = [
        JobChecklist(kind.value, kind.label, [item for item in items if item.item.list == kind], needed[kind])
        for kind in List
    ]
    return [checklist for checklist in lists if checklist.items]


def ticked_items(results: JobResults) -> list[TickedItem]:
    """List every item that is still used, or was ticked on this job."""
    ticks = {check.item_id: check for check in results.rows(Check)}
    return [
        TickedItem(item, ticks.get(item.pk))
        for item in results.rows(CheckItem)
        if not item.retired or item.pk in ticks
    ]


@transaction.atomic
def set_tick(*, job: Job, item: CheckItem, by: StaffMember, ticked: bool) -> None:
    """Tick an item or remove its tick; the first person to tick it stays on record."""
    if ticked:
        Check.objects.get_or_create(job=job, item=item, defaults={"by": by})
        return
    for check in Check.objects.filter(job=job, item=item):
        check.delete()
