"""Axes for a mixture grid, suggested by where the engine was held."""

from collections.abc import Sequence

import numpy as np

from jobs.calc.mixture.grid import MIN_HOLDS, build_mixture_grid
from jobs.calc.mixture.steady import SteadySamples
from jobs.calc.statistics import FloatArray

MIN_POINTS, MAX_POINTS = 2, 24
STEPS_RPM = (250.0, 500.0, 1000.0, 2000.0)
USUAL_STEP_RPM = 500.0
# Holds at loads nearer than this were held at the same load. Rule of thumb, no published source.
SAME_LOAD_PCT = 2.5
# Axes are wide enough if so many of the visited cells have enough holds. Rule of thumb, no published source.
ENOUGH_CELLS = 0.5
FILLED_COLUMNS = 0.75  # a narrower step than that of the holds leaves columns empty
USUAL_LOADS_PCT = (0.0, 5.0, 10.0, 20.0, 30.0, 40.0, 60.0, 80.0, 100.0)


def suggest_axes(samples: SteadySamples) -> tuple[list[float], list[float]]:
    """Suggest axes on which most cells get enough holds for a correction.

    Parameters
    ----------
    samples : SteadySamples
        Arrays of (n,).

    Returns
    -------
    rpm_axis, load_axis : list of float
        Engine speeds [rpm] and loads [%], rising; the speeds are empty if nothing was held.

    Raises
    ------
    ValueError
        As `jobs.calc.mixture.grid.build_mixture_grid`.

    Notes
    -----
    The narrowest step of engine speed at which three holds count for half of the visited cells or more; if
    there is none, the step that comes closest to it. The axis reaches from the 1st to the 99th percentile
    with at most 24 points. Loads are the medians of the holds; within 2.5 % they count once. Rules of thumb,
    no published source.
    """
    speed, load, lambda_ = samples.engine_speed_rpm, samples.load_pct, samples.lambda_
    begins = np.flatnonzero(np.diff(samples.hold, prepend=-1))
    load_axis = _suggest_load_axis(np.split(load, begins[1:]) if begins.size else [])
    best, most = _suggest_speed_axis(speed, USUAL_STEP_RPM), 0.0
    for step in STEPS_RPM if best else ():
        rpm_axis = _suggest_speed_axis(speed, step)
        grid = build_mixture_grid(speed, load, lambda_, rpm_axis, load_axis, hold=samples.hold)
        share = float(np.mean(grid.support[grid.visited] >= MIN_HOLDS)) if grid.visited.any() else 0.0
        if share > most and grid.visited.any(axis=0).mean() >= FILLED_COLUMNS:
            best, most = rpm_axis, share
        if most >= ENOUGH_CELLS:
            break
    return best, load_axis


def _suggest_speed_axis(engine_speed_rpm: FloatArray, step_rpm: float) -> list[float]:
    """Return round engine speeds that cover the steady samples, in wider steps if there were too many."""
    if not engine_speed_rpm.size:
        return []
    # A single spike is no reason for a row of empty cells.
    low, high = np.quantile(engine_speed_rpm, [0.01, 0.99])
    wide_enough = [step for step in STEPS_RPM if (high - low) / step < MAX_POINTS - 2]
    step = max(step_rpm, wide_enough[0]) if wide_enough else STEPS_RPM[-1]
    # A cell reaches half a step beyond its point, so the nearest points cover both ends.
    first, last = round(low / step), round(high / step)
    return [step * point for point in range(first, max(last, first + MIN_POINTS - 1) + 1)]


def _suggest_load_axis(holds_pct: Sequence[FloatArray]) -> list[float]:
    """Return the loads that were held, rounded to whole per cent; the usual ones if fewer than two were."""
    axis: list[float] = []
    for median in sorted(float(np.median(hold)) for hold in holds_pct):
        if not axis or median - axis[-1] > SAME_LOAD_PCT:
            axis.append(float(round(median)))
    return axis if len(axis) >= MIN_POINTS else list(USUAL_LOADS_PCT)
