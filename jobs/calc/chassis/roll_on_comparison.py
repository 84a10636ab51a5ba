"""A roll-on before and after, with the interval between the two groups of runs.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 and 7.3.1 (two processes).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.chassis.roll_on import GearUse, RollOn, Vehicle, compute_roll_on
from jobs.calc.dyno.comparison import ComparedValue, compare_samples
from jobs.calc.dyno.curves import Curve
from jobs.calc.dyno.repeats import ASSUMED_REPEATABILITY_PCT
from jobs.calc.statistics import FloatArray, Floats, SampleSummary, summarise, welch
from jobs.calc.units.numbers import require_positive

TRACE_POINTS = 200


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


@dataclass(frozen=True, eq=False)
class _Side:
    """Roll-ons of one group; for a single run also those with so much less and more power."""

    roll_ons: list[RollOn]
    less_and_more: list[RollOn]

    def sample(self, value_of: Callable[[RollOn], Floats]) -> SampleSummary:
        if not self.less_and_more:
            return summarise(np.array([value_of(roll_on) for roll_on in self.roll_ons]), axis=0)
        less, more = (value_of(roll_on) for roll_on in self.less_and_more)
        return SampleSummary(n=1, mean=value_of(self.roll_ons[0]), sd=np.abs(more - less) / 2, df=np.inf)


def compare_roll_ons(
    before: Sequence[Curve],
    after: Sequence[Curve],
    vehicle: Vehicle,
    gears: GearUse,
    from_kmh: float,
    to_kmh: float,
    assumed_repeatability_pct: float = ASSUMED_REPEATABILITY_PCT,
) -> RollOnComparison:
    """Compare the roll-ons of two groups of runs.

    Parameters
    ----------
    before, after : sequence of Curve
    vehicle : Vehicle
    gears : GearUse
    from_kmh, to_kmh : float
        Road speeds [km/h]. Vehicle, gears and speeds are the same for all runs.
    assumed_repeatability_pct : float
        Standard deviation of the power of a side with a single run [%].

    Returns
    -------
    RollOnComparison

    Raises
    ------
    ValueError
        A side is empty, the repeatability is not above zero, or `compute_roll_on` refuses a run.

    Notes
    -----
    Welch's interval between the groups' means [1]_. The spread of a single run is (x₊ - x₋)/2, from roll-ons
    with so much more and less power.
    """
    require_positive("assumed repeatability", assumed_repeatability_pct, "%")
    if not before or not after:
        raise ValueError("A comparison needs at least one run before and one after.")

    pct = assumed_repeatability_pct

    def compute(curve: Curve, percent: float = 0.0) -> RollOn:
        changed = replace(curve, torque_nm=curve.torque_nm * (1 + percent / 100))
        return compute_roll_on(changed, vehicle, gears, from_kmh, to_kmh)

    def side(curves: Sequence[Curve]) -> _Side:
        less_and_more = [compute(curves[0], -pct), compute(curves[0], pct)] if len(curves) == 1 else []
        return _Side([compute(curve) for curve in curves], less_and_more)

    sides = (side(before), side(after))
    assumed_pct = pct if any(group.less_and_more for group in sides) else None
    first_end_s = min(r.total_time_s for group in sides for r in (*group.roll_ons, *group.less_and_more))
    time = np.linspace(0.0, first_end_s, TRACE_POINTS)

    def compare_pair(label: str, unit: str, value_of: Callable[[RollOn], float]) -> ComparedValue:
        samples = (group.sample(value_of) for group in sides)
        return compare_samples(label, unit, *samples, assumed_pct=assumed_pct)

    distance_before, distance_after = (group.sample(lambda r: r.distance_at_m(time)) for group in sides)
    lead = welch(distance_after, distance_before)
    limited_before, limited_after = (
        float(np.mean([roll_on.at_limit_s for roll_on in group.roll_ons])) for group in sides
    )
    return RollOnComparison(
        time_s=time,
        lead_m=lead.difference,
        lead_low_m=lead.ci_low,
        lead_high_m=lead.ci_high,
        time=compare_pair("Time", "s", lambda r: r.total_time_s),
        distance=compare_pair("Distance", "m", lambda r: r.total_distance_m),
        lead=compare_pair("Distance at the same instant", "m", lambda r: float(r.distance_at_m(first_end_s))),
        at_limit_s=(limited_before, limited_after),
    )
