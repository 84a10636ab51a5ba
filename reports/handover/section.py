"""The handover on the job page."""

from collections.abc import Iterator

from django.db.models import Model

from jobs.checklists.record import READS as CHECK_READS
from jobs.job.registry import JobRecord, records
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.job_page.sections import stored
from jobs.models import ClearanceReading, ClearanceSet, Run
from reports.handover.issuing import (
    Blocker,
    check_blockers,
    clearance_blockers,
    receipt_blockers,
    road_use_blockers,
    run_blockers,
)
from reports.models import HandoverSheet

# The source of each kind of blocker, so that a change reads only that kind again.
CLEARANCES = JobRecord("clearance blockers", reads=(ClearanceSet, ClearanceReading))
CHECKS = JobRecord("check blockers", reads=CHECK_READS, needs_any=(ClearanceReading,))
RUNS = JobRecord("run blockers", reads=(Run,))


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
    sources = (CLEARANCES, CHECKS, RUNS, road_use_source())
    return (HandoverSheet, *(model for source in sources for model in source.reads))


def all_carried() -> tuple[type[Model], ...]:
    """Return every model whose rows of the bike's other jobs the section is made from."""
    return road_use_source().carries


def stored_blockers(results: JobResults) -> Iterator[Blocker]:
    """Yield the blockers; each kind is read again only if its rows have changed."""
    yield from receipt_blockers(results.job)
    yield from stored(CLEARANCES, results, (), lambda: clearance_blockers(results))
    yield from stored(CHECKS, results, (), lambda: check_blockers(results))
    yield from stored(RUNS, results, (), lambda: run_blockers(results))
    yield from stored(road_use_source(), results, (), lambda: road_use_blockers(results))


def section(results: JobResults) -> Section:
    sheets = sorted(results.rows(HandoverSheet), key=lambda sheet: -sheet.issue_number)
    blockers = list(stored_blockers(results))
    state, description = describe_state(sheets, len(blockers))
    context = {"handover_blockers": blockers, "handover_sheets": sheets}
    return Section("handover", "Handover", state, description, "reports/handover/_section.html", context)


def describe_state(sheets: list[HandoverSheet], blockers: int) -> tuple[State, str]:
    if sheets:
        return State.DONE, f"sheet {sheets[0].issue_number} issued"
    if blockers:
        return State.EMPTY, f"{blockers} things to put right before the sheet is issued"
    return State.IN_HAND, "ready to be issued"
