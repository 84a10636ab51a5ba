"""The drive-out of a comparison: gear, speeds and mass from runs, bike and rider, unless said otherwise."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.chassis.roll_on import GearUse, Vehicle, front_lift_limit_n, tyre_grip_limit_n
from jobs.calc.chassis.roll_on_comparison import RollOnComparison, compare_roll_ons
from jobs.calc.dyno.consistency import ratio_change
from jobs.calc.units.numbers import format_number
from jobs.comparisons.compare import Compared
from jobs.models import Job
from jobs.runs.results import RunFigures
from jobs.suspension.engine_ratio import Gearing, computed_gearing
from workshop.models import ShopProfile
from workshop.units.display import convert
from workshop.units.shop_units import shop_unit

# A solo rider sitting up behind a small screen, and tyres on asphalt: common practice, no source.
DRAG_AREA_M2 = 0.45
ROLLING_COEFFICIENT = 0.02
AIR_DENSITY_KGM3 = 1.2
# A solo rider on a sports or naked bike, a warm sound tyre on a dry road: common practice, no source.
WHEELBASE_MM, MASS_AHEAD_MM, MASS_HEIGHT_MM, FRICTION = 1420.0, 690.0, 620.0, 1.2
RATIOS_APART = 0.02
# Where in the range that was measured the drive begins and ends, unless somebody says.
BEGIN_SHARE, END_SHARE = 0.25, 0.9


@dataclass(frozen=True)
class DriveAsked:
    """What is known of a drive-out; None where nobody has said and nothing is on record."""

    gear: int | None = None
    from_kmh: float | None = None
    to_kmh: float | None = None
    mass_kg: float | None = None
    drag_area_m2: float | None = DRAG_AREA_M2
    wheelbase_mm: float | None = WHEELBASE_MM
    mass_ahead_mm: float | None = MASS_AHEAD_MM
    mass_height_mm: float | None = MASS_HEIGHT_MM
    friction: float | None = FRICTION


@dataclass(frozen=True)
class Ceiling:
    """The most drive at the rear wheel, and what sets it: the front wheel about to lift, or the rear tyre."""

    drive_n: float
    by: str


@dataclass(frozen=True, eq=False)
class Driven:
    """A drive-out with what it was driven by; ``result`` is None where ``reason`` says why not.

    ``result`` is what the engine alone gives, ``held`` the same held to the ``ceiling``.
    """

    asked: DriveAsked
    gearing: Gearing | None = None
    result: RollOnComparison | None = None
    ceiling: Ceiling | None = None
    held: RollOnComparison | None = None
    notes: tuple[str, ...] = ()
    reason: str = ""


def measured_gearing(runs: Iterable[RunFigures], gear: int) -> Gearing | None:
    """The ratio that runs made in this gear show, without the slip of tyre and clutch at its worst."""
    found = []
    for figures in runs:
        rows = figures.rows
        if figures.run.gear == gear and {"engine_speed_rpm", "road_speed_kmh"} <= rows.keys():
            change = ratio_change(rows["engine_speed_rpm"], rows["road_speed_kmh"])
            found += [change.reference] if change else []
    if not found:
        return None
    of = "1 run" if len(found) == 1 else f"{len(found)} runs"
    return Gearing(float(np.median(found)), f"measured on {of} in gear {gear}")


def drive_on_record(compared: Compared) -> DriveAsked:
    """What runs, bike and customer give: the gear most runs were made in, and what bike and rider weigh."""
    gears = [f.run.gear for f in (*compared.before, *compared.after) if f.run.gear]
    gear = max(sorted(set(gears)), key=gears.count) if gears else None
    return DriveAsked(gear=gear, mass_kg=mass_on_record(compared.comparison.job))


def mass_on_record(job: Job) -> float | None:
    spec, rider_kg = job.bike.engine_spec, job.customer.riding_mass_kg
    if spec is None or spec.wet_mass_kg is None or rider_kg is None:
        return None
    return spec.wet_mass_kg + rider_kg


def missing_mass(job: Job) -> str:
    spec = job.bike.engine_spec
    parts = [
        "the bike's wet mass (engine)" if spec is None or spec.wet_mass_kg is None else "",
        "the rider's mass in riding kit (customer)" if job.customer.riding_mass_kg is None else "",
    ]
    return f"Not entered: {' and '.join(part for part in parts if part)}. Type the mass of both here instead."


def drive_of(compared: Compared, asked: DriveAsked, shop: ShopProfile) -> Driven:
    """Both groups driven out in one gear between two speeds.

    Speeds that nobody gave are taken from what was measured. The curves are those of the comparison,
    so the interval between its groups is carried into time, distance and lead.
    """
    job = compared.comparison.job
    runs = (*compared.before, *compared.after)
    if compared.result is None:
        return Driven(asked, reason=compared.reason)
    gear = asked.gear
    if gear is None:
        return Driven(asked, reason="No run says its gear: choose the gear to drive out in.")
    try:
        gearing = measured_gearing(runs, gear) or computed_gearing(job, gear)
    except ValueError as problem:
        return Driven(asked, reason=str(problem))
    asked = with_speeds(asked, runs, gearing, shop)
    if asked.mass_kg is None:
        return Driven(asked, gearing, reason=missing_mass(job))
    notes = ratio_notes(compared, gear)
    try:
        ceiling = ceiling_of(asked)
        result = driven(compared, asked, gearing)
        held = driven(compared, asked, gearing, ceiling.drive_n)
    except ValueError as problem:
        return Driven(asked, gearing, notes=notes, reason=str(problem))
    return Driven(asked, gearing, result, ceiling, held, notes)


def ceiling_of(asked: DriveAsked) -> Ceiling:
    """What the front wheel and the rear tyre allow, whichever is less.

    Raises
    ------
    ValueError
        The geometry can't be.
    """
    mass_kg = asked.mass_kg or 0.0
    ahead_m, height_m = ((length or 0.0) / 1000 for length in (asked.mass_ahead_mm, asked.mass_height_mm))
    lift = front_lift_limit_n(mass_kg, ahead_m, height_m)
    grip = tyre_grip_limit_n(
        mass_kg, asked.friction or 0.0, (asked.wheelbase_mm or 0.0) / 1000, ahead_m, height_m
    )
    return Ceiling(lift, "the front wheel") if lift <= grip else Ceiling(grip, "the rear tyre")


def driven(
    compared: Compared, asked: DriveAsked, gearing: Gearing, ceiling_n: float | None = None
) -> RollOnComparison:
    assert (
        compared.result and asked.mass_kg and asked.from_kmh is not None and asked.to_kmh
    )  # all given by now
    vehicle = Vehicle(
        mass_kg=asked.mass_kg,
        drag_area_m2=asked.drag_area_m2 or 0.0,
        air_density_kgm3=AIR_DENSITY_KGM3,
        rolling_coefficient=ROLLING_COEFFICIENT,
        drive_limit_n=ceiling_n,
    )
    before, after = ([f.curve for f in side if f.curve] for side in (compared.before, compared.after))
    pct = compared.repeatability_pct
    gears = GearUse((gearing.rpm_per_kmh,))
    return compare_roll_ons(before, after, vehicle, gears, asked.from_kmh, asked.to_kmh, pct)


def with_speeds(
    asked: DriveAsked, runs: Iterable[RunFigures], gearing: Gearing, shop: ShopProfile
) -> DriveAsked:
    """Speeds in whole fives of the shop's unit, well inside what every run measured."""
    curves = [f.curve for f in runs if f.curve]
    low, high = max(c.measured_from_rpm for c in curves), min(c.measured_to_rpm for c in curves)
    five_kmh = convert(5.0, shop_unit(shop, "speed"), "kmh")

    def whole(share: float) -> float:
        return five_kmh * math.floor((low + share * (high - low)) / gearing.rpm_per_kmh / five_kmh)

    start, end = (
        whole(share) if given is None else given
        for share, given in ((BEGIN_SHARE, asked.from_kmh), (END_SHARE, asked.to_kmh))
    )
    return replace(asked, from_kmh=start, to_kmh=end)


def ratio_notes(compared: Compared, gear: int) -> tuple[str, ...]:
    """Say so where the two groups were geared differently: one gearing stands for both."""
    sides = [measured_gearing(side, gear) for side in (compared.before, compared.after)]
    if not all(sides):
        return ()
    before, after = (side.rpm_per_kmh for side in sides if side)
    if np.isclose(before, after, rtol=RATIOS_APART):
        return ()
    change = format_number(100 * (after / before - 1), 1, signed=True)
    return (f"The gearing differs by {change} % between the groups; one stands for both here.",)
