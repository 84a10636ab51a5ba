"""The drive out of a turn before and after, with the interval between the two groups of runs."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.chassis.roll_on import TRACE_POINTS, DriveOut, GearUse, Vehicle, drive_out
from jobs.calc.dyno.comparison import Figure, figure_of
from jobs.calc.dyno.curves import Curve
from jobs.calc.dyno.repeats import ASSUMED_REPEATABILITY_PCT
from jobs.calc.statistics import FloatArray, Floats, SampleSummary, summarise, welch
from jobs.calc.units.numbers import require_positive


@dataclass(frozen=True, eq=False)
class DriveComparison:
    """Drive-outs before and after, each run driven by itself.

    Attributes
    ----------
    time_s, lead_m, lead_low_m, lead_high_m : array, (k,)
        Metres that after is ahead of before at the same instant, all having started together
        (means of the groups), with the 95 % interval, until the first run reaches the end speed.
    time, distance, lead : Figure
        Time and distance between the two speeds, and the distance covered at the last instant of
        ``time_s``: the difference of that one is the lead, with its interval.
    at_ceiling_s : (float, float)
        Time for which tyre or front wheel, not the engine, set the drive; means of the two groups.
    """

    time_s: FloatArray
    lead_m: FloatArray
    lead_low_m: FloatArray
    lead_high_m: FloatArray
    time: Figure
    distance: Figure
    lead: Figure
    at_ceiling_s: tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Side:
    """Drives of one group; for a single run also those with so much less and more power."""

    drives: list[DriveOut]
    around: list[DriveOut]

    def sample(self, figure: Callable[[DriveOut], Floats]) -> SampleSummary:
        if not self.around:
            return summarise(np.array([figure(d) for d in self.drives]), axis=0)
        less, more = (figure(d) for d in self.around)
        return SampleSummary(n=1, mean=figure(self.drives[0]), sd=np.abs(more - less) / 2, df=np.inf)


def compare_drive(
    before: Sequence[Curve],
    after: Sequence[Curve],
    vehicle: Vehicle,
    gears: GearUse,
    from_kmh: float,
    to_kmh: float,
    assumed_repeatability_pct: float = ASSUMED_REPEATABILITY_PCT,
) -> DriveComparison:
    """Drive-outs of two groups of runs, with the interval between the groups.

    Parameters
    ----------
    before, after : sequence of Curve
    vehicle, gears, from_kmh, to_kmh
        As for `jobs.calc.drive.drive_out`, the same for all runs.
    assumed_repeatability_pct : float
        For a side with a single run: standard deviation of its power. Driving with so much less
        and so much more power turns it into that of time and distance.

    Raises
    ------
    ValueError
        An empty side, a repeatability not above zero, or what `drive_out` raises.
    """
    require_positive("assumed repeatability", assumed_repeatability_pct, "%")
    if not before or not after:
        raise ValueError("A comparison needs at least one run before and one after.")

    pct = assumed_repeatability_pct

    def drive(curve: Curve, percent: float = 0.0) -> DriveOut:
        changed = replace(curve, torque_nm=curve.torque_nm * (1 + percent / 100))
        return drive_out(changed, vehicle, gears, from_kmh, to_kmh)

    def side(curves: Sequence[Curve]) -> _Side:
        around = [drive(curves[0], -pct), drive(curves[0], pct)] if len(curves) == 1 else []
        return _Side([drive(curve) for curve in curves], around)

    groups = (side(before), side(after))
    assumed_pct = pct if any(group.around for group in groups) else None
    first_done = min(d.total_time_s for g in groups for d in (*g.drives, *g.around))
    time = np.linspace(0.0, first_done, TRACE_POINTS)

    def both(label: str, unit: str, figure: Callable[[DriveOut], float]) -> Figure:
        return figure_of(label, unit, *(g.sample(figure) for g in groups), assumed_pct=assumed_pct)

    gone_before, gone_after = (g.sample(lambda d: d.distance_at_m(time)) for g in groups)
    ahead = welch(gone_after, gone_before)
    held_before, held_after = (float(np.mean([d.at_ceiling_s for d in g.drives])) for g in groups)
    return DriveComparison(
        time_s=time,
        lead_m=ahead.difference,
        lead_low_m=ahead.ci_low,
        lead_high_m=ahead.ci_high,
        time=both("Time", "s", lambda d: d.total_time_s),
        distance=both("Distance", "m", lambda d: d.total_distance_m),
        lead=both("Distance at the same instant", "m", lambda d: float(d.distance_at_m(first_done))),
        at_ceiling_s=(held_before, held_after),
    )
