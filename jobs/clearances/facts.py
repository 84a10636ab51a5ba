"""Valve clearances and shim plans on the handover sheet."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext, pgettext

from jobs.calc.clearances.readings import AS_LEFT_WITHIN_MM, READING_WITHIN_MM
from jobs.calc.clearances.shim_plan import Origin, describe_source
from jobs.calc.units.length_format import LengthFormatter
from jobs.calc.wording import localise
from jobs.clearances.accepted_plans import is_followed_by_as_left
from jobs.clearances.before_after import (
    BeforeAfter,
    clearances_before_after,
    prediction_mismatch,
    readings_by_set,
)
from jobs.clearances.engine_heat import describe_heat, run_times
from jobs.clearances.shim_plan import plan_notes
from jobs.clearances.trend import clearance_history
from jobs.clearances.valve_gaps import (
    JudgedReading,
    ValveGap,
    gap_key,
    orphaned_readings,
    to_reading,
    valve_gaps,
)
from jobs.job.by_job import ByJob, group_by_job
from jobs.job.json_values import moment, number
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.models import (
    ClearanceReading,
    ClearanceSet,
    ShimPlan,
    ShimPlanRow,
)
from workshop.languages import is_english, translate_stored
from workshop.models import Bike, EngineSpec, ShopProfile
from workshop.units.display import length_formatter

# The notes of a plan with values, which are stored in English.
PLAN_NOTES = (
    gettext_noop("The shim that comes out is marked %(size)s mm, which is not an available size: measure it"),
    gettext_noop("The shim that goes in is marked %(size)s mm, which is not an available size: measure it"),
    gettext_noop("The shim that comes out may be %(sizes)s mm: measure it"),
    gettext_noop("The shim that goes in may be %(sizes)s mm: measure it"),
)


@dataclass(frozen=True)
class ClearanceSetFacts:
    when: str
    at: str | None
    by: str
    instrument: str
    engine_temperature_c: float | None
    note: str
    heat: str = ""


@dataclass(frozen=True)
class RangeFacts:
    label: str
    low_mm: float | None
    high_mm: float | None
    target_mm: float | None
    tolerance_mm: float | None


@dataclass(frozen=True)
class ReadingFacts:
    low_mm: float | None
    high_mm: float | None
    best_mm: float | None
    shim_mm: float | None
    shim_measured: bool


@dataclass(frozen=True)
class JudgedReadingFacts(ReadingFacts):
    verdict: str
    in_range: bool
    near_limit: bool = False  # another reading may be on the other side of a limit


@dataclass(frozen=True)
class OrphanedReadingFacts(ReadingFacts):
    label: str
    when: str
    at: str | None


@dataclass(frozen=True)
class ValveFacts:
    label: str
    low_mm: float | None
    high_mm: float | None
    target_mm: float | None
    found: JudgedReadingFacts | None
    left: JudgedReadingFacts | None
    surprise: str
    side: str = ""
    place: str = ""


@dataclass(frozen=True)
class ShimFacts:
    label: str
    out_mm: float | None
    in_mm: float | None
    stays: bool
    origin: str
    predicted_mm: float | None
    why: str


@dataclass(frozen=True)
class PlanFacts:
    policy: str
    accepted_at: str | None
    accepted_by: str
    booked_out_at: str | None
    rows: list[ShimFacts]


@dataclass(frozen=True)
class TrendFacts:
    label: str
    course: str


@dataclass(frozen=True)
class ClearanceFacts:
    sets: list[ClearanceSetFacts]
    plans: list[PlanFacts]
    rows: list[ValveFacts]
    summary: str
    ranges: list[RangeFacts]
    earlier: list[OrphanedReadingFacts]
    has_found: bool = False
    has_left: bool = False
    shims: bool = False
    out: list[str] = field(default_factory=list)
    not_measured: list[str] = field(default_factory=list)
    near_limit_mm: float | None = None  # how near; None if no reading is
    readings_differ_mm: float | None = None  # how much two careful readings may differ
    courses: list[TrendFacts] = field(default_factory=list)


def clearance_facts(results: JobResults) -> ClearanceFacts | None:
    """Return the readings, the judged valves and the shim plans; None if nothing was measured."""
    readings = results.get(readings_by_set)
    if not readings:
        return None
    spec, history = results.job.bike.engine_spec, results.get(clearances_before_after)
    plans, sets = results.get(plan_rows), results.rows(ClearanceSet)
    lengths = length_formatter(results.shop.length_unit)
    facts = ClearanceFacts(
        sets=[set_facts(results, measured) for measured in readings],
        plans=[
            plan_facts(spec, plan, rows, lengths, has_left=is_followed_by_as_left(plan.clearance_set, sets))
            for plan, rows in plans.items()
        ],
        rows=[],
        summary="",
        ranges=[],
        earlier=orphaned_facts(readings, spec if history else None),
    )
    if spec is None or history is None:
        return facts
    predicted = {gap_key(row): row.predicted_mm for rows in plans.values() for row in rows}
    rows = [row_facts(row, predicted, lengths) for row in history.rows if row.found or row.left]
    near = any(reading.near_limit for row in rows for reading in (row.found, row.left) if reading)
    return replace(
        facts,
        rows=rows,
        near_limit_mm=number(READING_WITHIN_MM, 3) if near else None,
        readings_differ_mm=AS_LEFT_WITHIN_MM if near else None,
        summary=history.summary,
        has_found=bool(history.found),
        has_left=bool(history.left),
        shims=any(row.shim_mm is not None for rows in readings.values() for row in rows),
        out=[row.valve_gap.label for row in history.unresolved],
        not_measured=[row.valve_gap.label for row in history.unmeasured],
        ranges=[range_facts(spec, limits) for limits in spec.ranges],
        courses=trend_facts(results),
    )


def set_facts(results: JobResults, measured: ClearanceSet) -> ClearanceSetFacts:
    return ClearanceSetFacts(
        when=measured.get_when_display(),
        at=moment(measured.measured_at),
        by=str(measured.measured_by),
        instrument=measured.measured_with,
        engine_temperature_c=number(measured.engine_temperature_c),
        note=measured.note,
        heat=describe_heat(measured, results.get(run_times), ZoneInfo(results.shop.time_zone)),
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
    valve_gap, valve = row.valve_gap, row.valve_gap.valve
    return ValveFacts(
        label=valve_gap.label,
        low_mm=number(valve_gap.low_mm),
        high_mm=number(valve_gap.high_mm),
        target_mm=number(valve_gap.target_mm),
        found=measured_facts(row.found),
        left=measured_facts(row.left),
        surprise=prediction_mismatch(row.left, predicted.get(valve_gap.key), lengths) if row.left else "",
        side=" ".join(
            [pgettext("valve", str(valve.side)), *([_(valve_gap.gap.value)] if valve_gap.names_gap else [])]
        ),
        place=" ".join([str(valve.cylinder), *([_(valve.place)] if valve.place else [])]),
    )


def measured_facts(measured: JudgedReading | None) -> JudgedReadingFacts | None:
    if measured is None:
        return None
    return JudgedReadingFacts(
        **vars(reading_facts(measured.row)),
        verdict=measured.judgement.word if measured.judgement else "",
        in_range=measured.is_in,
        near_limit=measured.judgement is not None and measured.judgement.is_near_limit,
    )


def reading_facts(row: ClearanceReading) -> ReadingFacts:
    reading = to_reading(row)
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


def plan_facts(
    spec: EngineSpec | None,
    plan: ShimPlan,
    rows: Sequence[ShimPlanRow],
    lengths: LengthFormatter,
    *,
    has_left: bool,
) -> PlanFacts:
    """Return an accepted plan; ``has_left``: clearances were measured after it, so its shims are in."""
    gaps = {valve_gap.key: valve_gap for valve_gap in valve_gaps(spec)} if spec else {}
    labels = {key: valve_gap.label for key, valve_gap in gaps.items()}
    with translation.override(settings.LANGUAGE_CODE):  # plans are stored as staff read them
        names = {valve_gap.label: labels[key] for key, valve_gap in gaps.items()}
    return PlanFacts(
        policy=plan.get_policy_display(),
        accepted_at=moment(plan.accepted_at),
        accepted_by=str(plan.accepted_by),
        booked_out_at=moment(plan.stock_booked_out_at),
        rows=[
            ShimFacts(
                label=labels.get(gap_key(row), str(row).split(":")[0]),
                out_mm=number(row.out_mm),
                in_mm=number(row.in_mm),
                stays=row.origin == Origin.STAYS,
                origin=names.get(row.origin_detail, row.origin_detail)
                or origin_label(row, has_left=has_left),
                predicted_mm=number(row.predicted_mm),
                why=stored_reason(row) if is_english() else explain(row, gaps.get(gap_key(row)), lengths),
            )
            for row in rows
        ],
    )


def origin_label(row: ShimPlanRow, *, has_left: bool) -> str:
    return _("bought") if has_left and row.origin == Origin.BUY else row.get_origin_display()


def stored_reason(row: ShimPlanRow) -> str:
    """Return why a shim was chosen, without where it comes from: that has a column of its own."""
    return row.why.removeprefix(f"{describe_source(Origin(row.origin), row.origin_detail)}, ")


def explain(row: ShimPlanRow, valve_gap: ValveGap | None, lengths: LengthFormatter) -> str:
    """Say again, in the language in use, how far a clearance is from its target, and what is in doubt."""
    notes = [translate_stored(note, PLAN_NOTES, translate_sizes) for note in plan_notes(row)]
    if valve_gap is None or not valve_gap.has_range:
        return ". ".join(notes)
    off = row.predicted_mm - valve_gap.effective_target_mm
    text = _("%(off)s looser than the target") if off > 0 else _("%(off)s tighter than the target")
    choice = text % {"off": lengths(abs(off))} if off else _("exactly on target")
    return ". ".join([choice, *notes])


def translate_sizes(_name: str, sizes: str) -> str:
    return localise(f" {_('or')} ".join(sizes.split(" or ")))


def orphaned_facts(
    readings: Mapping[ClearanceSet, Sequence[ClearanceReading]], spec: EngineSpec | None
) -> list[OrphanedReadingFacts]:
    """Return the readings that before and after cannot show: repeated later, or of an unknown valve."""
    labels = {valve_gap.key: valve_gap.label for valve_gap in valve_gaps(spec)} if spec else {}
    last: dict[Any, int] = {}
    for measured, rows in readings.items():
        last |= {(measured.when, gap_key(row)): row.pk for row in rows}
    unknown = {
        row.pk for rows in readings.values() for row in (orphaned_readings(spec, rows) if spec else rows)
    }
    return [
        OrphanedReadingFacts(
            **vars(reading_facts(row)),
            label=labels.get(gap_key(row), str(row)),
            when=measured.get_when_display(),
            at=moment(measured.measured_at),
        )
        for measured, rows in readings.items()
        for row in rows
        if row.pk in unknown or last[measured.when, gap_key(row)] != row.pk
    ]


def trend_facts(results: JobResults) -> list[TrendFacts]:
    """Return the valves whose clearance moves over the bike's jobs, and how."""
    rows = clearance_history(results.job.bike, results.shop).rows
    return [
        TrendFacts(row.valve_gap.label, row.gap_trend.sentence)
        for row in rows
        if row.gap_trend.trend and row.gap_trend.trend.verdict.is_moving
    ]


def clearances_done(results: JobResults) -> Iterator[str]:
    """Yield what was done to the valve clearances."""
    clearances = results.get(clearance_facts)
    if clearances is not None:
        new = sum(not row.stays for plan in clearances.plans if plan.booked_out_at for row in plan.rows)
        result = clearances.summary or _("measured")
        if new:
            text = ngettext("%(count)s shim changed", "%(count)s shims changed", new)
            result += f"; {text % {'count': new}}"
        yield _("Valve clearances: %(result)s") % {"result": result}


def shims_by_job(bike: Bike, shop: ShopProfile) -> ByJob:
    """Return the shims that the accepted plans of a bike exchange, and whether they are only planned."""
    labels = (
        {valve_gap.key: valve_gap.label for valve_gap in valve_gaps(bike.engine_spec)}
        if bike.engine_spec
        else {}
    )
    rows = ShimPlanRow.objects.filter(plan__clearance_set__job__bike=bike).exclude(origin=Origin.STAYS)
    rows = rows.select_related("plan__clearance_set").order_by("plan__accepted_at", "plan_id", "pk")
    return group_by_job(
        (
            row.plan.clearance_set.job_id,
            {
                "label": labels.get(gap_key(row), str(row).split(":")[0]),
                "out_mm": number(row.out_mm),
                "in_mm": number(row.in_mm),
                "planned_only": row.plan.stock_booked_out_at is None,
            },
        )
        for row in rows
    )


CLEARANCES: Printed[ClearanceFacts | None] = Printed(
    "clearances",
    clearance_facts,
    ClearanceFacts | None,
    heading="Valve clearances",
    title="valve clearances",
    template="jobs/clearances/_sheet.html",
)
