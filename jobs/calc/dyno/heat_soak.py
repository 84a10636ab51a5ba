"""How far power follows a temperature from run to run, within groups that should otherwise be equal.

References
----------
.. [1] R. A. Fisher, analysis of covariance: one slope within groups that each have their own mean; any text
   on linear models (from memory). With a single group it is the least-squares line of NIST/SEMATECH
   e-Handbook 4.1.4.1.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import t_quantile


@dataclass(frozen=True)
class CommonSlope:
    """One slope within several groups.

    Attributes
    ----------
    slope, half_width : float
        In units of y per unit of x; half the 95 % interval.
    runs, groups : int
        That the slope rests on. A group without a spread in x is not counted.
    sd : float
        Standard deviation about the lines [unit of y].
    x_low, x_high : float
        Range of x that was seen [unit of x].
    """

    slope: float
    half_width: float
    runs: int
    groups: int
    sd: float
    x_low: float
    x_high: float

    @property
    def differs_from_zero(self) -> bool:
        """True if the 95 % interval leaves zero out."""
        return abs(self.slope) > self.half_width


def fit_common_slope(groups: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]]) -> CommonSlope | None:
    """Fit one slope within groups that each have a level of their own.

    Parameters
    ----------
    groups : sequence of (x, y)
        Values of the runs of each group, equal in length, in any units.

    Returns
    -------
    CommonSlope or None
        None if fewer than three runs beyond the levels are left, or x does not vary.

    Notes
    -----
    b = ΣΣ (x - x̄ᵢ)(y - ȳᵢ) / ΣΣ (x - x̄ᵢ)², s² = ΣΣ (y - ȳᵢ - b (x - x̄ᵢ))² / (N - k - 1), interval
    b ± t · s / √ΣΣ (x - x̄ᵢ)² with N - k - 1 degrees of freedom, for N runs in k groups [1]_. The lower limit
    of two degrees of freedom is a rule of thumb, no published source.
    """
    pairs = [(np.asarray(x, dtype=float), np.asarray(y, dtype=float)) for x, y in groups]
    pairs = [(x, y) for x, y in pairs if x.size > 1 and np.ptp(x) > 0]
    runs, count = sum(x.size for x, _ in pairs), len(pairs)
    df = runs - count - 1
    if df < 2:
        return None
    x = np.concatenate([x - x.mean() for x, _ in pairs])
    y = np.concatenate([y - y.mean() for _, y in pairs])
    squares = float(x @ x)
    slope = float(x @ y) / squares
    sd = float(np.sqrt(np.square(y - slope * x).sum() / df))
    seen = np.concatenate([x for x, _ in pairs])
    half_width = float(t_quantile(df)) * sd / np.sqrt(squares)
    return CommonSlope(slope, float(half_width), runs, count, sd, float(seen.min()), float(seen.max()))
