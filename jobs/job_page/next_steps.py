"""What has to be done next on a job, by its stage and records, the most urgent first.

Today and the job page show the first of these steps; those of the sheet come last (``reports``).
"""

from collections.abc import Iterator
from datetime import datetime

from django.urls import reverse
from django.utils import timezone

from jobs.checklists.sources import READS as CHECK_READS
from jobs.checklists.ticks import JobChecklist, List, job_checklists
from jobs.clearances.accepted_plans import is_awaiting_as_left
from jobs.clearances.before_after import clearances_before_after
from jobs.job.next_steps import JobStep, names_valve_work
from jobs.job.registry import collect
from jobs.job.results import JobResults
from jobs.job.sentences import counted
from jobs.models import (
    ClearanceReading,
    ClearanceSet,
    ContactEntry,
    Job,
    Run,
    ShimPlan,
    Stage,
    StageEntry,
    WorkItem,
)
from jobs.work_items.open_work import open_work
from jobs.work_items.totals import work_total
from workshop.models import Role
from workshop.records.phone import dialled

# Models that the steps below are found from, beside the job itself.
READS = (
    WorkItem,
    ClearanceSet,
    ClearanceReading,
    ShimPlan,
    Run,
    StageEntry,
    ContactEntry,
    *CHECK_READS,
)

DESK, MECHANIC, TUNER = (Role.DESK,), (Role.MECHANIC,), (Role.TUNER,)
WORKSHOP = (Role.MECHANIC, Role.TUNER)
EVERYONE = (*WORKSHOP, Role.DESK)
RESUMED = (Stage.BOOKED, Stage.RECEIVED, Stage.BENCH, Stage.ROLLER, Stage.READY)


def next_step(results: JobResults) -> JobStep | None:
    """Return the one step that comes next; None for a closed job."""
    return next(collect(results, "next_steps"), None)


def next_steps(results: JobResults) -> Iterator[JobStep]:
    """Yield the steps up to the stage Ready; those after it need the sheet."""
    job = results.job
    if not job.is_open:
        return
    if job.received_at is None and job.stage != Stage.WAITING:
        yield JobStep("Check in the bike", DESK, address("job-receive", job), icon="bike")
        return
    if results.get(work_total).over is not None:
        yield JobStep("Ask about the customer's limit", DESK, address("job-edit", job), icon="phone")
    if job.stage == Stage.WAITING:
        yield waiting_step(results)
        return
    yield from valve_steps(results)
    yield from dyno_steps(results)
    if job.stage == Stage.RECEIVED:
        yield JobStep("Move to the bench", EVERYONE, stage=Stage.BENCH, icon="wrench")
    if left := results.get(open_work):
        label = f"Tick agreed work: {counted(len(left), 'item')}"
        yield JobStep(label, EVERYONE, address("work-items", job), icon="check")
    yield from (check_step(results, checklist) for checklist in open_lists(results, List.BEFORE_HANDOVER))
    for checklist in results.get(job_checklists):
        if checklist.outdated:
            label = f"Tick again before handover: {counted(checklist.outdated, 'check')}"
            yield JobStep(label, WORKSHOP, address("checks", job), icon="redo")
    if job.stage != Stage.READY:
        yield JobStep("Move to Ready", EVERYONE, stage=Stage.READY, icon="check")


def waiting_step(results: JobResults) -> JobStep:
    """Return how the waiting ends: the job goes back to the stage at which it was before."""
    waits_for, back = results.job.waiting_for, stage_before(results)
    if waits_for == Job.WaitingFor.PARTS:
        return JobStep("Parts arrived", EVERYONE, stage=back, icon="part")
    if waits_for == Job.WaitingFor.DECISION:
        return JobStep("Decision made", (Role.DESK, *WORKSHOP), stage=back, icon="check")
    if contacts_at_stage(results):
        return JobStep("Customer answered", (Role.DESK, *WORKSHOP), stage=back, icon="check")
    return contact_step(results.job, "Ask the customer")


def valve_steps(results: JobResults) -> Iterator[JobStep]:
    job, sets = results.job, results.rows(ClearanceSet)
    if not sets:
        if job.stage == Stage.BENCH and job.bike.engine_spec and is_valve_work_wanted(results):
            url = reverse("clearances-new", args=[job, ClearanceSet.When.AS_FOUND])
            yield JobStep("Measure valves", MECHANIC, url, icon="feeler")
        return
    if is_awaiting_as_left(sets):
        url = reverse("clearances-new", args=[job, ClearanceSet.When.AS_LEFT])
        yield JobStep("Measure valves as left", MECHANIC, url, icon="feeler")
    elif (history := results.get(clearances_before_after)) and history.unresolved:
        label = f"Adjust {counted(len(history.unresolved), 'valve')}"
        yield JobStep(label, MECHANIC, reverse("clearances", args=[sets[-1].pk]), icon="feeler")
    yield from (check_step(results, checklist) for checklist in open_lists(results, List.AFTER_VALVES))


def is_valve_work_wanted(results: JobResults) -> bool:
    wanted = [results.job.brief, *(item.description for item in results.rows(WorkItem) if not item.done)]
    return any(map(names_valve_work, wanted))


def dyno_steps(results: JobResults) -> Iterator[JobStep]:
    job, runs = results.job, results.rows(Run)
    unread = [run for run in runs if run.status == Run.Status.TO_NAME and not run.set_aside]
    if unread:
        label = f"Confirm {counted(len(unread), 'run file')}"
        yield JobStep(label, TUNER, reverse("run", args=[unread[0].pk]), icon="table")
    if job.stage == Stage.ROLLER:
        yield from (check_step(results, checklist) for checklist in open_lists(results, List.BEFORE_ROLLER))
        if not runs:
            yield JobStep("Upload runs", TUNER, address("run-attach", job), icon="upload")


def open_lists(results: JobResults, kind: List) -> list[JobChecklist]:
    """Return the present lists of a kind with open checks; that before the dyno is needed at its stage."""
    return [
        checklist
        for checklist in results.get(job_checklists)
        if checklist.key == kind and checklist.open and not checklist.is_former
        if checklist.needed or kind == List.BEFORE_ROLLER
    ]


def check_step(results: JobResults, checklist: JobChecklist) -> JobStep:
    label = f"{checklist.short_title}: {counted(checklist.open, 'check')}"
    url = f"{address('checks', results.job)}#{checklist.key}-title"
    roles = WORKSHOP[::-1] if checklist.key == List.BEFORE_ROLLER else WORKSHOP
    return JobStep(label, roles, url, icon="check")


def announcing_steps(results: JobResults) -> Iterator[JobStep]:
    """Yield that the customer has to be told that the bike is ready; on the due day they come as agreed."""
    if not called_at(results) and not is_due_later_today(results.job):
        yield contact_step(results.job, "Tell the customer")


def is_due_later_today(job: Job) -> bool:
    at = job.promised_at
    return at is not None and at >= timezone.now() and timezone.localdate(at) == timezone.localdate()


def contact_step(job: Job, label: str) -> JobStep:
    """Return a call; without a phone number, the diary, in which a message is recorded."""
    if phone := job.customer.phone:
        return JobStep("Call the customer", DESK, f"tel:{dialled(phone)}", icon="phone")
    return JobStep(label, DESK, f"{job.get_absolute_url()}#diary", icon="mail")


def called_at(results: JobResults) -> datetime | None:
    """Return when the shop last called or wrote to the customer, if that was at the job's present stage."""
    said, out = contacts_at_stage(results), ContactEntry.Direction.OUT
    return max((entry.said_at for entry in said if entry.direction == out), default=None)


def contacts_at_stage(results: JobResults) -> list[ContactEntry]:
    """Return what shop and customer have said to each other since the job came to its present stage."""
    stages = results.rows(StageEntry)
    said = [entry for entry in results.rows(ContactEntry) if entry.direction]
    return [entry for entry in said if stages and entry.said_at >= stages[-1].at]


def stage_before(results: JobResults) -> Stage:
    """Return the stage at which a waiting job was before; a bike that is here is not only booked."""
    before = [entry.stage for entry in results.rows(StageEntry) if entry.stage in RESUMED]
    stage = Stage(before[-1]) if before else Stage.BOOKED
    return Stage.RECEIVED if stage == Stage.BOOKED and results.job.received_at else stage


def address(name: str, job: Job) -> str:
    return reverse(name, args=[job.number])
