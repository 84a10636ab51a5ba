"""A bike over its jobs: clearances against distance or engine hours, and the settings it left with."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from jobs.calc.clearance_trend import trend
from jobs.clearances import Measured, Place, measured_by_place
from jobs.models import ClearanceSet, SuspensionSetting
from workshop.models import Bike, ShopProfile
from workshop.units import convert


@dataclass(frozen=True)
class PlaceHistory:
    """One gap of one valve over all the sets, and where it is going."""

    place: Place
    measured: list[Measured | None]
    course: str


@dataclass(frozen=True)
class ClearanceHistory:
    sets: list[ClearanceSet]
    rows: list[PlaceHistory]


def clearance_history(bike: Bike, shop: ShopProfile) -> ClearanceHistory:
    """All clearances measured on a bike, in the order of measuring."""
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
        rows.append(PlaceHistory(place, measured, course(place, sets, measured, shop)))
    return ClearanceHistory(sets, rows)


def course(
    place: Place, sets: Sequence[ClearanceSet], measured: Sequence[Measured | None], shop: ShopProfile
) -> str:
    """Where a clearance is going, in a sentence; over engine hours where no distance is known."""
    for unit in (shop.distance_unit, "h"):
        told = course_over(unit, place, sets, measured)
        if told:
            return told
    return "no distance or engine hours known"


def course_over(
    unit: str, place: Place, sets: Sequence[ClearanceSet], measured: Sequence[Measured | None]
) -> str:
    points = [
        (used, each.reading.best_mm, each.row.shim_mm)
        for used, each in zip((used_at(each, unit) for each in sets), measured, strict=True)
        if used is not None and each is not None
    ]
    if not points or place.low_mm is None or place.high_mm is None:
        return ""
    use, clearances, shims = zip(*points, strict=True)
    shim_mm = [math.nan if shim is None else float(shim) for shim in shims]
    try:
        return trend(use, clearances, place.low_mm, place.high_mm, shim_mm=shim_mm, use_unit=unit).sentence
    except ValueError as problem:
        return str(problem)


def used_at(measured: ClearanceSet, unit: str) -> float | None:
    """Distance or engine hours of the bike when the set was measured, as its job was received."""
    job = measured.job
    if unit == "h":
        return job.engine_hours
    return None if job.odometer_km is None else float(convert(job.odometer_km, "km", unit))


def settings_left(bike: Bike) -> list[SuspensionSetting]:
    """The settings that the bike left with, job by job, the latest first."""
    left: dict[Any, SuspensionSetting] = {}
    rows = SuspensionSetting.objects.filter(job__bike=bike).select_related("job").order_by("set_at", "pk")
    for setting in rows:
        left[setting.job_id] = setting
    return list(reversed(left.values()))
