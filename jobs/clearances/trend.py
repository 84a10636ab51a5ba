"""Trend of a bike's clearances over distance or engine hours."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from jobs.calc.clearances.trend import Trend, compute_trend
from jobs.calc.units.numbers import format_number
from jobs.clearances.places import Measured, Place, measured_by_place
from jobs.models import ClearanceSet, Job
from workshop.models import Bike, EngineSpec, ShopProfile
from workshop.units.display import convert, label, length_formatter


@dataclass(frozen=True)
class FollowedReading:
    """One reading at a known distance or hour; NaN if the shim is unknown."""

    use: float
    measured: Measured
    shim_mm: float


@dataclass(frozen=True)
class PlaceCourse:
    """Trend of a clearance over km, miles or hours, and the sentence that describes it."""

    sentence: str
    unit: str = ""
    readings: list[FollowedReading] = field(default_factory=list)
    trend: Trend | None = None


@dataclass(frozen=True)
class PlaceHistory:
    """One gap of one valve over all the sets, and its trend."""

    place: Place
    measured: list[Measured | None]
    course: PlaceCourse


@dataclass(frozen=True)
class ClearanceHistory:
    sets: list[ClearanceSet]
    rows: list[PlaceHistory]


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
    columns = [measured_by_place(spec, measured.readings.all()) for measured in sets]
    rows = []
    for cells in zip(*columns, strict=True):
        place = cells[0][0]
        measured = [each for _, each in cells]
        rows.append(PlaceHistory(place, measured, course_of(place, sets, measured, shop)))
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
    told = [
        next_check(unit, interval if unit == "h" else convert(interval, "km", unit), sets, jobs)
        for unit, interval in intervals.items()
        if interval
    ]
    return told or [NextCheck("The engine spec gives no interval at which clearances are checked.")]


def next_check(unit: str, interval: float, sets: Sequence[ClearanceSet], jobs: Sequence[Job]) -> NextCheck:
    every = as_shown(interval, unit)
    checked = [used for used in (used_by(measured.job, unit) for measured in sets) if used is not None]
    if not checked:
        kind = "engine hours" if unit == "h" else "odometer"
        return NextCheck(f"Due every {every}; no check has its {kind} written down.")
    due, last = max(checked) + interval, max(checked)
    now = max(used for used in (used_by(job, unit) for job in jobs) if used is not None)
    if now >= due:
        return NextCheck(
            f"Check overdue: it was due at {as_shown(due, unit)}, and the bike came in with "
            f"{as_shown(now, unit)}.",
            overdue=True,
        )
    return NextCheck(
        f"Next check due at {as_shown(due, unit)}: every {every}, last checked at {as_shown(last, unit)}."
    )


def as_shown(use: float, unit: str) -> str:
    return f"{format_number(use, 1, trim=True)} h" if unit == "h" else f"{format_number(use)} {label(unit)}"


def course_of(
    place: Place, sets: Sequence[ClearanceSet], measured: Sequence[Measured | None], shop: ShopProfile
) -> PlaceCourse:
    """Compute the trend of a clearance; over engine hours if no distance is known."""
    for unit in (shop.distance_unit, "h"):
        readings = [
            FollowedReading(used, each, math.nan if each.row.shim_mm is None else float(each.row.shim_mm))
            for used, each in zip((used_by(each.job, unit) for each in sets), measured, strict=True)
            if used is not None and each is not None
        ]
        if readings:
            return course_over(unit, place, readings, shop)
    return PlaceCourse("no distance or engine hours known")


def course_over(unit: str, place: Place, readings: list[FollowedReading], shop: ShopProfile) -> PlaceCourse:
    if place.low_mm is None or place.high_mm is None:
        return PlaceCourse("no range in the engine spec", unit, readings)
    try:
        found = compute_trend(
            [each.use for each in readings],
            [each.measured.reading.best_mm for each in readings],
            place.low_mm,
            place.high_mm,
            shim_mm=[each.shim_mm for each in readings],
            use_unit=unit,
        )
    except ValueError as problem:
        return PlaceCourse(str(problem), unit, readings)
    return PlaceCourse(found.describe(length_formatter(shop.length_unit)), unit, readings, found)


def used_by(job: Job, unit: str) -> float | None:
    """Return the distance or engine hours of the bike at a job's check-in."""
    if unit == "h":
        return job.engine_hours
    return None if job.odometer_km is None else float(convert(job.odometer_km, "km", unit))
