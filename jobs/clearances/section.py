"""Valve clearances on the job page."""

from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from jobs.calc.clearances.readings import ClearanceVerdict
from jobs.clearances.accepted_plans import accepted_plan, is_awaiting_as_left
from jobs.clearances.before_after import (
    BeforeAfter,
    ClearancesBeforeAfter,
    clearances_before_after,
    readings_by_set,
)
from jobs.clearances.engine_heat import describe_heat, run_times
from jobs.clearances.valve_gaps import JudgedReading
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.job.small_pictures import draw_shift
from jobs.models import ClearanceSet
from workshop.models import EngineSpec

NO_SPEC = "the bike has no engine yet"
TEMPLATE = "jobs/clearances/_section.html"


def section(results: JobResults) -> Section:
    spec = results.job.bike.engine_spec
    sets = list(results.get(readings_by_set))
    history = results.get(clearances_before_after)
    state, summary = section_state(spec, sets, history)
    latest = max(sets, key=lambda measured: measured.measured_at, default=None)
    return Section(
        "clearances",
        "Valve clearances",
        state,
        summary,
        TEMPLATE,
        partial(section_context, results),
        who=str(latest.measured_by) if latest else "",
        at=latest.measured_at if latest else None,
        picture=draw_clearances(history) if sets and history else "",
    )


def section_context(results: JobResults) -> dict[str, Any]:
    zone = ZoneInfo(results.shop.time_zone)
    return {
        "clearance_sets": [
            (measured, accepted_plan(measured), describe_heat(measured, results.get(run_times), zone))
            for measured in results.get(readings_by_set)
        ],
        "clearance_history": results.get(clearances_before_after),
        "clearance_spec": results.job.bike.engine_spec,
    }


def draw_clearances(history: ClearancesBeforeAfter) -> str:
    return draw_shift((share_of_range(row.found), share_of_range(row.left)) for row in history.rows)


def share_of_range(measured: JudgedReading | None) -> float | None:
    """Return where a reading is in its range, from 0 to 1; None without a range."""
    if measured is None or measured.judgement is None:
        return None
    low, high = float(measured.valve_gap.low_mm or 0), float(measured.valve_gap.high_mm or 0)
    middle = (measured.reading.low_mm + measured.reading.high_mm) / 2
    return (middle - low) / (high - low) if high > low else None


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
        return State.IN_HAND, "shim plan accepted, as left not measured yet"
    return State.DONE, describe_result(history)


def describe_result(history: ClearancesBeforeAfter) -> str:
    """Return the answer in one line, such as '12 of 12 on target; 2 were tight'."""
    last = [row.latest for row in history.rows if row.latest]
    on_target, total = sum(measured.is_on_target for measured in last), len(last)
    now = f"{total} of {total} in range"
    if on_target == total:
        now = f"{total} of {total} on target"
    elif on_target:
        now += f", {on_target} on target"
    verdicts = [measured.judgement.verdict for measured in history.found if measured.judgement]
    tight, loose = verdicts.count(ClearanceVerdict.TIGHT), verdicts.count(ClearanceVerdict.LOOSE)
    were = [f"{count} {word}" for count, word in ((tight, "tight"), (loose, "loose")) if count]
    if not were or not history.left:
        return now
    return f"{now}; {' and '.join(were)} as found"


def describe_unresolved(rows: list[BeforeAfter]) -> str:
    """Describe what is out of range, or not certain, by the latest reading."""
    last = [measured for row in rows for measured in [row.left or row.found] if measured]
    when = "as left" if any(row.left for row in rows) else "as found"
    out = sum(measured.is_out for measured in last)
    unsure = len(last) - out
    parts = [f"{out} out of range" if out else "", f"{unsure} not certain" if unsure else ""]
    return f"{' and '.join(part for part in parts if part)} {when}"
