"""The day's jobs: booked, in the shop, waiting, overdue, ready."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, F, QuerySet

from jobs.job.stages import IN_SHOP
from jobs.models import Job, Stage

MAX_SHOWN = 25


@dataclass(frozen=True)
class StageGroup:
    """Jobs at the same stage, the most urgent first, and their total count."""

    key: str
    title: str
    jobs: list[Job]
    count: int
    nothing: str  # shown if the list is empty

    @property
    def more(self) -> int:
        return self.count - len(self.jobs)


NOTHING = {
    Stage.BOOKED: "Nothing is booked. Book a job when a customer calls.",
    Stage.RECEIVED: "No bike stands waiting for its first look.",
    Stage.BENCH: "Nothing is on the bench. Move a received job there when work on it begins.",
    Stage.ROLLER: "Nothing is on the roller.",
    Stage.WAITING: "Nothing waits for parts, a customer or a decision.",
    Stage.READY: "Nothing is ready yet. A job comes here when its work and checks are done.",
}


def list_most_urgent(jobs: "QuerySet[Job]", by: str = "promised_at") -> list[Job]:
    return list(jobs.order_by(F(by).asc(nulls_last=True), "pk")[:MAX_SHOWN])


def group(stage: Stage, count: int) -> StageGroup:
    by = "booked_for" if stage == Stage.BOOKED else "promised_at"
    jobs = list_most_urgent(Job.objects.for_list().filter(stage=stage), by) if count else []
    return StageGroup(stage.value, stage.label, jobs, count, NOTHING[stage])


@dataclass(frozen=True)
class Board:
    late: StageGroup
    groups: list[StageGroup]

    @property
    def is_empty(self) -> bool:
        return not any(group.count for group in self.groups)


def day(stages: Iterable[Stage] = (Stage.BOOKED, *IN_SHOP)) -> Board:
    """Return all open jobs by stage, and those overdue."""
    counted = Job.objects.open().order_by().values_list("stage").annotate(Count("pk"))
    counts = dict(counted)
    # Sorted here: SQLite would walk every job ever promised, open or not, to have them in order.
    late = sorted(Job.objects.overdue().order_by().values_list("promised_at", "pk"))
    most_urgent = [pk for _, pk in late[:MAX_SHOWN]]
    late_jobs = list_most_urgent(Job.objects.for_list().filter(pk__in=most_urgent)) if late else []
    return Board(
        StageGroup("late", "promised and late", late_jobs, len(late), "Nothing is late."),
        [group(stage, counts.get(stage.value, 0)) for stage in stages],
    )
