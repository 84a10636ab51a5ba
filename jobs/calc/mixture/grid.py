"""Lambda by engine speed and load: the grid, its uncertainty, and what has to be said about it first.

Rows are loads, columns are engine speeds, as a table is pasted. Samples of one dwell hang together, so
a cell's interval is made of its dwells and not of its samples; one dwell alone gives none.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.mixture.fuel import check_target
from jobs.calc.statistics import FloatArray
from jobs.calc.tables.cell_grid import BoolArray, GridAxis, IntArray, Visits, cell_statistics

# At or beyond these a usual wideband sensor shows the end of its scale; common practice, no source.
SENSOR_RANGE = (0.65, 1.60)
# No running engine has such a lambda: the column holds something else, often an air-fuel ratio.
BELIEVABLE_LAMBDA = (0.4, 5.0)
# A dwell that only strays into a cell is no visit to it.
SHORTEST_VISIT_SAMPLES = 5

FEWEST_DWELLS = 2
LARGEST_HALF_WIDTH = 0.02
LARGEST_PASS = 0.15  # common practice, no source
LARGEST_END_OF_SCALE_SHARE = 0.1


class Unused(StrEnum):
    """Why a sample is in no cell."""

    NOT_MEASURED = "not measured"
    OUTSIDE = "outside the axes"
    END_OF_SCALE = "sensor at the end of its scale"
    BRIEF = "in the cell too briefly"


class NoCorrection(StrEnum):
    """Why a cell gets no correction."""

    NOT_VISITED = "not visited"
    TOO_FEW = "too few dwells"
    UNCERTAIN = "too uncertain"
    END_OF_SCALE = "sensor at the end of its scale"


@dataclass(frozen=True, eq=False)
class MixtureGrid:
    """Lambda in cells around the points of two axes; rows are loads, columns engine speeds.

    Attributes
    ----------
    rpm_axis, load_axis : array, (c,) and (r,)
    mean, sd : array, (r, c)
        Weighted by nearness to the cell's point; NaN where not measured (``sd`` below two samples).
    n : array of int, (r, c)
        Samples.
    dwells : array of int, (r, c)
        Independent visits to the cell.
    n_effective : array, (r, c)
        How many independent samples the mean is worth: at least 1, at most ``n``; 0 where there are none.
    half_width_95 : array, (r, c)
        95 % half-width of the mean from the spread of the dwells; NaN below two dwells.
    end_of_scale : array of int, (r, c)
        Samples with the sensor at the lean end of its scale, which are not in the mean.
    unused : mapping
        Samples in no cell, by reason.
    """

    rpm_axis: FloatArray
    load_axis: FloatArray
    mean: FloatArray
    sd: FloatArray
    n: IntArray
    dwells: IntArray
    n_effective: FloatArray
    half_width_95: FloatArray
    end_of_scale: IntArray
    unused: Mapping[Unused, int]

    @property
    def visited(self) -> BoolArray:
        return self.n > 0


def mixture_grid(
    engine_speed_rpm: npt.ArrayLike,
    load_pct: npt.ArrayLike,
    lambda_: npt.ArrayLike,
    rpm_axis: npt.ArrayLike,
    load_axis: npt.ArrayLike,
    *,
    time_s: npt.ArrayLike | None = None,
    dwell: npt.ArrayLike | None = None,
    sensor_range: tuple[float, float] = SENSOR_RANGE,
) -> MixtureGrid:
    """Sort samples into cells around the points of two axes, with mean, spread and interval of each.

    Parameters
    ----------
    engine_speed_rpm, load_pct, lambda_ : array, (n,)
        Steady samples with the sensor's delay taken out (`jobs.calc.steady.gather`); NaN is not measured.
    rpm_axis, load_axis : array, (c,) and (r,)
        Rising. Cells meet half-way between the points; the outermost reach as far outwards as inwards.
    time_s : array, (n,), optional
        Time, running on within a run [s]. Where no dwells are given, a leap in it parts one dwell from the
        next: cautious, for a run without a leap is one dwell.
    dwell : array of int, (n,), optional
        Number of the steady stretch each sample belongs to. Without it and without ``time_s`` all samples
        are one dwell, and no cell has an interval.
    sensor_range : (float, float)
        At or beyond these lambdas the sensor shows the end of its scale: not a reading.

    Returns
    -------
    MixtureGrid
        The interval of a cell is Student's t on the spread of its dwells' means
        (`jobs.calc.cell_grid.cell_statistics`).

    Raises
    ------
    ValueError
        Axes that do not rise, channels of different length, or a lambda that is no lambda.
    """
    speed, load, sensed = (np.asarray(a, dtype=float) for a in (engine_speed_rpm, load_pct, lambda_))
    columns, rows = GridAxis.of(rpm_axis, "engine speed"), GridAxis.of(load_axis, "load")
    number = _dwell_numbers(sensed.size, time_s, dwell)
    _check_channels(speed, load, sensed, number)

    held = columns.contains(speed) & rows.contains(load)
    low, high = sensor_range
    used = held & (sensed > low) & (sensed < high)
    shape = (rows.points.size, columns.points.size)
    unused, lean_end = _count_unused(columns, rows, speed, load, sensed, held, used, high)
    if not used.all():
        speed, load, sensed, number = speed[used], load[used], sensed[used], number[used]
    column, near_speed = columns.locate(speed)
    row, near_load = rows.locate(load)
    visits = Visits.of(row * shape[1] + column, number, near_speed * near_load, sensed)
    brief = visits.n < SHORTEST_VISIT_SAMPLES
    unused[Unused.BRIEF] = int(visits.n[brief].sum())
    cells = cell_statistics(visits.only(~brief), shape[0] * shape[1])
    return MixtureGrid(
        rpm_axis=columns.points,
        load_axis=rows.points,
        mean=cells["mean"].reshape(shape),
        sd=cells["sd"].reshape(shape),
        n=cells["n"].astype(np.intp).reshape(shape),
        dwells=cells["dwells"].astype(np.intp).reshape(shape),
        n_effective=cells["n_effective"].reshape(shape),
        half_width_95=cells["half_width"].reshape(shape),
        end_of_scale=lean_end.reshape(shape),
        unused=unused,
    )


def _dwell_numbers(size: int, time_s: npt.ArrayLike | None, dwell: npt.ArrayLike | None) -> IntArray:
    if dwell is not None:
        return np.asarray(dwell, dtype=np.intp)
    if time_s is None or size < 3:
        return np.zeros(size, dtype=np.intp)
    steps = np.diff(np.asarray(time_s, dtype=float))
    onwards = steps[steps > 0]
    usual = float(np.median(onwards)) if onwards.size else 0.0
    leaps = (steps < 0) | (steps > 3 * usual)
    return np.concatenate([[0], np.cumsum(leaps)]).astype(np.intp)


def _check_channels(speed: FloatArray, load: FloatArray, sensed: FloatArray, number: IntArray) -> None:
    if not speed.shape == load.shape == sensed.shape == number.shape or speed.ndim != 1:
        raise ValueError(
            f"Engine speed has {speed.size} samples, load {load.size}, lambda {sensed.size}, "
            f"time or dwells {number.size}: they do not belong together."
        )
    if number.min(initial=0) < 0:
        raise ValueError("Only steady samples go into a mixture grid: a dwell is numbered from 0 up.")
    low, high = BELIEVABLE_LAMBDA
    some = sensed[:: sensed.size // 1000 + 1]  # enough to tell lambda from something else
    some = some[np.isfinite(some)]
    middle = float(np.median(some)) if some.size else 1.0
    if not low <= middle <= high:
        raise ValueError(
            f"A lambda around {middle:.3g} is not believable. If the column holds an air-fuel ratio, "
            "name it so and give its fuel."
        )


def _count_unused(
    columns: GridAxis,
    rows: GridAxis,
    speed: FloatArray,
    load: FloatArray,
    sensed: FloatArray,
    held: BoolArray,
    used: BoolArray,
    lean_end: float,
) -> tuple[dict[Unused, int], IntArray]:
    """Samples in no cell by reason, and per cell those with the sensor at its lean end."""
    cells = rows.points.size * columns.points.size
    if used.all():
        return dict.fromkeys(Unused, 0), np.zeros(cells, dtype=np.intp)
    measured = np.isfinite(speed) & np.isfinite(load) & np.isfinite(sensed)
    counts = {
        Unused.NOT_MEASURED: int(np.count_nonzero(~measured)),
        Unused.OUTSIDE: int(np.count_nonzero(measured & ~held)),
        Unused.END_OF_SCALE: int(np.count_nonzero(measured & held & ~used)),
    }
    lean = measured & held & (sensed >= lean_end)
    at = rows.locate(load[lean])[0] * columns.points.size + columns.locate(speed[lean])[0]
    return counts, np.bincount(at, minlength=cells).astype(np.intp)


def target_grid(target: npt.ArrayLike, grid: MixtureGrid) -> FloatArray:
    """The target of every cell, (r, c), from one figure, one figure a load, or one figure a cell.

    Raises
    ------
    ValueError
        A target of another shape, missing, or outside 0.70 to 1.20.
    """
    wanted = np.asarray(target, dtype=float)
    shape = grid.mean.shape
    for value in wanted.flat:
        check_target(float(value))
    if wanted.shape == (shape[0],):
        wanted = wanted[:, None]
    elif wanted.shape not in ((), shape):
        raise ValueError(
            f"Give the target as one figure, one for each of the {shape[0]} loads, or a table of "
            f"{shape[0]} loads by {shape[1]} engine speeds."
        )
    return np.broadcast_to(wanted, shape).copy()


@dataclass(frozen=True, eq=False)
class Correction:
    """What each cell's fuel is to be multiplied by; nothing where too little was measured.

    Attributes
    ----------
    rpm_axis, load_axis : array, (c,) and (r,)
    multiplier : array, (r, c)
        Above 1 is more fuel; NaN where there is none.
    wanted : array, (r, c)
        The same without the limit of one pass.
    limited, filled : array of bool, (r, c)
        Where the limit of one pass was reached; where the figure is not measured but lies between two
        measured neighbours (`fill_gaps`).
    reason : array of str, (r, c)
        Why there is none (`NoCorrection`); empty where there is one.
    """

    rpm_axis: FloatArray
    load_axis: FloatArray
    multiplier: FloatArray
    wanted: FloatArray
    limited: BoolArray
    filled: BoolArray
    reason: npt.NDArray[np.str_]

    @property
    def given(self) -> BoolArray:
        return np.isfinite(self.multiplier)


def correction(
    grid: MixtureGrid,
    target: npt.ArrayLike,
    *,
    fewest_dwells: int = FEWEST_DWELLS,
    largest_half_width: float = LARGEST_HALF_WIDTH,
    largest_pass: float = LARGEST_PASS,
) -> Correction:
    """Measured over target lambda, in the cells that were measured well enough.

    Parameters
    ----------
    target
        As for `target_grid`.
    fewest_dwells : int
        Independent dwells a cell needs; never fewer than two, for one says nothing of its own scatter.
    largest_half_width : float
        A cell whose 95 % half-width of lambda is wider gets no correction.
    largest_pass : float
        No more than this share, up or down, in one pass.

    Raises
    ------
    ValueError
        A target as for `target_grid`, or limits that cannot be.
    """
    if fewest_dwells < 2:
        raise ValueError("A correction needs at least two dwells in a cell.")
    if not 0 < largest_pass < 1 or not largest_half_width > 0:
        raise ValueError("The limits of a correction must be above zero, and one pass below 100 %.")
    reason = np.select(
        [
            grid.end_of_scale > grid.n * LARGEST_END_OF_SCALE_SHARE,
            ~grid.visited,
            grid.dwells < fewest_dwells,
            ~(grid.half_width_95 <= largest_half_width),
        ],
        [NoCorrection.END_OF_SCALE, NoCorrection.NOT_VISITED, NoCorrection.TOO_FEW, NoCorrection.UNCERTAIN],
        default="",
    )
    wanted = np.where(reason == "", grid.mean / target_grid(target, grid), np.nan)
    multiplier = np.clip(wanted, 1 - largest_pass, 1 + largest_pass)
    return Correction(
        rpm_axis=grid.rpm_axis,
        load_axis=grid.load_axis,
        multiplier=multiplier,
        wanted=wanted,
        limited=np.isfinite(wanted) & (multiplier != wanted),
        filled=np.zeros(wanted.shape, dtype=bool),
        reason=reason,
    )
