"""The ignition advance with the most torque, from torque measured at several advances.

References
----------
.. [1] J. B. Heywood, Internal Combustion Engine Fundamentals (1988), 9.1 and 15.4.1: torque over spark timing
   is close to a parabola about the timing of maximum brake torque (from memory).
.. [2] E. C. Fieller, "Some problems in interval estimation", J. R. Stat. Soc. B 16 (1954), 175-185.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray, t_quantile

MIN_POINTS = 5
MIN_ADVANCES = 3


class AdvanceVerdict(StrEnum):
    """What a sweep of the ignition advance shows."""

    FOUND = "found"
    RISES = "torque still rises with more advance"
    FALLS = "torque falls with more advance"
    FLAT = "no best advance shown"


@dataclass(frozen=True, eq=False)
class BestAdvance:
    """The parabola through torque over advance.

    Attributes
    ----------
    verdict : AdvanceVerdict
        Found if the best advance and its whole interval lie within the advances that were tried.
    best_deg, low_deg, high_deg : float or None
        Best advance with its 95 % interval [° before top dead centre]; None unless it was found.
    torque_nm : float or None
        Torque of the parabola there [N·m].
    sd_nm : float
        Standard deviation about the parabola [N·m].
    points : int
    coefficients : array, (3,)
        Torque = c₀ + c₁ a + c₂ a² [N·m], a in degrees.
    """

    verdict: AdvanceVerdict
    best_deg: float | None
    low_deg: float | None
    high_deg: float | None
    torque_nm: float | None
    sd_nm: float
    points: int
    coefficients: FloatArray


def fit_best_advance(advance_deg: npt.ArrayLike, torque_nm: npt.ArrayLike) -> BestAdvance | None:
    """Fit a parabola to torque over advance, and find its top with an interval.

    Parameters
    ----------
    advance_deg, torque_nm : array, (n,)
        One point a hold at one engine speed and opening [° before top dead centre], [N·m]; one that is not
        finite in both is not used.

    Returns
    -------
    BestAdvance or None
        None with fewer than `MIN_POINTS` points or `MIN_ADVANCES` different advances.

    Raises
    ------
    ValueError
        Arrays of different length.

    Notes
    -----
    T = c₀ + c₁ a + c₂ a² by least squares [1]_, top at -c₁ / 2c₂. The interval is Fieller's: the values ρ for
    which c₁ + 2c₂ ρ, the slope at ρ, does not differ from zero at 95 %, with n - 3 degrees of freedom [2]_.
    It is finite only if the curvature differs from zero. Nothing is found beyond what was tried.
    """
    advance, torque = np.asarray(advance_deg, dtype=float), np.asarray(torque_nm, dtype=float)
    if advance.shape != torque.shape:
        raise ValueError("Advance and torque must have the same number of samples.")
    measured = np.isfinite(advance) & np.isfinite(torque)
    advance, torque = advance[measured], torque[measured]
    if advance.size < MIN_POINTS or np.unique(advance).size < MIN_ADVANCES:
        return None
    middle = float(advance.mean())  # centred, so that the columns are far from parallel
    design = np.vander(advance - middle, 3, increasing=True)
    inverse: FloatArray = np.linalg.inv(design.T @ design).astype(np.float64)
    c0, c1, c2 = inverse @ design.T @ torque
    df = advance.size - 3
    sd = float(np.sqrt(np.square(torque - design @ (c0, c1, c2)).sum() / df))
    t2 = float(t_quantile(df)) ** 2 * sd**2
    coefficients = np.array([c0 - c1 * middle + c2 * middle**2, c1 - 2 * c2 * middle, c2])

    def result(verdict: AdvanceVerdict, ends: FloatArray | None = None) -> BestAdvance:
        best, low, high = (None,) * 3 if ends is None else (-c1 / (2 * c2) + middle, *(ends + middle))
        top = None if ends is None else c0 - c1**2 / (4 * c2)
        return BestAdvance(verdict, best, low, high, top, sd, advance.size, coefficients)

    # The slope at ρ is c₁ + 2c₂ρ, its variance v₁₁ + 4ρ v₁₂ + 4ρ² v₂₂: a quadratic in ρ bounds the interval.
    a = 4 * (c2**2 - t2 * inverse[2, 2])
    b = 4 * (c1 * c2 - t2 * inverse[1, 2])
    c = c1**2 - t2 * inverse[1, 1]
    if c2 < 0 and a > 0:
        root = np.sqrt(max(b * b - 4 * a * c, 0.0))
        ends = np.array([-b - root, -b + root]) / (2 * a)
        if advance.min() <= middle + ends[0] and middle + ends[1] <= advance.max():
            return result(AdvanceVerdict.FOUND, ends)
    return result(_judge_ends(advance - middle, (c1, c2), inverse, t2))


def _judge_ends(
    advance: FloatArray, slopes: tuple[float, float], inverse: FloatArray, t2: float
) -> AdvanceVerdict:
    """Return whether the slope at either end of what was tried differs from zero, and its way."""

    def slope(at: float) -> tuple[float, float]:
        variance = inverse[1, 1] + 4 * at * inverse[1, 2] + 4 * at * at * inverse[2, 2]
        return slopes[0] + 2 * slopes[1] * at, float(np.sqrt(t2 * variance))

    (low, low_half), (high, high_half) = slope(float(advance.min())), slope(float(advance.max()))
    if high > high_half:
        return AdvanceVerdict.RISES
    if low < -low_half:
        return AdvanceVerdict.FALLS
    return AdvanceVerdict.FLAT
