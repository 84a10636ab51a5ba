"""Valve clearances as found and as left, and the shim plans, as the sheet prints them."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from jobs.calc.clearances.shim_plan import Origin
from jobs.calc.units.length_format import LengthFormatter
from jobs.clearances.before_after import (
    BeforeAfter,
    clearances_before_after,
    prediction_mismatch,
    readings_by_set,
)
from jobs.clearances.trend import clearance_history
from jobs.clearances.valve_gaps import JudgedReading, key_of, orphaned_readings, reading_of, valve_gaps
from jobs.job.results import JobResults
from jobs.models import ClearanceReading, ClearanceSet, ShimPlan, ShimPlanRow
from reports.handover.snapshot.json_values import moment, number
from reports.handover.snapshot.schema import (
    ClearanceFacts,
    ClearanceSetFacts,
    CourseFacts,
    JudgedReadingFacts,
    LooseReadingFacts,
    PlanFacts,
    RangeFacts,
    ReadingFacts,
    ShimFacts,
    ValveFacts,
)
from workshop.models import EngineSpec
from workshop.units.display import length_formatter


def clearance_facts(results: JobResults) -> ClearanceFacts | None:
    readings = results.get(readings_by_set)
    if not readings:
        return None
    spec, history = results.job.bike.engine_spec, results.get(clearances_before_after)
    plans = results.get(plan_rows)
    facts = ClearanceFacts(
        sets=[set_facts(measured) for measured in readings],
        plans=[plan_facts(spec, plan, rows) for plan, rows in plans.items()],
        rows=[],
        summary="",
        ranges=[],
        earlier=loose_readings(readings, spec if history else None),
    )
    if spec is None or history is None:
        return facts
    predicted = {key_of(row): row.predicted_mm for rows in plans.values() for row in rows}
    lengths = length_formatter(results.shop.length_unit)
    return replace(
        facts,
        rows=[row_facts(row, predicted, lengths) for row in history.rows if row.found or row.left],
        summary=history.summary,
        has_found=bool(history.found),
        has_left=bool(history.left),
        shims=any(row.shim_mm is not None for rows in readings.values() for row in rows),
        out=[row.valve_gap.label for row in history.unresolved],
        not_measured=[row.valve_gap.label for row in history.unmeasured],
        ranges=[range_facts(spec, each) for each in spec.ranges],
        courses=courses(results),
    )


def set_facts(measured: ClearanceSet) -> ClearanceSetFacts:
    return ClearanceSetFacts(
        when=measured.get_when_display(),
        at=moment(measured.measured_at),
        by=str(measured.measured_by),
        instrument=measured.instrument,
        engine_temperature_c=number(measured.engine_temperature_c),
        note=measured.note,
    )


def range_facts(spec: EngineSpec, limits: Any) -> RangeFacts:
    return RangeFacts(
        label=limits.label,
        low_mm=number(limits.low_mm),
        high_mm=number(limits.high_mm),
        target_mm=number(limits.target_mm),
        tolerance_mm=number(spec.target_tolerance_mm),
    )


def row_facts(row: BeforeAfter, predicted: dict[Any, Any], lengths: LengthFormatter) -> ValveFacts:
    valve_gap = row.valve_gap
    return ValveFacts(
        label=valve_gap.label,
        low_mm=number(valve_gap.low_mm),
        high_mm=number(valve_gap.high_mm),
        target_mm=number(valve_gap.target_mm),
        found=measured_facts(row.found),
        left=measured_facts(row.left),
        surprise=prediction_mismatch(row.left, predicted.get(valve_gap.key), lengths) if row.left else "",
    )


def measured_facts(measured: JudgedReading | None) -> JudgedReadingFacts | None:
    if measured is None:
        return None
    return JudgedReadingFacts(
        **vars(reading_facts(measured.row)),
        verdict=measured.judgement.word if measured.judgement else "",
        in_range=measured.is_in,
    )


def reading_facts(row: ClearanceReading) -> ReadingFacts:
    reading = reading_of(row)
    return ReadingFacts(
        low_mm=number(reading.low_mm),
        high_mm=number(reading.high_mm),
        best_mm=number(reading.best_mm),
        shim_mm=number(row.shim_mm),
        shim_measured=row.shim_measured_mm is not None,
    )


def plan_rows(results: JobResults) -> dict[ShimPlan, list[ShimPlanRow]]:
    """Return the rows of each accepted plan, in the order of measuring."""
    found: dict[ShimPlan, list[ShimPlanRow]] = {
        plan: [] for measured in results.rows(ClearanceSet) if (plan := getattr(measured, "shim_plan", None))
    }
    for row in results.rows(ShimPlanRow):
        found[row.plan].append(row)
    return found


def plan_facts(spec: EngineSpec | None, plan: ShimPlan, rows: Sequence[ShimPlanRow]) -> PlanFacts:
    labels = {valve_gap.key: valve_gap.label for valve_gap in valve_gaps(spec)} if spec else {}
    return PlanFacts(
        policy=plan.get_policy_display(),
        accepted_at=moment(plan.accepted_at),
        accepted_by=str(plan.accepted_by),
        booked_out_at=moment(plan.stock_booked_out_at),
        rows=[
            ShimFacts(
                label=labels.get(key_of(row), str(row).split(":")[0]),
                out_mm=number(row.out_mm),
                in_mm=number(row.in_mm),
                stays=row.origin == Origin.STAYS,
                origin=row.origin_detail or row.get_origin_display(),
                predicted_mm=number(row.predicted_mm),
                why=row.why,
            )
            for row in rows
        ],
    )


def loose_readings(
    readings: Mapping[ClearanceSet, Sequence[ClearanceReading]], spec: EngineSpec | None
) -> list[LooseReadingFacts]:
    """Readings that the table of before and after can't hold: measured again later, or of no known valve."""
    labels = {valve_gap.key: valve_gap.label for valve_gap in valve_gaps(spec)} if spec else {}
    last: dict[Any, int] = {}
    for measured, rows in readings.items():
        last |= {(measured.when, key_of(row)): row.pk for row in rows}
    unknown = {
        row.pk for rows in readings.values() for row in (orphaned_readings(spec, rows) if spec else rows)
    }
    return [
        LooseReadingFacts(
            **vars(reading_facts(row)),
            label=labels.get(key_of(row), str(row)),
            when=measured.get_when_display(),
            at=moment(measured.measured_at),
        )
        for measured, rows in readings.items()
        for row in rows
        if row.pk in unknown or last[measured.when, key_of(row)] != row.pk
    ]


def courses(results: JobResults) -> list[CourseFacts]:
    """Valves whose clearance was seen to move over the bike's jobs, and where to."""
    rows = clearance_history(results.job.bike, results.shop).rows
    return [
        CourseFacts(row.valve_gap.label, row.gap_trend.sentence)
        for row in rows
        if row.gap_trend.trend and row.gap_trend.trend.verdict.is_moving
    ]
