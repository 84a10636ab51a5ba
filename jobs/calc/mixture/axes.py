"""Axes for a mixture grid, suggested by where the engine was held."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

MIN_POINTS, MAX_POINTS = 2, 24
STEPS_RPM = (250.0, 500.0, 1000.0, 2000.0)
USUAL_STEP_RPM = 500.0
# Runs at loads nearer than this were held at the same load. Rule of thumb, no published source.
SAME_LOAD_PCT = 2.5
USUAL_LOADS_PCT = (0.0, 5.0, 10.0, 20.0, 30.0, 40.0, 60.0, 80.0, 100.0)


def suggest_speed_axis(engine_speeds_rpm: Sequence[npt.ArrayLike]) -> list[float]:
    """Suggest round engine speeds that cover what the runs hold.

    Parameters
    ----------
    engine_speeds_rpm : sequence of array, each (n,)
        Engine speed of each run [rpm]; NaN is not measured.

    Returns
    -------
    list of float
        Engine speeds [rpm], rising; empty if nothing was measured.

    Notes
    -----
    From the 1st to the 99th percentile in steps of 500 rpm, wider if 24 points would not suffice. Rule of
    thumb, no published source.
    """
    runs = [np.ravel(np.asarray(run, dtype=float)) for run in engine_speeds_rpm]
    speeds = np.concatenate([np.zeros(0), *runs])
    speeds = speeds[np.isfinite(speeds)]
    if not speeds.size:
        return []
    # A single spike is no reason for a row of empty cells.
    low, high = np.quantile(speeds, [0.01, 0.99])
    wide_enough = [step for step in STEPS_RPM if (high - low) / step < MAX_POINTS - 2]
    step = max(USUAL_STEP_RPM, wide_enough[0]) if wide_enough else STEPS_RPM[-1]
    # A cell reaches half a step beyond its point, so the nearest points cover both ends.
    first, last = round(low / step), round(high / step)
    return [step * point for point in range(first, max(last, first + MIN_POINTS - 1) + 1)]


def suggest_load_axis(loads_pct: Sequence[npt.ArrayLike]) -> list[float]:
    """Suggest the loads at which the runs were held.

    Parameters
    ----------
    loads_pct : sequence of array, each (n,)
        Grip or plate of each run [%]; NaN is not measured.

    Returns
    -------
    list of float
        Loads [%], rising; the usual loads if the runs were held at fewer than two.

    Notes
    -----
    The median of each run, rounded to whole per cent; loads within 2.5 % count once. Rule of thumb, no
    published source.
    """
    runs = [np.asarray(run, dtype=float) for run in loads_pct]
    medians = sorted(float(np.nanmedian(run)) for run in runs if np.isfinite(run).any())
    axis: list[float] = []
    for median in medians:
        if not axis or median - axis[-1] > SAME_LOAD_PCT:
            axis.append(float(round(median)))
    return axis if len(axis) >= MIN_POINTS else list(USUAL_LOADS_PCT)
