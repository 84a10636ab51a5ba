"""Correct a fuel table on its own axes where the mixture was measured, and compare two passes."""

from dataclasses import dataclass, replace
from math import gcd

import numpy as np
import numpy.typing as npt

from jobs.calc.mixture.grid import MixtureCorrection, MixtureGrid, NoCorrectionReason, expand_target
from jobs.calc.statistics import FloatArray, interpolate_table
from jobs.calc.tables.cell_grid import BoolArray, check_axis
from jobs.calc.units.numbers import require_finite, require_positive

MAX_DECIMALS = 6
# A common divisor of so many different values is the table's step and no accident.
MIN_VALUES_FOR_DIVISOR = 20


@dataclass(frozen=True, eq=False)
class AppliedTable:
    """A fuel table before and after a correction; rows are loads, columns engine speeds.

    Attributes
    ----------
    before, after : array, (r, c)
        In the table's own unit; a cell that is not covered is the same in both.
    multiplier : array, (r, c)
        Factor on the cell before rounding [–]; NaN if it is not covered.
    limited, filled, uncertain : array of bool, (r, c)
        Cells that lean on a corrected cell of the grid that was limited, filled or uncertain.
    step : float
        Step that corrected cells are rounded to, in the table's unit.
    """

    before: FloatArray
    after: FloatArray
    multiplier: FloatArray
    limited: BoolArray
    filled: BoolArray
    uncertain: BoolArray
    step: float

    @property
    def covered(self) -> BoolArray:
        """Cells inside what was measured, (r, c)."""
        return np.isfinite(self.multiplier)

    @property
    def changed(self) -> BoolArray:
        """Cells that are different after the correction, (r, c)."""
        return self.covered & (self.before != self.after)


@dataclass(frozen=True, eq=False)
class PassComparison:
    """Distance of each cell from its target in two passes.

    Attributes
    ----------
    off_first, off_second : array, (r, c)
        Lambda over target less one [–]; NaN if not measured.
    closer, further : array of bool, (r, c)
        Cells whose distance from the target became smaller or larger by more than both intervals together.
    compared : array of bool, (r, c)
        Cells with an interval in both passes.
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
            f"Of {int(self.compared.sum())} cells measured well in both passes, {closer} are closer to "
            f"target, {further} are further from it and {undecided} show no clear difference."
        )


def find_table_step(table: npt.ArrayLike, decimals: int = 0) -> float:
    """Find the step a table is written in.

    Parameters
    ----------
    table : array
        Cells [the table's unit]; NaN is an empty cell.
    decimals : int
        Decimals the table was written with, if known: 10.00 says more than 10.

    Returns
    -------
    float
        The step [the table's unit].

    Raises
    ------
    ValueError
        No value in the table.

    Notes
    -----
    The last decimal, or the greatest common divisor of 20 or more different values. Rule of thumb, no
    published source.
    """
    values = np.unique(np.asarray(table, dtype=float))
    values = values[np.isfinite(values)]
    if not values.size:
        raise ValueError("The fuel table is empty.")
    decimals = next(
        (
            k
            for k in range(decimals, MAX_DECIMALS)
            if np.allclose(values, np.round(values, k), rtol=0, atol=1e-9)
        ),
        MAX_DECIMALS,
    )
    whole = np.round(values * 10**decimals).astype(np.int64)
    common = gcd(*(int(value) for value in whole)) if whole.size >= MIN_VALUES_FOR_DIVISOR else 1
    return float(max(common, 1) / 10**decimals)


def apply_to_table(
    fuel_axes: tuple[npt.ArrayLike, npt.ArrayLike],
    fuel_table: npt.ArrayLike,
    correction: MixtureCorrection,
    *,
    step: float,
    dead_time: float = 0.0,
) -> AppliedTable:
    """Apply a correction to a fuel table on other axes.

    Parameters
    ----------
    fuel_axes : (rpm_axis, load_axis), arrays (c,) and (r,)
        The table's own engine speeds [rpm] and loads [%], rising.
    fuel_table : array, (r, c)
        Delivered fuel by load and engine speed, or an injector's opening time with its dead time in it.
        NaN is an empty cell.
    correction : MixtureCorrection
        Correction on the axes of its grid.
    step : float
        Step that corrected cells are rounded to, in the table's unit.
    dead_time : float
        Dead time of the injector in the table's unit; a cell at or below it delivers nothing and stays.

    Returns
    -------
    AppliedTable
        Arrays of (r, c). Outside the corrected points of the grid, or beside a point without a correction,
        the table keeps its values to the last digit.

    Raises
    ------
    ValueError
        Axes that do not rise, a table of another shape, a step not above zero, or a dead time below zero or
        as long as the longest opening time.

    Notes
    -----
    after = dead + (before − dead)·m, with m read bilinearly between corrected points: a linear injector
    delivers only beyond its dead time. Source: definition of dead time.
    """
    speed = check_axis(fuel_axes[0], "fuel table's engine speed")
    load = check_axis(fuel_axes[1], "fuel table's load")
    table = np.asarray(fuel_table, dtype=float)
    if table.shape != (load.size, speed.size):
        raise ValueError(
            f"The fuel table has {table.shape} cells, but its axes have {load.size} loads and {speed.size} "
            "engine speeds."
        )
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
    # Round twice: a multiple of 0.05 is no binary fraction, and would show a tail of digits.
    corrected = np.round(np.round(wanted / step) * step, MAX_DECIMALS + 3)
    return AppliedTable(
        before=table,
        after=np.where(covered, corrected, table),
        multiplier=multiplier,
        limited=covered & (read(correction.limited) > 0),
        filled=covered & (read(correction.filled) > 0),
        uncertain=covered & (read(correction.uncertain) > 0),
        step=step,
    )


def _beyond(table: FloatArray, dead_time: float) -> FloatArray:
    """Return the part of each opening time that delivers."""
    require_finite("dead time", dead_time)
    longest = float(np.nanmax(table))
    if not 0 <= dead_time < longest:
        raise ValueError(
            f"The dead time ({dead_time:g}) must be shorter than the longest pulse width in the table "
            f"({longest:g}). Use the same unit for both."
        )
    return table - dead_time


def fill_gaps(correction: MixtureCorrection) -> MixtureCorrection:
    """Fill single cells between two measured neighbours, along engine speed first, then along load.

    Parameters
    ----------
    correction : MixtureCorrection
        Multipliers of (r, c) [–].

    Returns
    -------
    MixtureCorrection
        The correction with filled cells marked, (r, c).

    Notes
    -----
    m = m_left·(1 − s) + m_right·s, with s the share of the way on the axis. Nothing is filled from a filled
    cell, beyond the measured ones, or if the sensor was at the end of its scale: the mixture is then known
    not to lie in between. Linear interpolation.
    """
    along_speed = _interpolate_neighbours(correction.multiplier, correction.rpm_axis)
    along_load = _interpolate_neighbours(correction.multiplier.T, correction.load_axis).T
    interpolated = np.where(np.isfinite(along_speed), along_speed, along_load)
    plausible = correction.reason != NoCorrectionReason.END_OF_SCALE
    filled = ~correction.given & np.isfinite(interpolated) & plausible
    return replace(
        correction,
        multiplier=np.where(filled, interpolated, correction.multiplier),
        filled=filled,
    )


def _interpolate_neighbours(values: FloatArray, axis: FloatArray) -> FloatArray:
    """Return the value on the straight line between the left and right neighbour of each cell."""
    interpolated = np.full(values.shape, np.nan)
    if axis.size > 2:
        share = (axis[1:-1] - axis[:-2]) / (axis[2:] - axis[:-2])
        interpolated[:, 1:-1] = values[:, :-2] * (1 - share) + values[:, 2:] * share
    return interpolated


def compare_passes(first: MixtureGrid, second: MixtureGrid, target: npt.ArrayLike) -> PassComparison:
    """Compare two passes: which cells came closer to the target, and which went further from it.

    Parameters
    ----------
    first, second : MixtureGrid
        Grids on the same axes, arrays of (r, c).
    target : array, (), (r,) or (r, c)
        Target lambda [–], as for `expand_target`.

    Returns
    -------
    PassComparison
        Arrays of (r, c).

    Raises
    ------
    ValueError
        Grids on different axes, or a target as for `expand_target`.

    Notes
    -----
    A cell came closer if |off_first| − |off_second| exceeds √(h_first² + h_second²)/target, the 95 %
    half-widths of both means combined as independent (JCGM 100:2008, 5.1.2).
    """
    same = np.array_equal(first.rpm_axis, second.rpm_axis) and np.array_equal(
        first.load_axis, second.load_axis
    )
    if not same:
        raise ValueError("To compare two passes, both need the same axes.")
    wanted = expand_target(target, first)
    off_first, off_second = first.mean / wanted - 1, second.mean / wanted - 1
    half_width = np.hypot(first.half_width_95, second.half_width_95) / wanted
    gain = np.abs(off_first) - np.abs(off_second)
    return PassComparison(
        off_first=off_first,
        off_second=off_second,
        closer=gain > half_width,
        further=-gain > half_width,
        compared=np.isfinite(half_width),
    )
