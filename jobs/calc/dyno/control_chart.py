"""Individuals chart of a dyno's verification.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals control charts).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray

# The mean range of two normal values in standard deviations, a table value [1].
MEAN_RANGE_OF_TWO = 1.128
MIN_READINGS = 3


@dataclass(frozen=True, eq=False)
class IndividualsChart:
    """Centre and limits of readings in order of time.

    Attributes
    ----------
    values : array, (n,)
        In any unit.
    centre, low, high : float
        Mean and limits, in the unit of the readings.
    outside : array of bool, (n,)
        True for a reading beyond a limit.
    """

    values: FloatArray
    centre: float
    low: float
    high: float
    outside: npt.NDArray[np.bool_]


def individuals_chart(values: npt.ArrayLike) -> IndividualsChart | None:
    """Compute centre and limits of readings.

    Parameters
    ----------
    values : array, (n,)
        In order of time, in any unit.

    Returns
    -------
    IndividualsChart or None
        None with fewer than three readings.

    Notes
    -----
    x̄ ± 3·MR̄/1.128, that is 2.66 times the mean moving range of neighbours [1]_.
    """
    readings = np.asarray(values, dtype=float)
    if readings.size < MIN_READINGS:
        return None
    centre = float(readings.mean())
    reach = 3 * float(np.abs(np.diff(readings)).mean()) / MEAN_RANGE_OF_TWO
    low, high = centre - reach, centre + reach
    return IndividualsChart(readings, centre, low, high, (readings < low) | (readings > high))
