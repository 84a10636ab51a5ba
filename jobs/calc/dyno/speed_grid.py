"""Any channel of a run on a grid of engine speed, by local quadratics of one stated width.

The grid lies on multiples of its step, so channels made with one step and one width share their
points. Nothing is carried beyond the measured speeds or across a gap: there the value is NaN.

References
----------
.. [1] W. S. Cleveland, "Robust locally weighted regression and smoothing scatterplots",
   Journal of the American Statistical Association 74 (1979) 829: tricube weights, and samples
   far off a first fit left out of a second.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.local_fit import Blocks, CellSums, Fit, Layout, fit_cells
from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import require_positive

GRID_STEP_RPM = 50.0
WIDTH_RPM = 200.0
MIN_SAMPLES = 4
# No motorcycle engine turns faster; a sample above is a reading error.
HIGHEST_ENGINE_SPEED_RPM = 30_000.0

# A sample is left out when it lies this many of the run's usual scatters off the curve made
# without it, and never less than a hundredth of the highest value, where it would not matter.
OUTLIER_SCATTERS = 6.0
OUTLIER_SHARE = 0.01
# Samples this far off a first fit, which the outliers themselves may have pulled, are looked at.
SUSPECT_SCATTERS = 3.0
# Where more of a window's samples than this lie off, they are no outliers but what the engine did.
OUTLIERS_AT_MOST = 1 / 3
OUTLIER_ROUNDS = 12
SCATTER_SAMPLES = 4_000
# Rows taken at a time: few enough to stay in a core's own cache.
BLOCK_ROWS = 16_384

WIDTHS_RPM = (200.0, 300.0, 400.0, 600.0, 800.0, 1000.0, 1500.0)
SAMPLES_WANTED = 6


@dataclass(frozen=True, eq=False)
class GridChannel:
    """A channel on a grid of engine speed.

    Attributes
    ----------
    engine_speed_rpm, values : array, (g,)
        The grid, and the channel in its own unit; NaN where it was not measured.
    n : array, (g,)
        Samples in the window around each point.
    spread : array, (g,)
        Standard deviation of the samples about the fit. Neighbouring samples of a run are not
        independent, so this is no interval of the curve: that takes repeats.
    grid_step_rpm, width_rpm : float
        The step of the grid and the full width of the window.
    left_out : int
        Samples far off the curve that were left out.
    """

    engine_speed_rpm: FloatArray
    values: FloatArray
    n: npt.NDArray[np.intp]
    spread: FloatArray
    grid_step_rpm: float
    width_rpm: float
    left_out: int


def _usable(speed: FloatArray, y: FloatArray) -> Blocks:
    """The samples with a possible speed and a value, in blocks of rows."""
    blocks = []
    for start in range(0, speed.size, BLOCK_ROWS):
        rows = slice(start, start + BLOCK_ROWS)
        part, values = speed[rows], y[rows]
        usable = (part > 0) & (part <= HIGHEST_ENGINE_SPEED_RPM) & np.isfinite(values)
        if not usable.all():
            part, values = part[usable], values[usable]
        if part.size:
            blocks.append((part, values))
    return blocks


@dataclass(frozen=True, eq=False)
class _Expected:
    """What a fit expects in each cell, and how far a sample may lie from it by its place alone."""

    centre: FloatArray
    slack: FloatArray

    @classmethod
    def of(cls, layout: Layout, fit: Fit) -> "_Expected":
        known = np.isfinite(fit.values)
        grid, values = layout.grid[known], fit.values[known]
        middles = layout.origin_rpm + (np.arange(layout.cells) + 0.5) * layout.cell_rpm
        slope = np.abs(np.gradient(values, grid)) if grid.size > 1 else np.zeros(grid.size)
        slack = np.interp(middles, grid, slope) * layout.cell_rpm
        return cls(np.interp(middles, grid, values), slack)

    def miss(self, cell: npt.NDArray[np.intp], y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """How far each sample lies off, and how much of that its place explains."""
        return np.abs(y - self.centre[cell]), self.slack[cell]


def _without_outliers(
    layout: Layout, sums: CellSums, fit: Fit, blocks: Blocks, min_samples: int
) -> tuple[Fit, int]:
    """The fit without the samples far off it, and how many those are.

    An outlier pulls the fit and makes its good neighbours look bad, so in each neighbourhood the
    worst go first, and in the end whatever fits again comes back. Only the suspects of the first
    fit are looked at again: the rounds cost next to nothing.
    """
    limit, suspicion = _limits(layout, fit, blocks)
    cell, place, y = _suspects(layout, fit, blocks, suspicion)
    if cell.size == 0:
        return fit, 0

    def fit_without(gone: npt.NDArray[np.bool_]) -> Fit:
        removed = CellSums.of(layout.cells, cell[gone], place[gone], y[gone])
        return fit_cells(layout, sums.without(removed), min_samples)

    out = np.zeros(cell.size, dtype=bool)
    neighbourhood = cell // layout.half
    for _ in range(OUTLIER_ROUNDS):
        miss, slack = _Expected.of(layout, fit).miss(cell, y)
        far = ~out & (miss > limit + slack)
        if not far.any():
            break
        worst = np.zeros(neighbourhood.max() + 1)
        np.maximum.at(worst, neighbourhood[far], miss[far])
        further = out | (far & (miss >= 0.7 * worst[neighbourhood]))
        further_fit = fit_without(further)
        if not np.isfinite(further_fit.values).any():
            break
        out, fit = further, further_fit
    miss, slack = _Expected.of(layout, fit).miss(cell, y)
    kept_out = out & (miss > limit + slack)
    kept_out &= ~_crowded(layout, sums, cell, kept_out)
    if not np.array_equal(kept_out, out):
        fit = fit_without(kept_out)
    return fit, int(np.count_nonzero(kept_out))


def _limits(layout: Layout, fit: Fit, blocks: Blocks) -> tuple[float, float]:
    """How far off a sample has to lie to be left out, and to be suspected, from the run's usual scatter."""
    rows = sum(y.size for _, y in blocks)
    every = max(rows // SCATTER_SAMPLES, 1)
    expected = _Expected.of(layout, fit)
    misses = [expected.miss(layout.cells_of(speed[::every])[0], y[::every])[0] for speed, y in blocks]
    scatter = 1.4826 * float(np.median(np.concatenate(misses)))
    floor = OUTLIER_SHARE * float(np.nanmax(np.abs(fit.values)))
    return max(OUTLIER_SCATTERS * scatter, floor), max(SUSPECT_SCATTERS * scatter, floor / 2)


def _suspects(
    layout: Layout, fit: Fit, blocks: Blocks, suspicion: float
) -> tuple[npt.NDArray[np.intp], FloatArray, FloatArray]:
    """Cell, place and value of the samples further off the fit than this."""
    expected = _Expected.of(layout, fit)
    found = []
    for speed, y in blocks:
        cell, place = layout.cells_of(speed)
        far = expected.miss(cell, y)[0] > suspicion
        if far.any():
            found.append((cell[far], place[far], y[far]))
    if not found:
        return np.zeros(0, dtype=np.intp), np.zeros(0), np.zeros(0)
    cells, places, values = zip(*found, strict=True)
    return np.concatenate(cells), np.concatenate(places), np.concatenate(values)


def _crowded(
    layout: Layout, sums: CellSums, cell: npt.NDArray[np.intp], out: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Samples of any window of which too many would be left out."""
    window = np.ones(2 * layout.half + 1)
    gone = np.convolve(np.bincount(cell[out], minlength=layout.cells), window, mode="same")
    there = np.convolve(sums.count, window, mode="same")
    crowded = gone > OUTLIERS_AT_MOST * there
    return (np.convolve(crowded, window, mode="same") > 0.5)[cell]


def on_grid(
    engine_speed_rpm: npt.ArrayLike,
    channel: npt.ArrayLike,
    grid_step_rpm: float = GRID_STEP_RPM,
    width_rpm: float = WIDTH_RPM,
    min_samples: int = MIN_SAMPLES,
    keep_all: bool = False,
) -> GridChannel:
    """Bring any channel of a run onto a grid of engine speed by local quadratics [1]_.

    Parameters
    ----------
    engine_speed_rpm, channel : array, (n,)
        Samples in any order: rising, falling, shuffled. NaN is not measured; a speed of zero or
        below, or above `HIGHEST_ENGINE_SPEED_RPM`, counts as a dropout and is not used.
    grid_step_rpm : float
        Grid points are multiples of it [1/min].
    width_rpm : float
        Full width of the window around each point [1/min].
    min_samples : int
        A point with fewer samples in its window is NaN.
    keep_all : bool
        Leave no sample out as an outlier: for lambda, say, where a short lean spike may be true.

    Returns
    -------
    GridChannel
        NaN outside the measured speeds, inside a gap, and where the samples lie so badly that
        the fit would scatter more than a single sample does.

    Raises
    ------
    ValueError
        Channels of different length, a step or width not above zero, a window narrower than the
        step, no usable sample, or too few in every window.
    """
    speed, y = np.asarray(engine_speed_rpm, dtype=float), np.asarray(channel, dtype=float)
    _check_request(speed, y, grid_step_rpm, width_rpm)
    blocks = _usable(speed, y)
    if not blocks:
        raise ValueError("No sample has both an engine speed and a value: check which columns were named.")
    lowest, highest = (
        min(float(part.min()) for part, _ in blocks),
        max(float(part.max()) for part, _ in blocks),
    )
    layout = Layout.around(lowest, highest, grid_step_rpm, width_rpm)
    sums = CellSums.of_blocks(layout, blocks)
    fit = fit_cells(layout, sums, min_samples)
    if not np.isfinite(fit.values).any():
        raise ValueError(
            f"Too few samples for a curve: no window of {width_rpm:g} 1/min holds {min_samples} of them"
            " spread over it. Choose a wider window."
        )
    left_out = 0
    if not keep_all:
        fit, left_out = _without_outliers(layout, sums, fit, blocks, min_samples)
    return GridChannel(layout.grid, fit.values, fit.n, fit.spread, grid_step_rpm, width_rpm, left_out)


def _check_request(speed: FloatArray, y: FloatArray, step: float, width: float) -> None:
    require_positive("grid step", step, "1/min")
    require_positive("width of the smoothing", width, "1/min")
    if width < step:
        raise ValueError(
            f"The smoothing ({width:g} 1/min) is narrower than the grid ({step:g} 1/min): samples between"
            " the points would count for nothing."
        )
    if speed.ndim != 1 or speed.shape != y.shape:
        raise ValueError(
            f"Engine speed has {speed.size} samples, the channel {y.size}: they do not belong together."
        )


def common_width_rpm(
    engine_speeds: Sequence[npt.ArrayLike],
    grid_step_rpm: float = GRID_STEP_RPM,
    at_least_rpm: float = WIDTH_RPM,
) -> float:
    """The width to start from, or the narrowest usual one at which every one of these runs fills its windows.

    Parameters
    ----------
    engine_speeds : sequence of array, (n,)
        One array a run [1/min]; runs to be compared are asked about together.
    grid_step_rpm, at_least_rpm : float
        The grid, and the width to start from.

    Returns
    -------
    float
        So wide that nine points of the grid in ten have `SAMPLES_WANTED` samples; the widest of
        `WIDTHS_RPM` where none is enough.
    """
    runs = []
    for engine_speed in engine_speeds:
        speed = np.asarray(engine_speed, dtype=float)
        runs.append(np.sort(speed[(speed > 0) & (speed <= HIGHEST_ENGINE_SPEED_RPM)]))
    start = max(at_least_rpm, grid_step_rpm)
    widths = [start, *(w for w in WIDTHS_RPM if w > start)]
    for width in widths:
        if all(_filled_share(run, grid_step_rpm, width) >= 0.9 for run in runs):
            return width
    return widths[-1]


def _filled_share(speed: FloatArray, step: float, width: float) -> float:
    if speed.size == 0:
        return 0.0
    # A single reading far from all others must not stretch the range that is asked about.
    low, high = np.quantile(speed, [0.01, 0.99])
    grid = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
    if grid.size == 0:
        return 0.0
    held = np.searchsorted(speed, grid + width / 2) - np.searchsorted(speed, grid - width / 2)
    return float(np.mean(held >= SAMPLES_WANTED))
