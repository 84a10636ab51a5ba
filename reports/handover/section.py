"""The handover on the job page."""

from collections.abc import Iterator, Sequence

from django.db.models import Model
from django.urls import reverse

from jobs.checklists.questions import run_sessions
from jobs.checklists.record import READS as CHECK_READS
from jobs.handing_over.facts import HandoverFacts, job_handovers
from jobs.job.next_steps import Blocker, JobStep
from jobs.job.registry import JobRecord, records
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.job.sentences import counted
from jobs.job_page.next_steps import announcing_steps
from jobs.job_page.sections import facts_made_from
from jobs.job_page.stored import stored
from jobs.models import (
    BikeChange,
    ClearanceReading,
    ClearanceSet,
    Handover,
    Job,
    MixtureStudy,
    PartKind,
    Run,
    Stage,
    WorkItem,
)
from reports.handover.handing_over import informed_on_sheet
from reports.handover.issuing import (
    agreed_work_blockers,
    check_blockers,
    clearance_blockers,
    fuel_blockers,
    receipt_blockers,
    road_use_blockers,
    run_blockers,
)
from reports.models import HandoverSheet
from workshop.models import Role

# The source of each kind of blocker, so that a change reads only that kind again.
CLEARANCES = JobRecord("clearance blockers", reads=(ClearanceSet, ClearanceReading))
CHECKS = JobRecord(
    "check blockers", reads=CHECK_READS, needs_any=(ClearanceReading,), made_from={Run: run_sessions}
)
RUNS = JobRecord("run blockers", reads=(Run,))
WORK = JobRecord("agreed work blockers", reads=(WorkItem,))
FUEL = JobRecord("fuel blockers", reads=(MixtureStudy, Run, BikeChange, PartKind))


def road_use_source() -> JobRecord:
    """Return the models that the causes of the road-use notice are read from."""
    causes = [record for record in records() if record.road_causes]
    return JobRecord(
        "road use blockers",
        reads=tuple(model for record in causes for model in record.reads),
        carries=tuple(model for record in causes for model in record.carries),
    )


def all_reads() -> tuple[type[Model], ...]:
    """Return every model that the section is made from."""
    sources = (WORK, CLEARANCES, CHECKS, RUNS, FUEL, road_use_source())
    return (HandoverSheet, Handover, *(model for source in sources for model in source.reads))


def all_carried() -> tuple[type[Model], ...]:
    """Return every model whose rows of the bike's other jobs the section is made from."""
    return road_use_source().carries


def stored_blockers(results: JobResults) -> Iterator[Blocker]:
    """Yield the blockers; each kind is read again only if its rows have changed."""
    yield from receipt_blockers(results.job)
    yield from stored(WORK, results, (), lambda: agreed_work_blockers(results))
    yield from stored(CLEARANCES, results, (), lambda: clearance_blockers(results))
    run_facts = facts_made_from(CHECKS, results)
    yield from stored(CHECKS, results, run_facts, lambda: check_blockers(results))
    yield from stored(RUNS, results, (), lambda: run_blockers(results))
    yield from stored(FUEL, results, (), lambda: fuel_blockers(results))
    road_use = stored(road_use_source(), results, (), lambda: road_use_blockers(results))
    if road_use and not results.get(informed_on_sheet):
        yield from road_use


def section(results: JobResults) -> Section:
    sheets = sorted(results.rows(HandoverSheet), key=lambda sheet: -sheet.issue_number)
    blockers = list(stored_blockers(results))
    handovers = results.get(job_handovers)
    state, summary = describe_state(results.job, sheets, handovers, len(blockers))
    return Section(
        "handover",
        "Handover",
        state,
        summary,
        "reports/handover/_section.html",
        lambda: {"handover_blockers": blockers, "handover_sheets": sheets, "handovers": handovers},
        who=str(sheets[0].issued_by) if sheets else "",
        at=sheets[0].issued_at if sheets else None,
    )


def next_steps(results: JobResults) -> Iterator[JobStep]:
    """Yield the steps at the end of a job: the sheet, and the bike itself."""
    job, url = results.job, reverse("handover", args=[results.job.number])
    if not job.is_open:
        return
    if not results.rows(HandoverSheet):
        yield JobStep("Issue the handover sheet", (Role.DESK,), f"{url}#issue", icon="sheet")
        return
    yield from announcing_steps(results)
    yield JobStep("Hand over the bike", (Role.DESK,), f"{url}#hand-over", icon="bike")


def describe_state(
    job: Job, sheets: Sequence[HandoverSheet], handovers: Sequence[HandoverFacts], blockers: int
) -> tuple[State, str]:
    points = counted(blockers, "open point")
    if job.stage == Stage.HANDED_OVER:
        overridden = len(handovers[-1].open_points) if handovers else 0
        despite = f" despite {counted(overridden, 'open point')}" if overridden else ""
        return State.ATTENTION if overridden else State.DONE, f"handed over{despite}"
    if sheets:
        issued = f"sheet {sheets[0].issue_number} issued, bike not handed over"
        return State.IN_HAND, f"{issued}, {points}" if blockers else issued
    if blockers:
        return State.EMPTY, f"{points} before the sheet is issued"
    return State.IN_HAND, "ready to issue"
