"""Visits behind each cell of a mixture grid: which stretch of which run."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.mixture.grid import MIN_VISIT_SAMPLES, SENSOR_RANGE
from jobs.calc.mixture.steady import SteadySamples
from jobs.calc.tables.cell_grid import GridAxis


@dataclass(frozen=True)
class Visit:
    """Visit of one hold to one cell.

    Attributes
    ----------
    row, column : int
        The cell: load and engine speed.
    run, first, last : int
        Index of the run, and of its first and last sample in the cell.
    n : int
        Samples that count; the needle may have left the cell in between.
    lambda_ : float
        Their plain mean [–].
    """

    row: int
    column: int
    run: int
    first: int
    last: int
    n: int
    lambda_: float


def find_visits(samples: SteadySamples, rpm_axis: npt.ArrayLike, load_axis: npt.ArrayLike) -> list[Visit]:
    """Find the visits that `build_mixture_grid` counts, in the order in which they were made.

    Parameters
    ----------
    samples : SteadySamples
        Arrays of (n,).
    rpm_axis, load_axis : array, (c,) and (r,)
        Engine speeds [rpm] and loads [%], rising.

    Returns
    -------
    list of Visit
        Visits of five samples or more.

    Raises
    ------
    ValueError
        Axes that do not rise.

    Notes
    -----
    Samples with the same hold and the same cell are one visit: counting, no published source needed.
    """
    columns, rows = GridAxis.from_points(rpm_axis, "engine speed"), GridAxis.from_points(load_axis, "load")
    speed, load, sensed = samples.engine_speed_rpm, samples.load_pct, samples.lambda_
    low, high = SENSOR_RANGE
    at = np.flatnonzero(columns.contains(speed) & rows.contains(load) & (sensed > low) & (sensed < high))
    if not at.size:
        return []
    cell = rows.locate(load[at])[0] * columns.points.size + columns.locate(speed[at])[0]
    key = samples.hold[at] * (rows.points.size * columns.points.size) + cell
    _, first, visit_of, counts = np.unique(key, return_index=True, return_inverse=True, return_counts=True)
    last = np.zeros_like(first)
    np.maximum.at(last, visit_of, np.arange(at.size))
    mean = np.bincount(visit_of, weights=sensed[at]) / counts
    row, column = np.divmod(cell[first], columns.points.size)
    return [
        Visit(
            row=int(row[k]),
            column=int(column[k]),
            run=int(samples.run[at[first[k]]]),
            first=int(samples.sample[at[first[k]]]),
            last=int(samples.sample[at[last[k]]]),
            n=int(counts[k]),
            lambda_=float(mean[k]),
        )
        for k in np.argsort(first)
        if counts[k] >= MIN_VISIT_SAMPLES
    ]
