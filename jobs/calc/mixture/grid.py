"""Lambda by engine speed and load: the grid with its uncertainty, and the fuel correction.

Rows are loads, columns are engine speeds, as a table is pasted. Samples of one hold are correlated, so the
interval of a cell comes from the scatter between holds and not from its samples.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.mixture.fuel import check_target
from jobs.calc.mixture.surface import fit_surface
from jobs.calc.statistics import FloatArray
from jobs.calc.tables.cell_grid import BoolArray, GridAxis, IntArray, Visits

# At or beyond these a usual wideband sensor shows the end of its scale. Rule of thumb, no published source.
SENSOR_RANGE = (0.65, 1.60)
# No running engine has a lambda outside these: the column holds something else, often an air-fuel ratio.
PLAUSIBLE_LAMBDA = (0.4, 5.0)
# A hold that only strays into a cell is no visit to it.
MIN_VISIT_SAMPLES = 5

MIN_HOLDS = 3
MAX_HALF_WIDTH = 0.02
MAX_PASS = 0.15  # Rule of thumb, no published source.
MAX_END_OF_SCALE_SHARE = 0.1


class UnusedReason(StrEnum):
    """Why a sample is in no cell; the value is stored and shown."""

    NOT_MEASURED = "not measured"
    OUTSIDE = "outside the axes"
    END_OF_SCALE = "sensor at the end of its scale"
    BRIEF = "too short in the cell"


class NoCorrectionReason(StrEnum):
    """Why a cell gets no correction; the value is stored and shown."""

    NOT_VISITED = "no data"
    TOO_FEW = "not enough holds"
    UNCERTAIN = "too uncertain"
    END_OF_SCALE = "sensor at the end of its scale"


@dataclass(frozen=True, eq=False)
class MixtureGrid:
    """Lambda in cells around the points of two axes; rows are loads, columns engine speeds.

    Attributes
    ----------
    rpm_axis, load_axis : array, (c,) and (r,)
        Engine speeds [rpm] and loads [%].
    mean : array, (r, c)
        Lambda at the cell's point [–]; NaN if no sample fell into the cell.
    sd : array, (r, c)
        Spread of the samples in the cell [–]; NaN below two.
    n, holds : array of int, (r, c)
        Samples in the cell, and holds they came from.
    support : array of int, (r, c)
        Holds in the cell or beside it that count for its point.
    half_width_95 : array, (r, c)
        95 % half-width of ``mean`` [–]; NaN if the holds tell nothing about their spread.
    hold_sd, df : float
        Spread of one hold, pooled over the grid [–], and its degrees of freedom.
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
    holds: IntArray
    support: IntArray
    half_width_95: FloatArray
    hold_sd: float
    df: float
    end_of_scale: IntArray
    unused: Mapping[UnusedReason, int]

    @property
    def visited(self) -> BoolArray:
        """Cells with at least one sample, (r, c)."""
        return self.n > 0


def build_mixture_grid(
    engine_speed_rpm: npt.ArrayLike,
    load_pct: npt.ArrayLike,
    lambda_: npt.ArrayLike,
    rpm_axis: npt.ArrayLike,
    load_axis: npt.ArrayLike,
    *,
    hold: npt.ArrayLike,
    run: npt.ArrayLike | None = None,
) -> MixtureGrid:
    """Sort steady samples into cells, with mean, spread and interval of each cell.

    Parameters
    ----------
    engine_speed_rpm, load_pct, lambda_ : array, (n,)
        Engine speed [rpm], load [%] and lambda [–] of steady samples with the sensor's delay removed
        (`collect_steady_samples`); NaN is not measured.
    rpm_axis, load_axis : array, (c,) and (r,)
        Engine speeds [rpm] and loads [%], rising. Cells meet half-way between the points; the outermost
        reach as far outwards as inwards.
    hold : array of int, (n,)
        Number of the hold each sample belongs to, from 0.
    run : array of int, (n,), optional
        Number of the run each sample belongs to; what shifts whole runs is then part of the interval, as far
        as several runs visited a cell.

    Returns
    -------
    MixtureGrid
        Arrays of (r, c).

    Raises
    ------
    ValueError
        Axes that do not rise, channels of different length, a hold below 0, or a lambda whose median is not
        plausible.

    Notes
    -----
    Lambda at the points by least squares of bilinear weights, with its interval from the spread of the holds
    pooled over the grid (`jobs.calc.mixture.surface.fit_surface`, with its sources). Lambda at or beyond 0.65
    and 1.60 is the end of the sensor's scale and no reading: rule of thumb, no published source.
    """
    speed, load, sensed = (np.asarray(a, dtype=float) for a in (engine_speed_rpm, load_pct, lambda_))
    columns, rows = GridAxis.from_points(rpm_axis, "engine speed"), GridAxis.from_points(load_axis, "load")
    number = np.asarray(hold, dtype=np.intp)
    _check_channels(speed, load, sensed, number)

    inside = columns.contains(speed) & rows.contains(load)
    low, high = SENSOR_RANGE
    used = inside & (sensed > low) & (sensed < high)
    shape = (rows.points.size, columns.points.size)
    unused, lean_end = _count_unused(columns, rows, speed, load, sensed, inside, used)
    if not used.all():
        speed, load, sensed, number = speed[used], load[used], sensed[used], number[used]
    column, along_row = columns.locate(speed)
    row, along_column = rows.locate(load)
    row *= shape[1]
    row += column
    visits = Visits.from_samples(row, number, along_row, along_column, sensed)
    brief = visits.n < MIN_VISIT_SAMPLES
    unused[UnusedReason.BRIEF] = int(visits.n[brief].sum())
    visits = visits.select(~brief)
    surface = fit_surface(visits, columns, rows, _runs_of_holds(hold, run))
    n, holds, sd = _count_cells(visits, shape[0] * shape[1])

    def in_visited(values: FloatArray) -> FloatArray:
        return np.where(n > 0, values, np.nan).reshape(shape)

    return MixtureGrid(
        rpm_axis=columns.points,
        load_axis=rows.points,
        mean=in_visited(surface.value),
        sd=sd.reshape(shape),
        n=n.astype(np.intp).reshape(shape),
        holds=holds.astype(np.intp).reshape(shape),
        support=np.where(n > 0, surface.holds, 0).astype(np.intp).reshape(shape),
        half_width_95=in_visited(surface.half_width),
        hold_sd=surface.sd,
        df=surface.df,
        end_of_scale=lean_end.reshape(shape),
        unused=unused,
    )


def _count_cells(visits: Visits, cells: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Count samples and holds of each cell, and return the spread of its samples."""
    n, holds, first, second = (
        np.bincount(visits.cell, weights=values, minlength=cells).astype(float)
        for values in (visits.n, np.ones_like(visits.n), visits.first, visits.second)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = np.maximum(second - first**2 / n, 0) / np.where(n > 1, n - 1, np.nan)
    return n, holds, np.sqrt(variance)


def _runs_of_holds(hold: npt.ArrayLike, run: npt.ArrayLike | None) -> IntArray | None:
    """Return the number of the run of each hold."""
    if run is None:
        return None
    number = np.asarray(hold, dtype=np.intp)
    runs = np.zeros(int(number.max(initial=-1)) + 1, dtype=np.intp)
    runs[number] = np.asarray(run, dtype=np.intp)
    return runs


def _check_channels(speed: FloatArray, load: FloatArray, sensed: FloatArray, number: IntArray) -> None:
    if not speed.shape == load.shape == sensed.shape == number.shape or speed.ndim != 1:
        raise ValueError(
            f"The channels must have the same number of samples: engine speed {speed.size}, load "
            f"{load.size}, lambda {sensed.size}, holds {number.size}."
        )
    if number.min(initial=0) < 0:
        raise ValueError("Only steady samples can be in a mixture grid. Holds must be numbered from 0.")
    low, high = PLAUSIBLE_LAMBDA
    sample = sensed[:: sensed.size // 1000 + 1]  # enough to tell lambda from something else
    sample = sample[np.isfinite(sample)]
    median = float(np.median(sample)) if sample.size else 1.0
    if not low <= median <= high:
        raise ValueError(
            f"Lambda around {median:.3g} is not plausible. If the column is an air-fuel ratio, choose that "
            "and its fuel."
        )


def _count_unused(
    columns: GridAxis,
    rows: GridAxis,
    speed: FloatArray,
    load: FloatArray,
    sensed: FloatArray,
    inside: BoolArray,
    used: BoolArray,
) -> tuple[dict[UnusedReason, int], IntArray]:
    """Count samples in no cell by reason, and per cell those with the sensor at its lean end."""
    cells = rows.points.size * columns.points.size
    if used.all():
        return dict.fromkeys(UnusedReason, 0), np.zeros(cells, dtype=np.intp)
    measured = np.isfinite(speed) & np.isfinite(load) & np.isfinite(sensed)
    counts = {
        UnusedReason.NOT_MEASURED: int(np.count_nonzero(~measured)),
        UnusedReason.OUTSIDE: int(np.count_nonzero(measured & ~inside)),
        UnusedReason.END_OF_SCALE: int(np.count_nonzero(measured & inside & ~used)),
    }
    lean = measured & inside & (sensed >= SENSOR_RANGE[1])
    at = rows.locate(load[lean])[0] * columns.points.size + columns.locate(speed[lean])[0]
    return counts, np.bincount(at, minlength=cells).astype(np.intp)


def expand_target(target: npt.ArrayLike, grid: MixtureGrid) -> FloatArray:
    """Expand a target lambda to every cell of a grid.

    Parameters
    ----------
    target : array, (), (r,) or (r, c)
        Target lambda [–]: one for all cells, one for each load, or one for each cell.
    grid : MixtureGrid
        Arrays of (r, c).

    Returns
    -------
    array, (r, c)
        Target lambda of each cell [–].

    Raises
    ------
    ValueError
        A target of another shape, missing, or outside 0.70 to 1.20.

    Notes
    -----
    target[load, speed] = target, target[load] or as given: broadcasting, no formula and no source.
    """
    wanted = np.asarray(target, dtype=float)
    shape = grid.mean.shape
    for value in wanted.flat:
        check_target(float(value))
    if wanted.shape == (shape[0],):
        wanted = wanted[:, None]
    elif wanted.shape not in ((), shape):
        raise ValueError(
            f"Enter one target, one per load ({shape[0]}), or a table of {shape[0]} loads by {shape[1]} "
            "engine speeds."
        )
    return np.broadcast_to(wanted, shape).copy()


@dataclass(frozen=True, eq=False)
class MixtureCorrection:
    """Fuel correction of each cell; none for a cell that was measured too little.

    Attributes
    ----------
    rpm_axis, load_axis : array, (c,) and (r,)
        Engine speeds [rpm] and loads [%].
    multiplier : array, (r, c)
        Fuel after over fuel before [–]; above 1 is more fuel, NaN is no correction.
    wanted : array, (r, c)
        The same without the limit of one pass.
    limited, filled : array of bool, (r, c)
        Cells at the limit of one pass; cells interpolated between two measured neighbours (`fill_gaps`).
    uncertain : array of bool, (r, c)
        Cells corrected on demand although they rest on too few holds or are too uncertain.
    reason : array of str, (r, c)
        Why there is none (`NoCorrectionReason`), or would be none if it were not uncertain; else empty.
    """

    rpm_axis: FloatArray
    load_axis: FloatArray
    multiplier: FloatArray
    wanted: FloatArray
    limited: BoolArray
    filled: BoolArray
    uncertain: BoolArray
    reason: npt.NDArray[np.str_]

    @property
    def given(self) -> BoolArray:
        """Cells with a correction, (r, c)."""
        return np.isfinite(self.multiplier)


def compute_correction(
    grid: MixtureGrid,
    target: npt.ArrayLike,
    *,
    min_holds: int = MIN_HOLDS,
    max_half_width: float = MAX_HALF_WIDTH,
    max_pass: float = MAX_PASS,
    with_uncertain: bool = False,
) -> MixtureCorrection:
    """Compute the fuel correction of the cells that were measured well enough.

    Parameters
    ----------
    grid : MixtureGrid
        Arrays of (r, c).
    target : array, (), (r,) or (r, c)
        Target lambda [–], as for `expand_target`.
    min_holds : int
        Holds that have to count for a cell, two or more.
    max_half_width : float
        Widest 95 % half-width of lambda that still gives a correction [–].
    max_pass : float
        Largest correction in one pass, up or down [share of the fuel].
    with_uncertain : bool
        Correct cells with too few holds or too wide an interval too, if they have one, and mark them.

    Returns
    -------
    MixtureCorrection
        Arrays of (r, c).

    Raises
    ------
    ValueError
        A target as for `expand_target`, fewer than two holds, a limit not above zero, or a pass of 100 % or
        more.

    Notes
    -----
    multiplier = lambda measured / lambda target: with the same air, fuel mass goes with 1/lambda. A cell in
    which the sensor was at its lean end for more than 10 % of the samples gets none. Source: definition of
    lambda; the limits are rules of thumb, no published source.
    """
    if min_holds < 2:
        raise ValueError("A correction needs at least two holds per cell.")
    if not 0 < max_pass < 1 or not max_half_width > 0:
        raise ValueError("The limits of a correction must be above zero, and the limit per pass below 100 %.")
    reasons = {
        NoCorrectionReason.END_OF_SCALE: grid.end_of_scale > grid.n * MAX_END_OF_SCALE_SHARE,
        NoCorrectionReason.NOT_VISITED: ~grid.visited,
        NoCorrectionReason.TOO_FEW: grid.support < min_holds,
        NoCorrectionReason.UNCERTAIN: ~(grid.half_width_95 <= max_half_width),
    }
    reason = np.select(list(reasons.values()), list(reasons), default="")
    weak = (reason == NoCorrectionReason.TOO_FEW) | (reason == NoCorrectionReason.UNCERTAIN)
    uncertain = weak & np.isfinite(grid.half_width_95) & with_uncertain
    wanted = np.where((reason == "") | uncertain, grid.mean / expand_target(target, grid), np.nan)
    multiplier = np.clip(wanted, 1 - max_pass, 1 + max_pass)
    return MixtureCorrection(
        rpm_axis=grid.rpm_axis,
        load_axis=grid.load_axis,
        multiplier=multiplier,
        wanted=wanted,
        limited=np.isfinite(wanted) & (multiplier != wanted),
        filled=np.zeros(wanted.shape, dtype=bool),
        uncertain=uncertain,
        reason=reason,
    )
