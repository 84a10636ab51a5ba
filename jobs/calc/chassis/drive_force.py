"""Drive force at the rear wheel in each gear over road speed, road load, and where to change up.

References
----------
.. [1] T. D. Gillespie, Fundamentals of Vehicle Dynamics (SAE, 1992), chapter 2: tractive force in each gear
   and road load over speed (from memory).
.. [2] UN Global Technical Regulation No. 15, annex 4: road load as a polynomial of second degree in speed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.chassis.roll_on import KMH_PER_MPS
from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import require_positive

WATTS_PER_KW = 1000.0


class ShiftAt(StrEnum):
    """What a shift point is: equal forces, or an end of what was measured, one gear ahead throughout."""

    EQUAL_FORCE = "equal force"
    END = "end"
    START = "start"


@dataclass(frozen=True)
class ShiftPoint:
    """Where to change from one gear to the next.

    Attributes
    ----------
    speed_kmh, from_rpm, to_rpm, force_n : float
        Road speed [km/h], engine speed before and after the change [1/min], drive force [N] in the next gear.
    at : ShiftAt
        Both gears pull equally hard there; or the lower gear still pulls harder at the highest engine speed
        that was measured (end), or the next gear does so from the lowest on (start).
    """

    speed_kmh: float
    from_rpm: float
    to_rpm: float
    force_n: float
    at: ShiftAt


def drive_forces(
    engine_speed_rpm: npt.ArrayLike,
    power_kw: npt.ArrayLike,
    rpm_per_kmh: Sequence[float],
    speed_kmh: npt.ArrayLike,
) -> FloatArray:
    """Compute the drive force in each gear at given road speeds.

    Parameters
    ----------
    engine_speed_rpm, power_kw : array, (g,)
        Curve of the power at the wheel, engine speed rising [1/min], [kW]; NaN is not measured.
    rpm_per_kmh : sequence of float, (gears,)
        Engine speed over road speed in each gear [1/min per km/h].
    speed_kmh : array, (v,)
        Road speeds above zero [km/h].

    Returns
    -------
    array, (gears, v)
        Force [N]; NaN where the engine speed was not measured.

    Raises
    ------
    ValueError
        A ratio is not above zero.

    Notes
    -----
    F = P / v with the power at the engine speed of the gear [1]_: a steady speed, the losses of the gear in
    which the power was measured, and no slip.
    """
    for ratio in rpm_per_kmh:
        require_positive("engine speed per km/h", ratio, "rpm")
    engine, power = np.asarray(engine_speed_rpm, dtype=float), np.asarray(power_kw, dtype=float)
    speed = np.asarray(speed_kmh, dtype=float)
    at = np.multiply.outer(np.asarray(rpm_per_kmh, dtype=float), speed)
    found = np.interp(at, engine, power, left=np.nan, right=np.nan)
    return np.asarray(WATTS_PER_KW * found / (speed / KMH_PER_MPS))


def find_shift_point(
    engine_speed_rpm: npt.ArrayLike, power_kw: npt.ArrayLike, lower: float, upper: float
) -> ShiftPoint | None:
    """Find where to change up: the next gear pulls as hard from there on.

    Parameters
    ----------
    engine_speed_rpm, power_kw : array, (g,)
        Curve of the power at the wheel, engine speed rising [1/min], [kW]; NaN is not measured.
    lower, upper : float
        Engine speed over road speed in the lower gear and in the next [1/min per km/h].

    Returns
    -------
    ShiftPoint or None
        None if the gears have no measured road speed in common, or the point lies where nothing was measured.

    Raises
    ------
    ValueError
        A ratio is not above zero, or the next gear is not the longer one.

    Notes
    -----
    At one road speed the forces compare as the powers, so the point is the highest speed at which P(n) in
    the lower gear falls to P(n·upper/lower) in the next: past it the next gear pulls harder [1]_. Piecewise
    linear between the points of the curve; never beyond what was measured.
    """
    require_positive("engine speed per km/h", upper, "rpm")
    require_positive("engine speed per km/h", lower, "rpm")
    if not lower > upper:
        raise ValueError("Each gear must be taller than the one before.")
    engine, power = np.asarray(engine_speed_rpm, dtype=float), np.asarray(power_kw, dtype=float)
    # Knots of both gears' curves: between two of them the difference is a straight line.
    knots = np.unique(np.concatenate((engine, engine * lower / upper)))
    ahead = np.interp(knots, engine, power, right=np.nan) - np.interp(
        knots * upper / lower, engine, power, left=np.nan
    )
    measured = np.flatnonzero(np.isfinite(ahead))
    if not measured.size:
        return None
    falls = np.flatnonzero((ahead[:-1] > 0) & (ahead[1:] <= 0))
    last = measured[-1]
    if ahead[last] > 0:
        rpm, at = float(knots[last]), ShiftAt.END
    elif falls.size:
        low = falls[-1]
        share = ahead[low] / (ahead[low] - ahead[low + 1])
        rpm, at = float(knots[low] + share * (knots[low + 1] - knots[low])), ShiftAt.EQUAL_FORCE
    elif ahead[measured[0]] > 0:
        return None
    else:
        rpm, at = float(knots[measured[0]]), ShiftAt.START
    speed, after = rpm / lower, rpm * upper / lower
    force = WATTS_PER_KW * float(np.interp(after, engine, power)) / (speed / KMH_PER_MPS)
    return ShiftPoint(speed, rpm, after, force, at)
