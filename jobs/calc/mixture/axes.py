"""Axes for a mixture grid as the runs themselves suggest them: where the engine was held."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

FEWEST_POINTS, MOST_POINTS = 2, 24
STEPS_RPM = (250.0, 500.0, 1000.0, 2000.0)
USUAL_STEP_RPM = 500.0
# Loads of two runs nearer than this were meant to be the same; common practice, no source.
SAME_LOAD_PCT = 2.5
USUAL_LOADS_PCT = (0.0, 5.0, 10.0, 20.0, 30.0, 40.0, 60.0, 80.0, 100.0)


def speed_axis(engine_speeds_rpm: Sequence[npt.ArrayLike]) -> list[float]:
    """Round engine speeds [1/min] over what the runs hold, every 500 or as wide as 24 points ask.

    Parameters
    ----------
    engine_speeds_rpm : sequence of array
        One a run; NaN is not measured.

    Returns
    -------
    list of float
        Empty where nothing was measured.
    """
    given = [np.ravel(np.asarray(each, dtype=float)) for each in engine_speeds_rpm]
    speeds = np.concatenate([np.zeros(0), *given])
    speeds = speeds[np.isfinite(speeds)]
    if not speeds.size:
        return []
    # A single spike is no reason for a row of empty cells.
    low, high = np.quantile(speeds, [0.01, 0.99])
    wide_enough = [step for step in STEPS_RPM if (high - low) / step < MOST_POINTS - 2]
    step = max(USUAL_STEP_RPM, wide_enough[0]) if wide_enough else STEPS_RPM[-1]
    # A cell reaches half a step beyond its point, so the nearest points cover both ends.
    first, last = round(low / step), round(high / step)
    return [step * point for point in range(first, max(last, first + FEWEST_POINTS - 1) + 1)]


def load_axis(loads_pct: Sequence[npt.ArrayLike]) -> list[float]:
    """The loads [%] at which the runs were held: the middle of each, whole, those of the same hold once.

    Parameters
    ----------
    loads_pct : sequence of array
        One a run, of grip or plate; NaN is not measured.

    Returns
    -------
    list of float
        The usual loads where the runs were held at fewer than two.
    """
    measured = [np.asarray(each, dtype=float) for each in loads_pct]
    middles = sorted(float(np.nanmedian(each)) for each in measured if np.isfinite(each).any())
    axis: list[float] = []
    for middle in middles:
        if not axis or middle - axis[-1] > SAME_LOAD_PCT:
            axis.append(float(round(middle)))
    return axis if len(axis) >= FEWEST_POINTS else list(USUAL_LOADS_PCT)
