"""Any channel of a run on a grid of engine speed, by local quadratics of one stated width.

The grid lies on multiples of its step, so channels made with one step and one width share their points.
Nothing is extrapolated beyond the measured speeds or across a gap: there the value is NaN.

References
----------
.. [1] W. S. Cleveland, "Robust locally weighted regression and smoothing scatterplots", Journal of the
   American Statistical Association 74 (1979) 829: tricube weights, and a second fit with less weight on
   samples far off the first.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.local_fit import Blocks, Fit, GridLayout, fit_cells, sum_cells
from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import require_finite, require_positive
from jobs.calc.wording import gettext as _

GRID_STEP_RPM = 50.0
WIDTH_RPM = 200.0
MIN_SAMPLES = 4
# No motorcycle engine turns faster; a sample above is a reading error. Rule of thumb, no published source.
MAX_ENGINE_SPEED_RPM = 30_000.0

# A sample is an outlier if it is this many of the run's usual scatters off the curve made without it, and
# at least a hundredth of the highest value, below which it would not matter. No published source.
OUTLIER_SCATTERS = 6.0
MIN_OUTLIER_SHARE = 0.01
# Outliers may have pulled the first fit towards them, so samples this far off it are checked again.
SUSPECT_SCATTERS = 3.0
# If more of a window's samples than this are off, they are not outliers but what the engine did.
MAX_OUTLIER_SHARE = 1 / 3
MAX_OUTLIER_ROUNDS = 12
# Two samples beside each other that are as far off, by up to this share of the highest value, are no spike
# but a step or a dip of the engine; further off, they are a dropout.
MAX_FEATURE_SHARE = 1 / 3
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
        The grid [1/min], and the channel in its own unit; NaN if not measured.
    n : array of int, (g,)
        Samples in the window around each point.
    spread : array, (g,)
        Standard deviation of the samples about the fit, in the channel's unit. Neighbouring samples of a run
        are not independent, so this is no interval of the curve: that takes repeats.
    grid_step_rpm, width_rpm : float
        The step of the grid and the full width of the window [1/min].
    outliers : int
        Samples far off the curve that were not used.
    """

    engine_speed_rpm: FloatArray
    values: FloatArray
    n: npt.NDArray[np.intp]
    spread: FloatArray
    grid_step_rpm: float
    width_rpm: float
    outliers: int


def _select_usable(speed: FloatArray, y: FloatArray) -> Blocks:
    """Return the samples with a possible speed and a value, in blocks of rows."""
    blocks = []
    for start in range(0, speed.size, BLOCK_ROWS):
        rows = slice(start, start + BLOCK_ROWS)
        part, values = speed[rows], y[rows]
        usable = (part > 0) & (part <= MAX_ENGINE_SPEED_RPM) & np.isfinite(values)
        if not usable.all():
            part, values = part[usable], values[usable]
        if part.size:
            blocks.append((part, values))
    return blocks


def _expect_in_cells(layout: GridLayout, fit: Fit) -> tuple[FloatArray, FloatArray]:
    """Return what a fit expects in each cell, and how far a sample may lie from it by its place alone."""
    known = np.isfinite(fit.values)
    grid, values = layout.grid[known], fit.values[known]
    middles = layout.origin_rpm + (np.arange(layout.cells) + 0.5) * layout.cell_rpm
    slope = np.abs(np.gradient(values, grid)) if grid.size > 1 else np.zeros(grid.size)
    return np.interp(middles, grid, values), np.interp(middles, grid, slope) * layout.cell_rpm


def _remove_outliers(
    layout: GridLayout, sums: FloatArray, fit: Fit, blocks: Blocks, min_samples: int
) -> tuple[Fit, int]:
    """Refit without the samples far off, and count them."""
    # An outlier pulls the fit and makes its good neighbours look bad, so in each neighbourhood the worst are
    # removed first, and in the end whatever fits again is restored. Only the suspects of the first fit are
    # checked again, so a round costs little more than its fit.
    centre, slack = _expect_in_cells(layout, fit)
    limit, suspicion = _outlier_limits(layout, fit, centre, blocks)
    speed, y = _find_suspects(layout, centre, blocks, suspicion)
    if not y.size:
        return fit, 0
    cell = layout.find_cells(speed)

    def fit_without(removed: npt.NDArray[np.bool_]) -> Fit:
        left = sums - sum_cells(layout, speed[removed], y[removed])
        # An emptied cell keeps no rounding residue.
        return fit_cells(layout, np.where(left[0] > 0, left, 0.0), min_samples)

    removed = np.zeros(y.size, dtype=bool)
    neighbourhood = cell // layout.half
    for _round in range(MAX_OUTLIER_ROUNDS):
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
        centre, slack = _expect_in_cells(layout, fit)
    still_out = removed & (np.abs(y - centre[cell]) > limit + slack[cell])
    still_out &= ~_find_crowded(layout, sums, cell, still_out)
    depth = MAX_FEATURE_SHARE * float(np.nanmax(np.abs(fit.values)))
    still_out &= ~_find_features(layout, blocks, speed, y - centre[cell], still_out, depth)
    if not np.array_equal(still_out, removed):
        fit = fit_without(still_out)
    return fit, int(np.count_nonzero(still_out))


def _outlier_limits(layout: GridLayout, fit: Fit, centre: FloatArray, blocks: Blocks) -> tuple[float, float]:
    """Return the residual from which a sample is an outlier, and from which a suspect."""
    every = max(sum(y.size for _, y in blocks) // SCATTER_SAMPLES, 1)
    speed, y = (np.concatenate([channel[::every] for channel in part]) for part in zip(*blocks, strict=True))
    # The median of normally distributed residuals times 1.4826 is their standard deviation.
    scatter = 1.4826 * float(np.median(_compute_residuals(layout, centre, speed, y)))
    floor = MIN_OUTLIER_SHARE * float(np.nanmax(np.abs(fit.values)))
    return max(OUTLIER_SCATTERS * scatter, floor), max(SUSPECT_SCATTERS * scatter, floor / 2)


def _find_suspects(
    layout: GridLayout, centre: FloatArray, blocks: Blocks, suspicion: float
) -> tuple[FloatArray, FloatArray]:
    """Return speed and value of the samples further off the fit than this."""
    found = []
    for speed, y in blocks:
        far = np.flatnonzero(_compute_residuals(layout, centre, speed, y) > suspicion)
        found.append((speed[far], y[far]))
    speeds, values = zip(*found, strict=True)
    return np.concatenate(speeds), np.concatenate(values)


def _compute_residuals(
    layout: GridLayout, centre: FloatArray, speed: FloatArray, y: FloatArray
) -> FloatArray:
    residuals = y - centre.take(layout.find_cells(speed))
    return np.abs(residuals, out=residuals)


def _find_crowded(
    layout: GridLayout, sums: FloatArray, cell: npt.NDArray[np.intp], out: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Find the samples in any window of which too many would be removed."""
    window = np.ones(2 * layout.half + 1)
    gone = np.convolve(np.bincount(cell[out], minlength=layout.cells), window, mode="same")
    there = np.convolve(sums[0], window, mode="same")
    crowded = gone > MAX_OUTLIER_SHARE * there
    return (np.convolve(crowded, window, mode="same") > 0.5)[cell]


def _find_features(
    layout: GridLayout,
    blocks: Blocks,
    speed: FloatArray,
    residuals: FloatArray,
    out: npt.NDArray[np.bool_],
    depth: float,
) -> npt.NDArray[np.bool_]:
    """Find the samples with a neighbour in engine speed that is as far off: the engine did that, no spike."""
    candidates = out & (np.abs(residuals) <= depth)
    if not candidates.any():
        return candidates
    # Only what lies within half a window of them is sorted: a run may hold far more samples than that.
    at = np.bincount(layout.find_cells(speed[candidates]), minlength=layout.cells)
    near = np.convolve(at, np.ones(2 * layout.half + 1), "same") > 0.5
    around = np.sort(np.concatenate([part[near.take(layout.find_cells(part))] for part, _ in blocks]))
    order = np.argsort(speed, kind="stable")
    by_speed, off = speed[order], residuals[order]
    # Suspects are neighbours if no sample that fits lies between them.
    place = np.searchsorted(around, by_speed) + np.arange(speed.size) - np.searchsorted(by_speed, by_speed)
    beside = np.diff(place) == 1
    # On both sides of a step the fit is off in opposite ways.
    product, square = np.abs(off[1:] * off[:-1]), np.square(off)
    found = np.zeros(speed.size, dtype=bool)
    found[1:] |= beside & (product >= square[1:] / 2)
    found[:-1] |= beside & (product >= square[:-1] / 2)
    features = np.zeros(speed.size, dtype=bool)
    features[order] = found
    return features & candidates


def fit_on_grid(
    engine_speed_rpm: npt.ArrayLike,
    channel: npt.ArrayLike,
    grid_step_rpm: float = GRID_STEP_RPM,
    width_rpm: float = WIDTH_RPM,
    min_samples: int = MIN_SAMPLES,
    keep_all: bool = False,
) -> GridChannel:
    """Fit any channel of a run on a grid of engine speed.

    Parameters
    ----------
    engine_speed_rpm, channel : array, (n,)
        Engine speed [1/min] and the channel in any unit, in any order: rising, falling, shuffled. NaN is not
        measured; a speed not above zero or above `MAX_ENGINE_SPEED_RPM` is a dropout and is not used.
    grid_step_rpm, width_rpm : float
        Grid points are multiples of the step; full width of the window around each point [1/min].
    min_samples : int
        A point with fewer samples in its window is NaN.
    keep_all : bool
        Use every sample: a short lean spike of lambda, for example, may be true.

    Returns
    -------
    GridChannel
        NaN outside the measured speeds, inside a gap, and where the fit would scatter more than a single
        sample does.

    Raises
    ------
    ValueError
        The channels differ in length, step or width is not above zero, the window is narrower than the step,
        or there is no usable sample or too few in every window.

    Notes
    -----
    At each grid point x the quadratic in speed that minimises Σ w·(y - q)², with tricube weights
    w = (1 - |2·(speed - x) / width|³)³ [1]_. Samples far off the fit are removed and the fit repeated, where
    [1]_ gives them less weight; the limits are a rule of thumb, no published source.
    """
    speed, y = np.asarray(engine_speed_rpm, dtype=float), np.asarray(channel, dtype=float)
    _check_request(speed, y, grid_step_rpm, width_rpm)
    blocks = _select_usable(speed, y)
    if not blocks:
        raise ValueError(_("No sample has both an engine speed and a value. Check which columns were named."))
    lowest, highest = (
        min(float(part.min()) for part, _ in blocks),
        max(float(part.max()) for part, _ in blocks),
    )
    layout = GridLayout.covering(lowest, highest, grid_step_rpm, width_rpm)
    sums = np.zeros((5, layout.cells))
    for block in blocks:
        sums += sum_cells(layout, *block)
    fit = fit_cells(layout, sums, min_samples)
    if not np.isfinite(fit.values).any():
        raise ValueError(
            _(
                "Too few samples for a curve. No window of %(width)s rpm holds %(count)s of them"
                " spread over it. Choose a wider window."
            )
            % {"width": f"{width_rpm:g}", "count": min_samples}
        )
    outliers = 0
    if not keep_all:
        fit, outliers = _remove_outliers(layout, sums, fit, blocks, min_samples)
    return GridChannel(layout.grid, fit.values, fit.n, fit.spread, grid_step_rpm, width_rpm, outliers)


def shown_share(feature_rpm: float, width_rpm: float, slope_width_rpm: float = 0.0) -> float:
    """Compute how much of a narrow dip or bump is left after smoothing.

    Parameters
    ----------
    feature_rpm : float
        Full width of a bell-shaped dip at half its depth [1/min].
    width_rpm : float
        Full width of the window of the local quadratics [1/min].
    slope_width_rpm : float
        What a slope was taken over before, if the power is that of a roller [1/min]; 0 for none.

    Returns
    -------
    float
        Depth shown over true depth [1].

    Raises
    ------
    ValueError
        A width is not above zero.

    Notes
    -----
    The value in the middle of the dip under the equivalent kernel of a local quadratic,
    w(u)·(μ₄ - μ₂·u²) / (μ₀·μ₄ - μ₂²) with tricube weights w and their moments μ [1]_, and under that of a
    slope over the window, ¾·(1 - u²).
    """
    require_positive("width of the dip", feature_rpm, "rpm")
    require_positive("width of the smoothing", width_rpm, "rpm")
    require_finite("width of the slope", slope_width_rpm)
    u = np.linspace(-1, 1, 401)
    weight = (1 - np.abs(u) ** 3) ** 3
    fit = weight * (np.sum(weight * u**4) - np.sum(weight * u**2) * u**2)
    slope = 1 - u**2
    off = (u[:, None] * width_rpm + u * slope_width_rpm) / (2 * feature_rpm)
    dip = np.exp(-16 * np.log(2) * off**2 / 4)
    return float((fit / fit.sum()) @ dip @ (slope / slope.sum()))


def _check_request(speed: FloatArray, y: FloatArray, step: float, width: float) -> None:
    require_positive("grid step", step, "rpm")
    require_positive("width of the smoothing", width, "rpm")
    if width < step:
        raise ValueError(
            f"The smoothing ({width:g} rpm) is narrower than the grid ({step:g} rpm): samples between"
            " the points would not be used."
        )
    if speed.ndim != 1 or speed.shape != y.shape:
        raise ValueError(
            f"Engine speed has {speed.size} samples, the channel {y.size}. Both must have the same number."
        )


def common_width_rpm(
    engine_speeds: Sequence[npt.ArrayLike],
    grid_step_rpm: float = GRID_STEP_RPM,
    at_least_rpm: float = WIDTH_RPM,
) -> float:
    """Choose one smoothing width at which every one of these runs fills its windows.

    Parameters
    ----------
    engine_speeds : sequence of array, (n,)
        One array for each run to be compared [1/min].
    grid_step_rpm, at_least_rpm : float
        The grid, and the width to start from [1/min].

    Returns
    -------
    float
        ``at_least_rpm`` or a wider one of `WIDTHS_RPM` [1/min]; the widest if none is enough.

    Notes
    -----
    The narrowest width with n(window) >= `SAMPLES_WANTED` at nine grid points in ten of every run.
    Rule of thumb, no published source.
    """
    require_positive("grid step", grid_step_rpm, "rpm")
    runs = []
    for engine_speed in engine_speeds:
        speed = np.asarray(engine_speed, dtype=float)
        runs.append(np.sort(speed[(speed > 0) & (speed <= MAX_ENGINE_SPEED_RPM)]))
    start = max(at_least_rpm, grid_step_rpm)
    widths = [start, *(w for w in WIDTHS_RPM if w > start)]
    for width in widths:
        if all(_filled_share(run, grid_step_rpm, width) >= 0.9 for run in runs):
            return width
    return widths[-1]


def _filled_share(speed: FloatArray, step: float, width: float) -> float:
    if speed.size == 0:
        return 0.0
    # A single reading far from all others must not stretch the range.
    low, high = np.quantile(speed, [0.01, 0.99])
    grid = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
    if grid.size == 0:
        return 0.0
    held = np.searchsorted(speed, grid + width / 2) - np.searchsorted(speed, grid - width / 2)
    return float(np.mean(held >= SAMPLES_WANTED))
