"""Trend of a bike's clearances over distance or engine hours."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from jobs.calc.clearances.trend import Trend, compute_trend
from jobs.calc.units.numbers import format_number
from jobs.clearances.valve_gaps import JudgedReading, ValveGap, readings_by_gap
from jobs.models import ClearanceSet, Job
from workshop.models import Bike, EngineSpec, ShopProfile
from workshop.units.display import convert, label, length_formatter


@dataclass(frozen=True)
class UsageReading:
    """One reading at a known distance or hour; NaN if the shim is unknown."""

    use: float
    measured: JudgedReading
    shim_mm: float


@dataclass(frozen=True)
class GapTrend:
    """Trend of a clearance over km, miles or hours, and the sentence that describes it."""

    sentence: str
    unit: str = ""
    readings: list[UsageReading] = field(default_factory=list)
    trend: Trend | None = None


@dataclass(frozen=True)
class GapHistory:
    """One gap of one valve over all the sets, and its trend."""

    valve_gap: ValveGap
    measured: list[JudgedReading | None]
    gap_trend: GapTrend


@dataclass(frozen=True)
class ClearanceHistory:
    sets: list[ClearanceSet]
    rows: list[GapHistory]

    @property
    def is_repeated(self) -> bool:
        """Return True if the clearances were measured on several jobs, so that a chart can show a trend."""
        return len({measured.job_id for measured in self.sets}) > 1


def clearance_history(bike: Bike, shop: ShopProfile) -> ClearanceHistory:
    """Return all clearances measured on a bike, in the order of measuring."""
    spec = bike.engine_spec
    sets = list(
        ClearanceSet.objects.filter(job__bike=bike)
        .select_related("job")
        .prefetch_related("readings")
        .order_by("measured_at", "pk")
    )
    if spec is None or not sets:
        return ClearanceHistory(sets, [])
    columns = [readings_by_gap(spec, measured.readings.all()) for measured in sets]
    rows = []
    for cells in zip(*columns, strict=True):
        valve_gap = cells[0][0]
        measured = [reading for _, reading in cells]
        rows.append(GapHistory(valve_gap, measured, compute_gap_trend(valve_gap, sets, measured, shop)))
    return ClearanceHistory(sets, rows)


@dataclass(frozen=True)
class NextCheck:
    """When the engine spec's interval makes the next check due."""

    sentence: str
    overdue: bool = False


def next_checks(
    spec: EngineSpec | None, sets: Sequence[ClearanceSet], jobs: Sequence[Job], shop: ShopProfile
) -> list[NextCheck]:
    """Return when the clearances are due again, by distance and by engine hours."""
    if spec is None:
        return []
    intervals = {shop.distance_unit: spec.check_interval_km, "h": spec.check_interval_hours}
    checks = [
        next_check(unit, interval if unit == "h" else convert(interval, "km", unit), sets, jobs)
        for unit, interval in intervals.items()
        if interval
    ]
    return checks or [NextCheck("The engine spec has no check interval.")]


def next_check(unit: str, interval: float, sets: Sequence[ClearanceSet], jobs: Sequence[Job]) -> NextCheck:
    every = format_use(interval, unit)
    checked = [used for used in (usage_at(measured.job, unit) for measured in sets) if used is not None]
    if not checked:
        kind = "engine hours" if unit == "h" else "odometer"
        return NextCheck(f"Due every {every}. No check has its {kind} recorded.")
    due, last = max(checked) + interval, max(checked)
    now = max(used for used in (usage_at(job, unit) for job in jobs) if used is not None)
    if now >= due:
        return NextCheck(
            f"Clearance check overdue: due at {format_use(due, unit)}, bike checked in at "
            f"{format_use(now, unit)}.",
            overdue=True,
        )
    return NextCheck(
        f"Next clearance check at {format_use(due, unit)} (every {every}, last checked at "
        f"{format_use(last, unit)})."
    )


def format_use(use: float, unit: str) -> str:
    return f"{format_number(use, 1, trim=True)} h" if unit == "h" else f"{format_number(use)} {label(unit)}"


def compute_gap_trend(
    valve_gap: ValveGap,
    sets: Sequence[ClearanceSet],
    measured: Sequence[JudgedReading | None],
    shop: ShopProfile,
) -> GapTrend:
    """Compute the trend of a clearance; over engine hours if no distance is known."""
    for unit in (shop.distance_unit, "h"):
        readings = [
            UsageReading(
                used, reading, math.nan if reading.row.shim_mm is None else float(reading.row.shim_mm)
            )
            for used, reading in zip((usage_at(found.job, unit) for found in sets), measured, strict=True)
            if used is not None and reading is not None
        ]
        if readings:
            return compute_gap_trend_over(unit, valve_gap, readings, shop)
    return GapTrend("no odometer or engine hours known")


def compute_gap_trend_over(
    unit: str, valve_gap: ValveGap, readings: list[UsageReading], shop: ShopProfile
) -> GapTrend:
    if valve_gap.low_mm is None or valve_gap.high_mm is None:
        return GapTrend("no range in the engine spec", unit, readings)
    try:
        found = compute_trend(
            [reading.use for reading in readings],
            [reading.measured.reading.best_mm for reading in readings],
            valve_gap.low_mm,
            valve_gap.high_mm,
            shim_mm=[reading.shim_mm for reading in readings],
            half_width_mm=[reading.measured.reading.half_width_mm for reading in readings],
            use_unit=unit,
        )
    except ValueError as problem:
        return GapTrend(str(problem), unit, readings)
    return GapTrend(found.describe(length_formatter(shop.length_unit)), unit, readings, found)


def usage_at(job: Job, unit: str) -> float | None:
    """Return the distance or engine hours of the bike at a job's check-in."""
    if unit == "h":
        return job.engine_hours
    return None if job.odometer_km is None else float(convert(job.odometer_km, "km", unit))
