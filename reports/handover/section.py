"""The handover on the job page."""

from collections.abc import Iterator

from django.db.models import Model

from jobs.job.registry import JobRecord, records
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.job_page.sections import stored
from jobs.models import Check, CheckItem, ClearanceReading, ClearanceSet, Run
from reports.handover.issuing import (
    Blocker,
    check_blockers,
    clearance_blockers,
    receipt_blockers,
    run_blockers,
    telling_blockers,
)
from reports.models import HandoverSheet

# Where each part of what blocks the handover comes from, so that one change does not read everything.
CLEARANCES = JobRecord("clearance blockers", reads=(ClearanceSet, ClearanceReading))
CHECKS = JobRecord("check blockers", reads=(Check, CheckItem), needs_any=(ClearanceReading, Run))
RUNS = JobRecord("run blockers", reads=(Run,))


def telling_source() -> JobRecord:
    """Return what the causes for the road-use notice are read from."""
    causes = [record for record in records() if record.road_causes]
    return JobRecord("telling blockers", reads=tuple(model for record in causes for model in record.reads))


def all_reads() -> tuple[type[Model], ...]:
    """Return every model that the section is made from."""
    sources = (CLEARANCES, CHECKS, RUNS, telling_source())
    return (HandoverSheet, *(model for source in sources for model in source.reads))


def stored_blockers(results: JobResults) -> Iterator[Blocker]:
    """Yield what blocks the handover, each part read again only if its rows have changed."""
    yield from receipt_blockers(results.job)
    yield from stored(CLEARANCES, results, (), lambda: clearance_blockers(results))
    yield from stored(CHECKS, results, (), lambda: check_blockers(results))
    yield from stored(RUNS, results, (), lambda: run_blockers(results))
    yield from stored(telling_source(), results, (), lambda: telling_blockers(results))


def section(results: JobResults) -> Section:
    sheets = sorted(results.rows(HandoverSheet), key=lambda sheet: -sheet.issue_number)
    standing = list(stored_blockers(results))
    state, why = where_it_stands(sheets, len(standing))
    context = {"handover_standing": standing, "handover_sheets": sheets}
    return Section("handover", "Handover", state, why, "reports/handover/_section.html", context)


def where_it_stands(sheets: list[HandoverSheet], standing: int) -> tuple[State, str]:
    if sheets:
        return State.DONE, f"sheet {sheets[0].issue_number} issued"
    if standing:
        return State.EMPTY, f"{standing} things to put right before the sheet is issued"
    return State.IN_HAND, "ready to be issued"
