"""Drive force and shift points from the full-throttle runs of a job and the gears of its bike."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from jobs.calc.chassis.drive_force import ShiftAt, ShiftPoint, drive_forces, find_shift_point
from jobs.calc.chassis.roll_on import KMH_PER_MPS, Vehicle
from jobs.calc.dyno.curves import Curve
from jobs.calc.dyno.repeats import summarise_repeats
from jobs.calc.statistics import FloatArray, mean_interval
from jobs.comparisons.roll_on import (
    AIR_DENSITY_KGM3,
    DRAG_AREA_M2,
    ROLLING_COEFFICIENT,
    measured_gearing,
    recorded_mass_kg,
)
from jobs.job.results import JobResults
from jobs.models import Run
from jobs.runs.results import RunResult, run_results
from jobs.suspension.engine_ratio import Gearing, computed_gearing
from jobs.timeline.bike_states import Group, bike_states, run_sides
from jobs.tunes.set_speeds import SetSpeed, rev_limit_in_bike

SPEED_STEP_KMH = 1.0


@dataclass(frozen=True)
class DriveInputs:
    """Mass of bike and rider and drag area for the road load; a missing mass leaves the road load out."""

    mass_kg: float | None = None
    drag_area_m2: float | None = DRAG_AREA_M2


@dataclass(frozen=True)
class Shift:
    """Where to change up from a gear to the next, as the mean of the runs.

    ``half_width_rpm`` is half the 95 % interval between runs, None with a single run or if the point of any
    run is not one of equal force.
    """

    from_gear: int
    point: ShiftPoint | None
    half_width_rpm: float | None = None


@dataclass(frozen=True, eq=False)
class DriveForce:
    """Drive force in each gear with the road load; without ``forces_n``, ``reason`` says why.

    ``forces_n`` has a row for each gear, over ``speed_kmh``. No shift point lies above ``rev_limit``, which
    runs may overshoot.
    """

    inputs: DriveInputs
    runs: tuple[RunResult, ...] = ()
    gears: tuple[Gearing, ...] = ()
    speed_kmh: FloatArray | None = None
    forces_n: FloatArray | None = None
    road_load_n: FloatArray | None = None
    shifts: tuple[Shift, ...] = ()
    rev_limit: SetSpeed | None = None
    reason: str = ""

    @property
    def ends_at_limit(self) -> bool:
        """Whether the runs reach the rev limit."""
        return self.rev_limit is not None and any(
            result.curve.measured_to_rpm >= self.rev_limit.rpm for result in self.runs if result.curve
        )


def latest_sweeps(results: JobResults) -> list[RunResult]:
    """Return the full-throttle runs that count of the last state of the bike, or all if there is only one."""
    sides = run_sides(results.get(bike_states))
    by_run = results.get(run_results)
    found = [by_run[run.pk] for run in results.rows(Run) if run.kind == Run.Kind.SWEEP and run.counts]
    found = [result for result in found if result.curve]
    return [result for result in found if sides.get(result.run.pk) == Group.AFTER] or found


def default_inputs(results: JobResults) -> DriveInputs:
    return DriveInputs(recorded_mass_kg(results.job))


def gears_of(results: JobResults, runs: Sequence[RunResult]) -> tuple[Gearing, ...]:
    """Return the gearing of every gear, set by the road speed of the runs where they have one.

    Raises
    ------
    ValueError
        A ratio or the tyre is not entered; the message lists what is missing and where to enter it.
    """
    job, spec = results.job, results.job.bike.engine_spec
    if spec is None or len(spec.gear_ratios) < 2:
        raise ValueError("Missing: gear ratios in the engine spec.")
    ratios = spec.gear_ratios
    driven = sorted({gear for result in runs if (gear := result.run.gear) and gear <= len(ratios)})
    measured = {gear: found for gear in driven if (found := measured_gearing(runs, gear))}
    gear, gearing = next(iter(measured.items())) if measured else (1, computed_gearing(job, 1))
    source = f"{gearing.source}, the other gears by their ratios"
    return tuple(Gearing(gearing.rpm_per_kmh * ratio / ratios[gear - 1], source) for ratio in ratios)


def compute_drive_force(results: JobResults, inputs: DriveInputs) -> DriveForce:
    """Compute forces, road load and shift points from the latest full-throttle runs."""
    runs = tuple(latest_sweeps(results))
    curves = [result.curve for result in runs if result.curve]
    if not curves:
        return DriveForce(inputs, reason="No full-throttle run with power yet.")
    try:
        gears = gears_of(results, runs)
    except ValueError as problem:
        return DriveForce(inputs, runs, reason=str(problem))
    engine, power = mean_power(curves)
    if engine.size < 2:
        return DriveForce(inputs, runs, gears, reason="The runs have no engine speed in common.")
    ratios = [gear.rpm_per_kmh for gear in gears]
    speed = np.arange(np.floor(engine[0] / ratios[0]), np.ceil(engine[-1] / ratios[-1]) + 1, SPEED_STEP_KMH)
    speed = speed[speed > 0]
    forces = drive_forces(engine, power, ratios, speed)
    limit = results.get(rev_limit_in_bike)
    top_rpm = limit.rpm if limit else np.inf
    means = (engine, power)
    shifts = tuple(find_shift(curves, means, gear, ratios, top_rpm) for gear in range(1, len(ratios)))
    return DriveForce(inputs, runs, gears, speed, forces, road_load(inputs, speed), shifts, limit)


def mean_power(curves: Sequence[Curve]) -> tuple[FloatArray, FloatArray]:
    """Return engine speed and mean power where every run was measured."""
    repeats = summarise_repeats(curves)
    common = np.flatnonzero(np.asarray(repeats.power.n) == len(curves))
    if not common.size:
        return np.empty(0), np.empty(0)
    rows = slice(common[0], common[-1] + 1)
    mean = np.where(np.asarray(repeats.power.n) == len(curves), repeats.power.mean, np.nan)
    return repeats.engine_speed_rpm[rows], mean[rows]


def find_shift(
    curves: Sequence[Curve],
    mean: tuple[FloatArray, FloatArray],
    gear: int,
    ratios: Sequence[float],
    top_rpm: float,
) -> Shift:
    """Find where to change up from a gear, by the mean curve, and how far the runs agree."""

    def find(engine: FloatArray, power: FloatArray) -> ShiftPoint | None:
        below = engine[engine < top_rpm]
        # The curve ends at the limit itself, not at the last grid point below it.
        cut = np.append(below, top_rpm) if below.size < engine.size else below
        return find_shift_point(cut, np.interp(cut, engine, power), ratios[gear - 1], ratios[gear])

    point = find(*mean)
    if point is None or point.at is not ShiftAt.EQUAL_FORCE or len(curves) < 2:
        return Shift(gear, point)
    single = [find(curve.engine_speed_rpm, curve.power_kw) for curve in curves]
    if not all(one and one.at is ShiftAt.EQUAL_FORCE for one in single):
        return Shift(gear, point)
    interval = mean_interval([one.from_rpm for one in single if one])
    return Shift(gear, point, float(interval.half_width))


def road_load(inputs: DriveInputs, speed_kmh: FloatArray) -> FloatArray | None:
    if inputs.mass_kg is None:
        return None
    vehicle = Vehicle(
        inputs.mass_kg,
        drag_area_m2=inputs.drag_area_m2 or 0.0,
        air_density_kgm3=AIR_DENSITY_KGM3,
        rolling_coefficient=ROLLING_COEFFICIENT,
    )
    return vehicle.resistance_n(speed_kmh / KMH_PER_MPS)
