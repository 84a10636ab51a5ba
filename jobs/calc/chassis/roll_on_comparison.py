"""A roll-on before and after, with the interval between the two groups of runs.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 and 4.1.4.1.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.chassis.roll_on import GearUse, RollOn, Vehicle, compute_roll_on
from jobs.calc.dyno.comparison import ComparedValue, compare_values, default_design, in_order
from jobs.calc.dyno.curves import Curve
from jobs.calc.dyno.design import Design, estimate
from jobs.calc.dyno.repeats import ASSUMED_REPEATABILITY_PCT
from jobs.calc.dyno.spread import ShopSpread, assumed_spread
from jobs.calc.statistics import FloatArray

TRACE_POINTS = 200
STEP = 0.001


@dataclass(frozen=True, eq=False)
class RollOnComparison:
    """Roll-ons before and after, each run computed by itself.

    Attributes
    ----------
    time_s, lead_m, lead_low_m, lead_high_m : array, (k,)
        Time [s], and how far after is ahead of before at the same instant, all having started together (means
        of the groups), with its 95 % interval [m]; until the first run reaches the end speed.
    time, distance, lead : ComparedValue
        Time [s] and distance [m] between the two speeds, and the distance covered at the last instant of
        ``time_s`` [m]: the difference of that one is the lead, with its interval.
    at_limit_s : (float, float)
        Time for which tyre or front wheel, not the engine, set the drive; means of the two groups [s].
    """

    time_s: FloatArray
    lead_m: FloatArray
    lead_low_m: FloatArray
    lead_high_m: FloatArray
    time: ComparedValue
    distance: ComparedValue
    lead: ComparedValue
    at_limit_s: tuple[float, float]


def compare_roll_ons(
    before: Sequence[Curve],
    after: Sequence[Curve],
    vehicle: Vehicle,
    gears: GearUse,
    from_kmh: float,
    to_kmh: float,
    *,
    design: Design | None = None,
    spread: ShopSpread | None = None,
) -> RollOnComparison:
    """Compare the roll-ons of two groups of runs.

    Parameters
    ----------
    before, after : sequence of Curve
    vehicle : Vehicle
    gears : GearUse
    from_kmh, to_kmh : float
        Road speeds [km/h]. Vehicle, gears and speeds are the same for all runs.
    design, spread
        As for `jobs.calc.dyno.comparison.compare`.

    Returns
    -------
    RollOnComparison

    Raises
    ------
    ValueError
        A side is empty, or `compute_roll_on` refuses a run.

    Notes
    -----
    The interval of the comparison of the runs [1]_. The shop's spread of power p becomes one of a result x by
    dx/dp, from a roll-on with a thousandth less power.
    """
    if not before or not after:
        raise ValueError("A comparison needs at least one run before and one after.")
    design = design or default_design(len(before), len(after))
    spread = spread or assumed_spread(ASSUMED_REPEATABILITY_PCT, before[0].width_rpm)

    def compute(curve: Curve, share: float = 1.0) -> RollOn:
        changed = replace(curve, torque_nm=curve.torque_nm * share)
        return compute_roll_on(changed, vehicle, gears, from_kmh, to_kmh)

    sides = [[compute(curve) for curve in side] for side in (before, after)]
    weaker = [compute(side[0], 1 - STEP) for side in (before, after)]
    first_end_s = min(roll_on.total_time_s for side in sides for roll_on in side)
    time = np.linspace(0.0, first_end_s, TRACE_POINTS)

    def compare_pair(label: str, unit: str, value_of: Callable[[RollOn], float]) -> ComparedValue:
        values = [[value_of(roll_on) for roll_on in side] for side in sides]
        level = [(side[0] - value_of(less)) / STEP for side, less in zip(values, weaker, strict=True)]
        return compare_values(
            label, unit, values[0], values[1], spread.mean, spread.session, design=design, level=level
        )

    distances = [np.array([r.distance_at_m(time) for r in side]) for side in sides]
    level = [
        (side[0] - less.distance_at_m(time)) / STEP for side, less in zip(distances, weaker, strict=True)
    ]
    lead = estimate(design, in_order(design, distances[0], distances[1]), spread.mean, spread.session, level)
    limited_before, limited_after = (
        float(np.mean([roll_on.at_limit_s for roll_on in side])) for side in sides
    )
    return RollOnComparison(
        time_s=time,
        lead_m=lead.difference,
        lead_low_m=lead.difference - lead.half_width,
        lead_high_m=lead.difference + lead.half_width,
        time=compare_pair("Time", "s", lambda r: r.total_time_s),
        distance=compare_pair("Distance", "m", lambda r: r.total_distance_m),
        lead=compare_pair(
            "Distance covered in the same time", "m", lambda r: float(r.distance_at_m(first_end_s))
        ),
        at_limit_s=(limited_before, limited_after),
    )
