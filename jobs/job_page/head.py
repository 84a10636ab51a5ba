"""The head of the job page: bike, customer, due, limit, stages, the next step and what blocks the sheet."""

from dataclasses import dataclass
from datetime import datetime
from functools import partial

from django.template.loader import render_to_string

from jobs.job.next_steps import Blocker, JobStep
from jobs.job.registry import JobRecord, collect, records
from jobs.job.results import JobResults
from jobs.job_page.next_steps import READS as STEP_READS
from jobs.job_page.next_steps import is_due_later_today, next_step
from jobs.job_page.stored import reader, stored, token_mark
from jobs.models import Slot, Stage, StageEntry, WorkItem, WorkPlace
from jobs.work_items.totals import work_total
from workshop.models import Role, StaffMember

FACTS = JobRecord("head", reads=(Slot, WorkPlace, WorkItem))
MENU = JobRecord("menu")
STAGES = JobRecord("stages", reads=(StageEntry,))
# In their order; waiting comes in between, and a job is cancelled at any of them.
SHOWN = {
    Stage.BOOKED: ("Booked", "calendar"),
    Stage.RECEIVED: ("Checked in", "down"),
    Stage.BENCH: ("On the bench", "wrench"),
    Stage.ROLLER: ("On the dyno", "roller"),
    Stage.READY: ("Ready", "bike"),
    Stage.HANDED_OVER: ("Handed over", "sheet"),
}


@dataclass(frozen=True)
class StageStep:
    """A stage in the row of stages; ``can_move`` if the job may be moved there without a reason."""

    stage: str
    label: str
    icon: str
    at: datetime | None
    state: str = ""
    why: str = ""
    can_move: bool = False


def stored_menu(results: JobResults, roles: frozenset[Role]) -> str:
    """Return the pages and documents of the job as HTML, for a holder of these roles."""
    context = {"job": results.job, "user": reader(roles)}
    template = "jobs/job_page/_menu.html"
    return stored(MENU, results, sorted(roles), lambda: render_to_string(template, context))


def stored_head(results: JobResults, roles: frozenset[Role]) -> str:
    """Return the head as HTML, with marks for the tokens of its forms."""
    parts = (render_facts(results, roles), render_stages(results, roles), render_next(results, roles))
    return "".join(parts)


def render_facts(results: JobResults, roles: frozenset[Role]) -> str:
    # A job that became late is another head.
    made_from = (sorted(roles), results.job.is_late)
    return stored(FACTS, results, made_from, partial(make_facts, results, roles))


def make_facts(results: JobResults, roles: frozenset[Role]) -> str:
    job, work = results.job, results.get(work_total)
    name_people(results)
    limit = job.authorised_amount
    context = {
        "job": job,
        "user": reader(roles),
        "shop": results.shop,
        "work": work,
        "has_work": bool(results.rows(WorkItem)),
        "share": min(float(work.amount / limit), 1) * 100 if limit else None,
        "slots": sorted(results.rows(Slot), key=lambda slot: (slot.starts_at, slot.pk)),
    }
    return render_to_string("jobs/job_page/_facts.html", context)


def name_people(results: JobResults) -> None:
    """Point the job at its mechanic and tuner, who are read once for all rows."""
    job, people = results.job, {person.pk: person for person in results.rows(StaffMember)}
    job.mechanic, job.tuner = (people.get(pk or 0) for pk in (job.mechanic_id, job.tuner_id))


def render_stages(results: JobResults, roles: frozenset[Role]) -> str:
    return stored(STAGES, results, sorted(roles), partial(make_stages, results, roles))


def make_stages(results: JobResults, roles: frozenset[Role]) -> str:
    entries = results.rows(StageEntry)
    context = {
        "job": results.job,
        "user": reader(roles),
        "steps": stage_steps(results),
        "why": entries[-1].why if entries else "",
        "csrf_token": token_mark(),
    }
    return render_to_string("jobs/job_page/_stages.html", context)


def stage_steps(results: JobResults) -> list[StageStep]:
    """Return the stages in their order, with the last time that the job came to each."""
    job, entries = results.job, results.rows(StageEntry)
    last = {entry.stage: entry for entry in entries}
    order = list(SHOWN)
    worked = [entry.stage for entry in entries if entry.stage in SHOWN]
    reached = job.stage if job.stage in SHOWN else (worked[-1] if worked else Stage.BOOKED)
    steps = []
    for stage, (label, icon) in SHOWN.items():
        entry = last.get(stage)
        at = entry.at if entry else (job.created_at if stage == Stage.BOOKED else None)
        before = order.index(stage) < order.index(Stage(reached))
        state = "is-now" if stage == job.stage else ("is-done" if before or stage == reached else "")
        back_to_booked = stage == Stage.BOOKED and job.received_at is not None
        can_move = job.is_open and stage not in (job.stage, Stage.HANDED_OVER) and not back_to_booked
        shown_at = at if state else None
        steps.append(StageStep(stage, label, icon, shown_at, state, can_move=can_move))
        if stage == reached and job.stage == Stage.WAITING:
            steps.append(waiting_step(results, last.get(Stage.WAITING)))
    if job.stage == Stage.CANCELLED:
        entry = last.get(Stage.CANCELLED)
        steps.append(StageStep(job.stage, "Cancelled", "close", entry.at if entry else None, "is-now"))
    return steps


def waiting_step(results: JobResults, entry: StageEntry | None) -> StageStep:
    job = results.job
    label = f"Waiting for {job.get_waiting_for_display()}"
    return StageStep(job.stage, label, "clock", entry.at if entry else None, "is-waiting")


def render_next(results: JobResults, roles: frozenset[Role]) -> str:
    """Render the next step and what blocks the sheet; each kind of blocker is stored by itself."""
    blockers: list[Blocker] = list(collect(results, "blockers")) if results.job.is_open else []
    step = stored_next_step(results)
    made_from = (sorted(roles), step, blockers)
    return stored(JobRecord("next"), results, made_from, partial(make_next, results, roles, step, blockers))


def stored_next_step(results: JobResults) -> JobStep | None:
    """Return the one next step, stored under the rows that the steps are found from."""
    reads = [model for record in records() if record.next_steps for model in record.reads]
    source = JobRecord("next steps", reads=(*STEP_READS, *reads))
    # In a list, since None is not stored.
    return stored(source, results, is_due_later_today(results.job), lambda: [next_step(results)])[0]


def make_next(
    results: JobResults, roles: frozenset[Role], step: JobStep | None, blockers: list[Blocker]
) -> str:
    name_people(results)
    context = {
        "job": results.job,
        "user": reader(roles),
        "step": step,
        "who": step.who(results.job) if step else "",
        "may_do": step and reader(roles).holds(*step.roles),
        "blockers": blockers,
        "csrf_token": token_mark(),
    }
    return render_to_string("jobs/job_page/_next.html", context)
