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

from jobs.calc.dyno.local_fit import Blocks, Fit, GridLayout, fit_cells, sum_cells
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
MAX_OUTLIER_ROUNDS = 12
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


def _expected(layout: GridLayout, fit: Fit) -> tuple[FloatArray, FloatArray]:
    """Return what a fit expects in each cell, and how far a sample may lie from it by its place alone."""
    known = np.isfinite(fit.values)
    grid, values = layout.grid[known], fit.values[known]
    middles = layout.origin_rpm + (np.arange(layout.cells) + 0.5) * layout.cell_rpm
    slope = np.abs(np.gradient(values, grid)) if grid.size > 1 else np.zeros(grid.size)
    return np.interp(middles, grid, values), np.interp(middles, grid, slope) * layout.cell_rpm


def _without_outliers(
    layout: GridLayout, sums: FloatArray, fit: Fit, blocks: Blocks, min_samples: int
) -> tuple[Fit, int]:
    """Refit without the samples far off, and count them.

    An outlier pulls the fit and makes its good neighbours look bad, so in each neighbourhood the
    worst go first, and in the end whatever fits again comes back. Only the suspects of the first
    fit are looked at again: the rounds cost next to nothing.
    """
    centre, slack = _expected(layout, fit)
    limit, suspicion = _limits(layout, fit, centre, blocks)
    speed, y = _suspects(layout, centre, blocks, suspicion)
    if not y.size:
        return fit, 0
    cell = layout.cell_of(speed)

    def fit_without(removed: npt.NDArray[np.bool_]) -> Fit:
        left = sums - sum_cells(layout, speed[removed], y[removed])
        # An emptied cell keeps no rounding residue.
        return fit_cells(layout, np.where(left[0] > 0, left, 0.0), min_samples)

    removed = np.zeros(y.size, dtype=bool)
    neighbourhood = cell // layout.half
    for _ in range(MAX_OUTLIER_ROUNDS):
        residuals = np.abs(y - centre[cell])
        far = ~removed & (residuals > limit + slack[cell])
        if not far.any():
            break
        worst = np.zeros(neighbourhood.max() + 1)
        np.maximum.at(worst, neighbourhood[far], residuals[far])
        further = removed | (far & (residuals >= 0.7 * worst[neighbourhood]))
        further_fit = fit_without(further)
        if not np.isfinite(further_fit.values).any():
            break
        removed, fit = further, further_fit
        centre, slack = _expected(layout, fit)
    still_out = removed & (np.abs(y - centre[cell]) > limit + slack[cell])
    still_out &= ~_crowded(layout, sums, cell, still_out)
    if not np.array_equal(still_out, removed):
        fit = fit_without(still_out)
    return fit, int(np.count_nonzero(still_out))


def _limits(layout: GridLayout, fit: Fit, centre: FloatArray, blocks: Blocks) -> tuple[float, float]:
    """Return the residual from which a sample is an outlier, and from which a suspect."""
    every = max(sum(y.size for _, y in blocks) // SCATTER_SAMPLES, 1)
    speed, y = (np.concatenate([channel[::every] for channel in part]) for part in zip(*blocks, strict=True))
    scatter = 1.4826 * float(np.median(_residuals(layout, centre, speed, y)))
    floor = OUTLIER_SHARE * float(np.nanmax(np.abs(fit.values)))
    return max(OUTLIER_SCATTERS * scatter, floor), max(SUSPECT_SCATTERS * scatter, floor / 2)


def _suspects(
    layout: GridLayout, centre: FloatArray, blocks: Blocks, suspicion: float
) -> tuple[FloatArray, FloatArray]:
    """Return speed and value of the samples further off the fit than this."""
    found = []
    for speed, y in blocks:
        far = np.flatnonzero(_residuals(layout, centre, speed, y) > suspicion)
        found.append((speed[far], y[far]))
    speeds, values = zip(*found, strict=True)
    return np.concatenate(speeds), np.concatenate(values)


def _residuals(layout: GridLayout, centre: FloatArray, speed: FloatArray, y: FloatArray) -> FloatArray:
    residuals = y - centre.take(layout.cell_of(speed))
    return np.abs(residuals, out=residuals)


def _crowded(
    layout: GridLayout, sums: FloatArray, cell: npt.NDArray[np.intp], out: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Samples of any window of which too many would be left out."""
    window = np.ones(2 * layout.half + 1)
    gone = np.convolve(np.bincount(cell[out], minlength=layout.cells), window, mode="same")
    there = np.convolve(sums[0], window, mode="same")
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
    layout = GridLayout.around(lowest, highest, grid_step_rpm, width_rpm)
    sums = np.zeros((5, layout.cells))
    for block in blocks:
        sums += sum_cells(layout, *block)
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
