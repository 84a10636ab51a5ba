"""A fuel table on its own axes, corrected where the mixture was measured and left alone elsewhere."""

from dataclasses import dataclass, replace
from math import gcd

import numpy as np
import numpy.typing as npt

from jobs.calc.mixture.grid import Correction, MixtureGrid, NoCorrection, target_grid
from jobs.calc.statistics import FloatArray, interpolate_table
from jobs.calc.tables.cell_grid import BoolArray, check_axis
from jobs.calc.units.numbers import require_finite, require_positive

MOST_DECIMALS = 6
# A common divisor of so many different figures is the table's step and no accident.
FIGURES_FOR_A_DIVISOR = 20


@dataclass(frozen=True, eq=False)
class AppliedTable:
    """A fuel table before and after a correction; rows are loads, columns engine speeds.

    Attributes
    ----------
    before, after : array, (r, c)
        In the table's own unit; an uncovered cell is the same figure in both.
    multiplier : array, (r, c)
        What the cell was multiplied by before rounding; NaN where it is not covered.
    limited, filled : array of bool, (r, c)
        Whether a corrected cell of the grid that it leans on was limited, or filled between neighbours.
    step : float
        What the corrected cells are rounded to.
    """

    before: FloatArray
    after: FloatArray
    multiplier: FloatArray
    limited: BoolArray
    filled: BoolArray
    step: float

    @property
    def covered(self) -> BoolArray:
        return np.isfinite(self.multiplier)

    @property
    def changed(self) -> BoolArray:
        return self.covered & (self.before != self.after)


@dataclass(frozen=True, eq=False)
class PassComparison:
    """A second pass against the first: how far off the target each cell was, and is.

    Attributes
    ----------
    off_first, off_second : array, (r, c)
        Lambda over target less one; NaN where not measured.
    closer, further : array of bool, (r, c)
        Where the distance from the target became smaller or larger by more than the two intervals
        together; neither where that is not shown.
    compared : array of bool, (r, c)
        Where both passes have an interval.
    """

    off_first: FloatArray
    off_second: FloatArray
    closer: BoolArray
    further: BoolArray
    compared: BoolArray

    @property
    def sentence(self) -> str:
        closer, further = int(self.closer.sum()), int(self.further.sum())
        undecided = int(self.compared.sum()) - closer - further
        return (
            f"Of {int(self.compared.sum())} cells measured well in both passes {closer} came closer to the "
            f"target, {further} went further from it, and in {undecided} no difference is shown."
        )


def table_step(table: npt.ArrayLike, decimals: int = 0) -> float:
    """The step a table is written in: its last decimal, or a whole multiple where many figures share one.

    Parameters
    ----------
    table : array
        NaN is an empty cell.
    decimals : int
        As many as the table was written with, where that is known: 10.00 says more than 10.

    Raises
    ------
    ValueError
        No figure in the table.
    """
    figures = np.unique(np.asarray(table, dtype=float))
    figures = figures[np.isfinite(figures)]
    if not figures.size:
        raise ValueError("The fuel table holds no figure.")
    decimals = next(
        (
            k
            for k in range(decimals, MOST_DECIMALS)
            if np.allclose(figures, np.round(figures, k), rtol=0, atol=1e-9)
        ),
        MOST_DECIMALS,
    )
    whole = np.round(figures * 10**decimals).astype(np.int64)
    common = gcd(*(int(value) for value in whole)) if whole.size >= FIGURES_FOR_A_DIVISOR else 1
    return float(max(common, 1) / 10**decimals)


def apply_to_table(
    fuel_axes: tuple[npt.ArrayLike, npt.ArrayLike],
    fuel_table: npt.ArrayLike,
    correction: Correction,
    *,
    step: float | None = None,
    dead_time: float = 0.0,
) -> AppliedTable:
    """Multiply a fuel table by a correction that lies on other axes.

    Parameters
    ----------
    fuel_axes : (rpm_axis, load_axis), arrays (c,) and (r,)
        The table's own axes, rising.
    fuel_table : array, (r, c)
        Delivered fuel by load and engine speed, or an injector's opening time with its dead time in it.
        NaN is an empty cell.
    step : float, optional
        What corrected cells are rounded to; without it `table_step` of the table.
    dead_time : float
        In the table's unit. Only what is beyond it delivers and is multiplied, as
        `jobs.calc.fuel.corrected_pulse_ms` does; a cell at or below it delivers nothing and stays.

    Returns
    -------
    AppliedTable
        The correction is read bilinearly between corrected points of the grid. Outside them, or beside a
        point without a correction, the table keeps its figure to the last digit.

    Raises
    ------
    ValueError
        Axes that do not rise, a table of another shape, no figure in it, a step not above zero, or a dead
        time below zero or as long as the longest opening time.
    """
    speed = check_axis(fuel_axes[0], "fuel table's engine speed")
    load = check_axis(fuel_axes[1], "fuel table's load")
    table = np.asarray(fuel_table, dtype=float)
    if table.shape != (load.size, speed.size):
        raise ValueError(
            f"The fuel table has {table.shape} cells, its axes have {load.size} loads and {speed.size} "
            "engine speeds."
        )
    step = table_step(table) if step is None else step
    require_positive("step of the fuel table", step)
    delivers = np.isfinite(table) & (_beyond(table, dead_time) > 0 if dead_time else True)

    def read(on_grid: npt.ArrayLike) -> FloatArray:
        found = interpolate_table(
            correction.load_axis, correction.rpm_axis, on_grid, load[:, None], speed[None, :]
        )
        return np.asarray(found, dtype=float)

    multiplier = np.where(delivers, read(correction.multiplier), np.nan)
    covered = np.isfinite(multiplier)
    wanted = dead_time + (table - dead_time) * multiplier
    # Twice rounded: a multiple of 0.05 is no binary fraction, and its tail of digits is no figure.
    corrected = np.round(np.round(wanted / step) * step, MOST_DECIMALS + 3)
    return AppliedTable(
        before=table,
        after=np.where(covered, corrected, table),
        multiplier=multiplier,
        limited=covered & (read(correction.limited) > 0),
        filled=covered & (read(correction.filled) > 0),
        step=step,
    )


def _beyond(table: FloatArray, dead_time: float) -> FloatArray:
    """What of each opening time delivers."""
    require_finite("dead time", dead_time)
    longest = float(np.nanmax(table))
    if not 0 <= dead_time < longest:
        raise ValueError(
            f"The dead time ({dead_time:g}) must be shorter than the table's opening times, of which the "
            f"longest is {longest:g}: both in one unit."
        )
    return table - dead_time


def fill_gaps(correction: Correction) -> Correction:
    """Fill single cells between two measured neighbours, along engine speed first, then along load.

    What is filled is marked as such; nothing is filled from a filled cell or beyond the measured ones, nor
    where the sensor stood at the end of its scale: there the mixture is known not to lie in between.
    """
    along_speed = _between(correction.multiplier, correction.rpm_axis)
    along_load = _between(correction.multiplier.T, correction.load_axis).T
    between = np.where(np.isfinite(along_speed), along_speed, along_load)
    may_be = correction.reason != NoCorrection.END_OF_SCALE
    filled = ~correction.given & np.isfinite(between) & may_be
    return replace(
        correction,
        multiplier=np.where(filled, between, correction.multiplier),
        filled=filled,
    )


def _between(values: FloatArray, axis: FloatArray) -> FloatArray:
    """What lies on the straight line between the left and the right neighbour of each cell."""
    between = np.full(values.shape, np.nan)
    if axis.size > 2:
        share = (axis[1:-1] - axis[:-2]) / (axis[2:] - axis[:-2])
        between[:, 1:-1] = values[:, :-2] * (1 - share) + values[:, 2:] * share
    return between


def compare_passes(first: MixtureGrid, second: MixtureGrid, target: npt.ArrayLike) -> PassComparison:
    """Which cells a pass of correction brought closer to the target, and which not.

    Raises
    ------
    ValueError
        Grids on different axes, or a target as for `jobs.calc.mixture.target_grid`.
    """
    same = np.array_equal(first.rpm_axis, second.rpm_axis) and np.array_equal(
        first.load_axis, second.load_axis
    )
    if not same:
        raise ValueError("Two passes are compared on the same axes: make both grids on one set of axes.")
    wanted = target_grid(target, first)
    off_first, off_second = first.mean / wanted - 1, second.mean / wanted - 1
    doubt = np.hypot(first.half_width_95, second.half_width_95) / wanted
    nearer_by = np.abs(off_first) - np.abs(off_second)
    return PassComparison(
        off_first=off_first,
        off_second=off_second,
        closer=nearer_by > doubt,
        further=-nearer_by > doubt,
        compared=np.isfinite(doubt),
    )
