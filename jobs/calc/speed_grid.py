"""Any channel of a run on a grid of engine speed, by local quadratics of one stated width.

The grid lies on multiples of its step, so channels made with one step and one width share their
points. Nothing is carried beyond the measured speeds or across a gap: there the value is NaN.
One pass sums the samples into narrow cells of speed; all else works on the cells, so the cost
hardly grows with the fit.

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
from numpy.lib.stride_tricks import sliding_window_view

from jobs.calc.figures import require_positive
from jobs.calc.statistics import FloatArray

GRID_STEP_RPM = 50.0
WIDTH_RPM = 200.0
MIN_SAMPLES = 4
# No motorcycle engine turns faster; a sample above is a reading error.
HIGHEST_ENGINE_SPEED_RPM = 30_000.0

# A window is cut into about this many cells, each standing in the fit with its own mean place.
CELLS_PER_WINDOW = 20
# A sample is left out when it lies this many of the run's usual scatters off the curve made
# without it, and never less than a hundredth of the highest value, where it would not matter.
OUTLIER_SCATTERS = 6.0
OUTLIER_SHARE = 0.01
# Samples this far off a first fit, which the outliers themselves may have pulled, are looked at.
SUSPECT_SCATTERS = 3.0
# Where more of a window's samples than this lie off, they are no outliers but what the engine did.
OUTLIERS_AT_MOST = 1 / 3
OUTLIER_ROUNDS = 12

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


@dataclass(frozen=True)
class _Layout:
    """Where the grid and its cells lie: grid point i is the left edge of cell ``pad + i·per_step``.

    ``reach`` is half the width in cells, ``half`` the same made whole.
    """

    grid: FloatArray
    cell_rpm: float
    per_step: int
    reach: float
    half: int
    pad: int

    @classmethod
    def around(cls, lowest: float, highest: float, step: float, width: float) -> "_Layout":
        first, last = np.ceil(lowest / step), np.floor(highest / step)
        if last < first:
            raise ValueError(
                f"The engine speed stays between {lowest:.0f} and {highest:.0f} 1/min: no point of a"
                f" {step:g} 1/min grid lies in between, so there is no curve."
            )
        per_step = int(np.ceil(CELLS_PER_WINDOW * step / width))
        cell = step / per_step
        reach = width / 2 / cell
        half = int(np.ceil(reach))
        return cls(np.arange(first, last + 1) * step, cell, per_step, reach, half, max(half, per_step))

    @property
    def origin_rpm(self) -> float:
        return float(self.grid[0] - self.pad * self.cell_rpm)

    @property
    def cells(self) -> int:
        return 2 * self.pad + (self.grid.size - 1) * self.per_step + 1

    def windows(self, per_cell: FloatArray) -> FloatArray:
        """The cells around each grid point, (g, 2·half)."""
        start = self.pad - self.half
        view = sliding_window_view(per_cell[start:], 2 * self.half)[:: self.per_step]
        return view[: self.grid.size]


@dataclass(frozen=True, eq=False)
class _Sums:
    """Per cell: samples, and the sums of place, place², y and y² over them."""

    count: FloatArray
    place: FloatArray
    square: FloatArray
    y: FloatArray
    yy: FloatArray

    @classmethod
    def of(cls, cells: int, cell: npt.NDArray[np.intp], place: FloatArray, y: FloatArray) -> "_Sums":
        count = np.bincount(cell, minlength=cells).astype(float)
        weights = (place, place * place, y, y * y)
        sums = (np.bincount(cell, weights=w, minlength=cells).astype(float) for w in weights)
        return cls(count, *sums)

    def without(self, other: "_Sums") -> "_Sums":
        left = self.count - other.count
        pairs = (
            (self.place, other.place),
            (self.square, other.square),
            (self.y, other.y),
            (self.yy, other.yy),
        )
        # An emptied cell keeps no rounding residue.
        return _Sums(left, *(np.where(left > 0, mine - theirs, 0.0) for mine, theirs in pairs))


@dataclass(frozen=True, eq=False)
class _Fit:
    values: FloatArray
    n: npt.NDArray[np.intp]
    spread: FloatArray


def _fit(layout: _Layout, sums: _Sums, min_samples: int) -> _Fit:
    """Tricube-weighted local quadratic at every grid point.

    A cell enters the fit with the means of its places and of their squares, so any quadratic in
    speed comes back exactly; only the weight is taken as one over a cell.
    """
    filled = np.maximum(sums.count, 1)
    n = layout.windows(sums.count)
    mean_place, mean_square, mean_y, mean_yy = (
        layout.windows(s / filled) for s in (sums.place, sums.square, sums.y, sums.yy)
    )
    offset = np.arange(-layout.half, layout.half, dtype=float)
    linear = (offset + mean_place) / layout.reach
    square = (offset**2 + 2 * offset * mean_place + mean_square) / layout.reach**2
    weight = n * np.clip(1 - np.abs(linear) ** 3, 0, None) ** 3

    enough = _covered(n, linear, weight, layout, min_samples)
    values, spread = np.full(layout.grid.size, np.nan), np.full(layout.grid.size, np.nan)
    terms = np.stack([np.ones_like(linear), linear, square])[:, enough]
    values[enough], spread[enough] = _solve(terms, n[enough], weight[enough], mean_y[enough], mean_yy[enough])
    return _Fit(values, n.sum(axis=1).astype(np.intp), spread)


def _solve(
    terms: FloatArray, n: FloatArray, weight: FloatArray, mean_y: FloatArray, mean_yy: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The quadratic's value at each point and the samples' spread about it, from cells (points, cells)."""
    normal = np.einsum("agw,bgw,gw->gab", terms, terms, weight)
    # A trace of ridge keeps places that cannot carry a quadratic solvable; their noise gain rules them out.
    normal += np.eye(3) * 1e-12 * np.trace(normal, axis1=1, axis2=2)[:, None, None]
    moments = np.einsum("agw,gw->ga", terms, weight * mean_y)
    at_point = np.zeros_like(moments)
    at_point[:, 0] = 1.0
    solved = np.linalg.solve(normal, np.stack([moments, at_point], axis=-1))
    shape, pull = solved[..., 0], solved[..., 1]

    leverage = np.einsum("agw,ga->gw", terms, pull) * weight
    noise_gain = np.sum(np.square(leverage) / np.maximum(n, 1), axis=1)
    fitted = np.einsum("agw,ga->gw", terms, shape)
    miss = np.sum(weight * (mean_yy - 2 * fitted * mean_y + fitted**2), axis=1) / weight.sum(axis=1)
    samples = n.sum(axis=1)
    spread = np.sqrt(np.maximum(miss * samples / np.maximum(samples - 3, 1), 0))
    # A fit that scatters more than a single sample does is a guess, not a mean.
    sound = noise_gain <= 1.0 + 1e-6
    return np.where(sound, shape[:, 0], np.nan), np.where(sound, spread, np.nan)


def _covered(
    n: FloatArray, linear: FloatArray, weight: FloatArray, layout: _Layout, min_samples: int
) -> npt.NDArray[np.bool_]:
    """Points with enough samples in three cells or more, on both sides (or within a cell of the point)."""
    used = weight > 0
    near = 1.0 / layout.reach
    below = (used & (linear <= near)).any(axis=1)
    above = (used & (linear >= -near)).any(axis=1)
    return (n.sum(axis=1) >= min_samples) & (used.sum(axis=1) >= 3) & below & above


@dataclass(frozen=True, eq=False)
class _Expected:
    """What a fit expects in each cell, and how far a sample may lie from it by its place alone."""

    centre: FloatArray
    slack: FloatArray

    @classmethod
    def of(cls, layout: _Layout, fit: _Fit) -> "_Expected":
        known = np.isfinite(fit.values)
        grid, values = layout.grid[known], fit.values[known]
        middles = layout.origin_rpm + (np.arange(layout.cells) + 0.5) * layout.cell_rpm
        slope = np.abs(np.gradient(values, grid)) if grid.size > 1 else np.zeros(grid.size)
        slack = np.interp(middles, grid, slope) * layout.cell_rpm
        return cls(np.interp(middles, grid, values), slack)

    def miss(self, cell: npt.NDArray[np.intp], y: FloatArray) -> FloatArray:
        return np.abs(y - self.centre[cell])


def _without_outliers(
    layout: _Layout,
    sums: _Sums,
    fit: _Fit,
    samples: tuple[npt.NDArray[np.intp], FloatArray, FloatArray],
    least: int,
) -> tuple[_Fit, int]:
    """The fit without the samples far off it, and how many those are.

    An outlier pulls the fit and makes its good neighbours look bad, so in each neighbourhood the
    worst go first, and in the end whatever fits again comes back. Only the suspects of the first
    fit are looked at again: the rounds cost next to nothing.
    """
    cell, place, y = samples
    expected = _Expected.of(layout, fit)
    miss = expected.miss(cell, y)
    scatter = 1.4826 * float(np.median(miss[:: max(miss.size // 20_000, 1)]))
    floor = OUTLIER_SHARE * float(np.nanmax(np.abs(fit.values)))
    limit = max(OUTLIER_SCATTERS * scatter, floor)
    suspect = np.flatnonzero(miss > max(SUSPECT_SCATTERS * scatter, floor / 2))
    if suspect.size == 0:
        return fit, 0
    cell, place, y = cell[suspect], place[suspect], y[suspect]

    def fit_without(gone: npt.NDArray[np.bool_]) -> _Fit:
        removed = _Sums.of(layout.cells, cell[gone], place[gone], y[gone])
        return _fit(layout, sums.without(removed), least)

    out = np.zeros(suspect.size, dtype=bool)
    neighbourhood = cell // layout.half
    for _ in range(OUTLIER_ROUNDS):
        expected = _Expected.of(layout, fit)
        miss = expected.miss(cell, y)
        far = ~out & (miss > limit + expected.slack[cell])
        if not far.any():
            break
        worst = np.zeros(neighbourhood.max() + 1)
        np.maximum.at(worst, neighbourhood[far], miss[far])
        changed = out | (far & (miss >= 0.7 * worst[neighbourhood]))
        changed_fit = fit_without(changed)
        if not np.isfinite(changed_fit.values).any():
            break
        out, fit = changed, changed_fit
    expected = _Expected.of(layout, fit)
    out &= expected.miss(cell, y) > limit + expected.slack[cell]
    out &= ~_crowded(layout, sums, cell, out)
    return fit_without(out), int(np.count_nonzero(out))


def _crowded(
    layout: _Layout, sums: _Sums, cell: npt.NDArray[np.intp], out: npt.NDArray[np.bool_]
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
    usable = (speed > 0) & (speed <= HIGHEST_ENGINE_SPEED_RPM) & np.isfinite(y)
    if not usable.all():
        speed, y = speed[usable], y[usable]
    if speed.size == 0:
        raise ValueError("No sample has both an engine speed and a value: check which columns were named.")

    layout = _Layout.around(float(speed.min()), float(speed.max()), grid_step_rpm, width_rpm)
    place = (speed - layout.origin_rpm) * (1 / layout.cell_rpm)
    cell = place.astype(np.intp)
    place -= cell
    sums = _Sums.of(layout.cells, cell, place, y)
    fit = _fit(layout, sums, min_samples)
    if not np.isfinite(fit.values).any():
        raise ValueError(
            f"Too few samples for a curve: no window of {width_rpm:g} 1/min holds {min_samples} of them"
            " spread over it. Choose a wider window."
        )
    fit, left_out = _without_outliers(layout, sums, fit, (cell, place, y), min_samples)
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
    """The narrowest usual width at which every one of these runs fills its windows.

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
    widths = [w for w in WIDTHS_RPM if w >= max(at_least_rpm, grid_step_rpm)]
    for width in widths:
        if all(_filled_share(run, grid_step_rpm, width) >= 0.9 for run in runs):
            return width
    return widths[-1] if widths else at_least_rpm


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
