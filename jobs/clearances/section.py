"""Valve clearances on the job page."""

from typing import Any
from zoneinfo import ZoneInfo

from jobs.clearances.before_after import (
    BeforeAfter,
    ClearancesBeforeAfter,
    clearances_before_after,
    readings_by_set,
)
from jobs.clearances.engine_heat import describe_heat, run_times
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import ClearanceSet, ShimPlan
from workshop.models import EngineSpec

NO_SPEC = "the bike has no engine spec yet"
TEMPLATE = "jobs/clearances/_section.html"


def section(results: JobResults) -> Section:
    spec = results.job.bike.engine_spec
    sets = list(results.get(readings_by_set))
    history = results.get(clearances_before_after)
    state, reason = section_state(spec, sets, history)
    zone = ZoneInfo(results.shop.time_zone)
    context: dict[str, Any] = {
        "clearance_sets": [
            (measured, accepted_plan(measured), describe_heat(measured, results.get(run_times), zone))
            for measured in sets
        ],
        "clearance_history": history,
        "clearance_spec": spec,
    }
    return Section("clearances", "Valve clearances", state, reason, TEMPLATE, context)


def accepted_plan(measured: ClearanceSet) -> ShimPlan | None:
    return getattr(measured, "shim_plan", None)


def section_state(
    spec: EngineSpec | None, sets: list[ClearanceSet], history: ClearancesBeforeAfter | None
) -> tuple[State, str]:
    """Return the state of the clearances, and the reason in a few words."""
    if not sets:
        return State.EMPTY, NO_SPEC if spec is None else "not measured yet"
    if history is None:
        return State.ATTENTION, NO_SPEC
    if history.unresolved:
        return State.ATTENTION, describe_unresolved(history.unresolved)
    if history.unmeasured:
        return State.IN_HAND, f"{len(history.unmeasured)} of {len(history.rows)} not measured"
    if is_awaiting_as_left(sets):
        return State.IN_HAND, "shim plan accepted, to be measured as left"
    return State.DONE, history.summary


def describe_unresolved(rows: list[BeforeAfter]) -> str:
    """Describe what is out of range, or not certain, by the latest reading."""
    last = [measured for row in rows for measured in [row.left or row.found] if measured]
    when = "as left" if any(row.left for row in rows) else "as found"
    out = sum(measured.is_out for measured in last)
    unsure = len(last) - out
    parts = [f"{out} out of range" if out else "", f"{unsure} cannot be told" if unsure else ""]
    return f"{' and '.join(part for part in parts if part)} {when}"


def is_awaiting_as_left(sets: list[ClearanceSet]) -> bool:
    """Return True if a plan was accepted and nothing was measured after its readings."""
    planned = [number for number, measured in enumerate(sets) if accepted_plan(measured)]
    left = [number for number, measured in enumerate(sets) if measured.when == ClearanceSet.When.AS_LEFT]
    return bool(planned) and (not left or max(left) < max(planned))
