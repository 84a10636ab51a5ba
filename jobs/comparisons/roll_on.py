"""Compute the roll-on of a comparison; gear, speeds and mass default to runs, bike and rider."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from jobs.calc.chassis.roll_on import (
    GearUse,
    Vehicle,
    compute_rotating_share,
    dry_air_density_kgm3,
    front_lift_limit_n,
    tyre_grip_limit_n,
)
from jobs.calc.chassis.roll_on_comparison import RollOnComparison, compare_roll_ons
from jobs.calc.dyno.air import STANDARDS
from jobs.calc.dyno.consistency import ratio_change
from jobs.calc.units.numbers import format_digits, format_number
from jobs.comparisons.compare import ComparisonResult
from jobs.models import Job
from jobs.runs.results import RunResult
from jobs.suspension.engine_ratio import Gearing, computed_gearing
from jobs.suspension.gearing import rear_tyre
from workshop.models import Bike, ShopProfile
from workshop.units.display import convert, decimals, label, storage_unit
from workshop.units.shop_units import shop_unit

# A solo rider sitting up behind a small screen, and tyres on asphalt. Rule of thumb, no published source.
DRAG_AREA_M2 = 0.45
ROLLING_COEFFICIENT = 0.02
AIR_DENSITY_KGM3 = 1.2  # where the power is not corrected to the air of a standard
# Wheels and engine of a bike in a middle gear. Rule of thumb, no published source.
ROTATING_PCT = 5.0
FRONT_WHEEL, REAR_TYRE = gettext_noop("the front wheel"), gettext_noop("the rear tyre")
WHEELS = 2.0  # the front wheel counts like the rear one
# A solo rider on a sports or naked bike, a warm sound tyre on a dry road. Rule of thumb, no published source.
WHEELBASE_MM, MASS_AHEAD_MM, MASS_HEIGHT_MM, FRICTION = 1420.0, 690.0, 620.0, 1.2
GEARING_TOLERANCE = 0.02
# Default start and end as shares of the measured speed range.
BEGIN_SHARE, END_SHARE = 0.25, 0.9


@dataclass(frozen=True)
class RollOnInputs:
    """Inputs of a roll-on; None if neither entered nor on record."""

    gear: int | None = None
    from_kmh: float | None = None
    to_kmh: float | None = None
    mass_kg: float | None = None
    drag_area_m2: float | None = DRAG_AREA_M2
    wheelbase_mm: float | None = WHEELBASE_MM
    mass_ahead_mm: float | None = MASS_AHEAD_MM
    mass_height_mm: float | None = MASS_HEIGHT_MM
    friction: float | None = FRICTION
    rotating_pct: float | None = None


@dataclass(frozen=True)
class RollOnAir:
    """Density of the air that drag is computed with, and the air that the power is corrected to."""

    density_kgm3: float
    sentence: str


@dataclass(frozen=True)
class DriveLimit:
    """Largest usable drive force and its cause: the front wheel lifts or the rear tyre slips."""

    drive_n: float
    by: str


@dataclass(frozen=True, eq=False)
class RollOnResult:
    """Result of a roll-on with its inputs; without a ``result``, ``reason`` says why.

    ``result`` is for the engine alone, ``limited`` for the drive force kept to the ``limit``.
    """

    inputs: RollOnInputs
    gearing: Gearing | None = None
    result: RollOnComparison | None = None
    limit: DriveLimit | None = None
    limited: RollOnComparison | None = None
    notes: tuple[str, ...] = ()
    reason: str = ""
    rotating_source: str = ""
    air: RollOnAir | None = None


def measured_gearing(runs: Iterable[RunResult], gear: int) -> Gearing | None:
    """Return the ratio measured on runs in this gear, without slip of tyre and clutch at its worst."""
    found = []
    for run_result in runs:
        rows = run_result.rows
        if run_result.run.gear == gear and {"engine_speed_rpm", "road_speed_kmh"} <= rows.keys():
            change = ratio_change(rows["engine_speed_rpm"], rows["road_speed_kmh"])
            found += [change.reference] if change else []
    if not found:
        return None
    text = ngettext(
        "measured on %(count)s run in gear %(gear)s",
        "measured on %(count)s runs in gear %(gear)s",
        len(found),
    )
    return Gearing(float(np.median(found)), text % {"count": len(found), "gear": gear})


def default_inputs(compared: ComparisonResult) -> RollOnInputs:
    """Return the gear of most runs and the recorded mass of bike and rider."""
    gears = [f.run.gear for f in (*compared.before, *compared.after) if f.run.gear]
    gear = max(sorted(set(gears)), key=gears.count) if gears else None
    return RollOnInputs(gear=gear, mass_kg=recorded_mass_kg(compared.comparison.job))


def recorded_mass_kg(job: Job) -> float | None:
    spec, rider_kg = job.bike.engine_spec, job.customer.riding_mass_kg
    if spec is None or spec.wet_mass_kg is None or rider_kg is None:
        return None
    return spec.wet_mass_kg + rider_kg


def describe_missing_mass(job: Job) -> str:
    spec = job.bike.engine_spec
    parts = [
        "the bike's wet mass (engine)" if spec is None or spec.wet_mass_kg is None else "",
        "the rider's weight with gear (customer)" if job.customer.riding_mass_kg is None else "",
    ]
    return f"Missing: {' and '.join(part for part in parts if part)}. Enter the total mass here instead."


def compute_roll_on(compared: ComparisonResult, inputs: RollOnInputs, shop: ShopProfile) -> RollOnResult:
    """Compare both groups in a roll-on in one gear between two speeds.

    Missing speeds default to the measured range. The curves are those of the comparison, so the interval
    between its groups carries over to time, distance and lead.
    """
    job = compared.comparison.job
    runs = (*compared.before, *compared.after)
    if compared.result is None:
        return RollOnResult(inputs, reason=compared.reason)
    gear = inputs.gear
    if gear is None:
        return RollOnResult(inputs, reason="No run has a recorded gear. Choose a gear.")
    try:
        gearing = measured_gearing(runs, gear) or computed_gearing(job, gear)
    except ValueError as problem:
        return RollOnResult(inputs, reason=str(problem))
    inputs = fill_speeds(inputs, runs, gearing, shop)
    if inputs.mass_kg is None:
        return RollOnResult(inputs, gearing, reason=describe_missing_mass(job))
    notes = gearing_warnings(compared, gear)
    inputs, rotating_source = fill_rotating(inputs, job.bike, gearing)
    air = air_of_power(runs, shop)
    try:
        limit = find_limit(inputs)
        result = compare_sides(compared, inputs, gearing, air)
        limited = compare_sides(compared, inputs, gearing, air, limit.drive_n)
    except ValueError as problem:
        return RollOnResult(inputs, gearing, notes=notes, reason=str(problem))
    return RollOnResult(inputs, gearing, result, limit, limited, notes, "", rotating_source, air)


def fill_rotating(inputs: RollOnInputs, bike: Bike, gearing: Gearing) -> tuple[RollOnInputs, str]:
    """Fill in what the rotating masses add, and return where it comes from."""
    if inputs.rotating_pct is not None:
        return inputs, _("as entered")
    spec, tyre = bike.engine_spec, rear_tyre(bike)
    if spec and tyre and spec.engine_inertia_kgm2 and spec.wheel_inertia_kgm2 and inputs.mass_kg:
        share = compute_rotating_share(
            inputs.mass_kg,
            gearing.rpm_per_kmh,
            tyre.rolling_circumference_mm / 2000 / math.pi,
            spec.engine_inertia_kgm2,
            WHEELS * spec.wheel_inertia_kgm2,
        )
        return replace(inputs, rotating_pct=round(100 * share, 1)), _("from the inertias of the engine spec")
    return replace(inputs, rotating_pct=ROTATING_PCT), _("assumed")


def format_given(value: float, quantity: str, shop: ShopProfile) -> str:
    """Write an assumed value in the shop's unit, without zeros that nobody measured."""
    unit = shop_unit(shop, quantity)
    shown = round(convert(value, storage_unit(quantity), unit), decimals(quantity, unit))
    return f"{format_digits(shown)} {label(unit)}"


def air_of_power(runs: Iterable[RunResult], shop: ShopProfile) -> RollOnAir:
    """Return the reference air of the standard if the power of all runs is corrected to it."""
    if not all(run_result.is_corrected for run_result in runs):
        text = _("Power as measured, not corrected for the air; drag in air of %(density)s kg/m³.")
        return RollOnAir(AIR_DENSITY_KGM3, text % {"density": format_digits(AIR_DENSITY_KGM3)})
    standard = STANDARDS[shop.correction_standard]
    temperature, pressure = standard.reference_temperature_c, standard.reference_pressure_kpa
    density = dry_air_density_kgm3(temperature, pressure)
    warmth = format_given(temperature, "temperature", shop)
    barometer = format_given(pressure, "pressure", shop)
    text = (
        _(
            "Power as corrected to %(standard)s: %(temperature)s and %(pressure)s, dry; drag in the "
            "same air, %(density)s kg/m³. In different air, both differ."
        )
        if standard.pressure_kind == "dry"
        else _(
            "Power as corrected to %(standard)s: %(temperature)s and %(pressure)s; drag in the same "
            "air, %(density)s kg/m³. In different air, both differ."
        )
    )
    values = {
        "standard": standard.name,
        "temperature": warmth,
        "pressure": barometer,
        "density": format_number(density, 2),
    }
    return RollOnAir(density, text % values)


def find_limit(inputs: RollOnInputs) -> DriveLimit:
    """Return the lower limit of front wheel and rear tyre.

    Raises
    ------
    ValueError
        The geometry is impossible.
    """
    mass_kg = inputs.mass_kg or 0.0
    ahead_m, height_m = ((length or 0.0) / 1000 for length in (inputs.mass_ahead_mm, inputs.mass_height_mm))
    lift = front_lift_limit_n(mass_kg, ahead_m, height_m)
    grip = tyre_grip_limit_n(
        mass_kg, inputs.friction or 0.0, (inputs.wheelbase_mm or 0.0) / 1000, ahead_m, height_m
    )
    return DriveLimit(lift, FRONT_WHEEL) if lift <= grip else DriveLimit(grip, REAR_TYRE)


def compare_sides(
    compared: ComparisonResult,
    inputs: RollOnInputs,
    gearing: Gearing,
    air: RollOnAir,
    limit_n: float | None = None,
) -> RollOnComparison:
    assert (
        compared.result and inputs.mass_kg and inputs.from_kmh is not None and inputs.to_kmh
    )  # all given by now
    vehicle = Vehicle(
        mass_kg=inputs.mass_kg,
        drag_area_m2=inputs.drag_area_m2 or 0.0,
        rotating_share=(inputs.rotating_pct or 0.0) / 100,
        air_density_kgm3=air.density_kgm3,
        rolling_coefficient=ROLLING_COEFFICIENT,
        drive_limit_n=limit_n,
    )
    before, after = ([f.curve for f in side if f.curve] for side in (compared.before, compared.after))
    gears = GearUse((gearing.rpm_per_kmh,))
    return compare_roll_ons(
        before,
        after,
        vehicle,
        gears,
        inputs.from_kmh,
        inputs.to_kmh,
        design=compared.result.design,
        spread=compared.spread,
    )


def fill_speeds(
    inputs: RollOnInputs, runs: Iterable[RunResult], gearing: Gearing, shop: ShopProfile
) -> RollOnInputs:
    """Fill in missing speeds, in whole fives of the shop's unit, well inside the range of every run."""
    curves = [f.curve for f in runs if f.curve]
    low, high = max(c.measured_from_rpm for c in curves), min(c.measured_to_rpm for c in curves)
    five_kmh = convert(5.0, shop_unit(shop, "speed"), "kmh")

    def round_down(share: float) -> float:
        return five_kmh * math.floor((low + share * (high - low)) / gearing.rpm_per_kmh / five_kmh)

    start, end = (
        round_down(share) if given is None else given
        for share, given in ((BEGIN_SHARE, inputs.from_kmh), (END_SHARE, inputs.to_kmh))
    )
    return replace(inputs, from_kmh=start, to_kmh=end)


def gearing_warnings(compared: ComparisonResult, gear: int) -> tuple[str, ...]:
    """Warn if the two groups were geared differently, because one gearing is used for both."""
    sides = [measured_gearing(side, gear) for side in (compared.before, compared.after)]
    if not all(sides):
        return ()
    before, after = (side.rpm_per_kmh for side in sides if side)
    if np.isclose(before, after, rtol=GEARING_TOLERANCE):
        return ()
    text = _(
        "The gearing differs by %(change)s %% between before and after. One of them is used for both here."
    )
    return (text % {"change": format_number(100 * (after / before - 1), 1, signed=True)},)
