"""What valve clearances and shim plans contribute to a job."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from jobs.clearances.engine_heat import run_times
from jobs.clearances.facts import CLEARANCES, clearances_done, shims_by_job
from jobs.clearances.section import section
from jobs.job.event import Event, EventKind
from jobs.job.page import JobPage, Rows, link_to
from jobs.job.registry import BikeHistory, JobRecord
from jobs.job.results import JobResults
from jobs.models import (
    ClearanceReading,
    ClearanceSet,
    Run,
    ShimPlan,
    ShimPlanRow,
    TuneRevision,
)


def link_sets(page: JobPage, rows: list[Any]) -> None:
    link_to(rows, "clearance_set", page.rows(ClearanceSet))


def link_plans(page: JobPage, rows: list[Any]) -> None:
    link_to(rows, "plan", page.rows(ShimPlan))


def events(results: JobResults) -> Iterator[Event]:
    """Yield clearances measured, and each adjustment once: by its shim plan, else by the set as left."""
    plan: ShimPlan | None = None
    for measured in results.rows(ClearanceSet):
        text = _("valve clearances measured %(when)s") % {"when": _(measured.get_when_display())}
        if measured.when == ClearanceSet.When.AS_FOUND:
            yield from applied(plan, None)
            plan = getattr(measured, "shim_plan", None)
            yield Event(measured.measured_at, EventKind.CLEARANCES, text, changes_bike=False)
            continue
        adjusted = applied(plan, measured.measured_at)
        plan = None
        yield from adjusted
        if not adjusted:
            text = _("valve clearances adjusted and measured as left")
        yield Event(measured.measured_at, EventKind.CLEARANCES, text, changes_bike=not adjusted)
    yield from applied(plan, None)


def applied(plan: ShimPlan | None, measured_at: datetime | None) -> list[Event]:
    """Return when the shims went in: when they were taken from stock or measured, whichever came first."""
    if plan is None or plan.stock_booked_out_at is None:
        return []
    at = min(plan.stock_booked_out_at, measured_at or plan.stock_booked_out_at)
    text = _("valve shims changed to the accepted plan")
    return [Event(at, EventKind.CLEARANCES, text, changes_bike=True)]


RECORD = JobRecord(
    "clearances",
    rows=(
        Rows(ClearanceSet, join=("shim_plan", "feeler_gauge"), people=("measured_by",)),
        Rows(
            ClearanceReading,
            "clearance_set__job",
            defer=("created_at", "updated_at"),  # of many rows, and read nowhere
            link=link_sets,
            off_timeline="The event is its set.",
        ),
        Rows(ShimPlan, "clearance_set__job", link=link_sets),
        Rows(
            ShimPlanRow,
            "plan__clearance_set__job",
            link=link_plans,
            off_page="On the page of its set.",
            off_timeline="The event is its plan.",
        ),
    ),
    reads=(ClearanceSet, ClearanceReading, ShimPlan, TuneRevision),
    made_from={Run: run_times},
    section=section,
    events=events,
    printed=CLEARANCES,
    done=clearances_done,
    bike_history=BikeHistory(shims_by_job, "jobs/clearances/_history.html"),
)
