"""Local quadratics over engine speed, computed from sums per narrow cell of it.

The parts of `jobs.calc.dyno.speed_grid`. One pass sums the samples into cells; the fit works on the cells
alone, so its cost hardly grows with the run.

References
----------
.. [1] W. S. Cleveland, Journal of the American Statistical Association 74 (1979) 829: tricube weights.
.. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 4.1.4.3: weighted least squares.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import format_number
from jobs.calc.wording import gettext as _

# A window is cut into about this many cells, each with its own mean place in the fit.
CELLS_PER_WINDOW = 20
MAX_GRID_POINTS = 10_000  # more come from a wrong speed or a mistyped step
# Neighbouring samples of a sweep share a cell, and a sum that takes one right after another waits for the
# one before to be stored. Added in turn to this many sums of each cell, they need not wait.
LANES = 4
Blocks = list[tuple[FloatArray, FloatArray]]


def check_grid_points(points: float, step_rpm: float) -> None:
    """Refuse a grid of so many points that something must be wrong with it.

    Parameters
    ----------
    points : float
        Number of points [1].
    step_rpm : float
        Step of the grid [1/min].

    Raises
    ------
    ValueError
        There are more than `MAX_GRID_POINTS`.
    """
    if not points <= MAX_GRID_POINTS:
        raise ValueError(
            f"A grid of {step_rpm:g} rpm would have {format_number(points)} points over this engine speed; "
            f"at most {format_number(MAX_GRID_POINTS)} are computed. Choose a wider step or check the speed."
        )


@dataclass(frozen=True)
class GridLayout:
    """Where the points of a grid and its cells are.

    Attributes
    ----------
    grid : array, (g,)
        Engine speeds [1/min]; point i is the left edge of cell ``pad + i·per_step``.
    cell_rpm : float
        Width of a cell [1/min].
    per_step, half, pad : int
        Cells in a step of the grid, in half a window (rounded up) and before the first point.
    reach : float
        Half a window in cells [1].
    """

    grid: FloatArray
    cell_rpm: float
    per_step: int
    reach: float
    half: int
    pad: int

    @classmethod
    def covering(cls, lowest: float, highest: float, step: float, width: float) -> "GridLayout":
        first, last = np.ceil(lowest / step), np.floor(highest / step)
        if last < first:
            raise ValueError(
                _(
                    "The engine speed stays between %(lowest)s and %(highest)s rpm. "
                    "No point of a %(step)s rpm grid is in between, so there is no curve."
                )
                % {
                    "lowest": format_number(lowest),
                    "highest": format_number(highest),
                    "step": f"{step:g}",
                }
            )
        check_grid_points(last - first + 1, step)
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

    def locate(self, speed: FloatArray) -> tuple[npt.NDArray[np.intp], FloatArray]:
        """Return the cell of each sample and its place in the cell (0 to 1)."""
        place = self._cells_from_origin(speed)
        whole = np.floor(place)
        return whole.astype(np.intp), np.subtract(place, whole, out=place)

    def find_cells(self, speed: FloatArray) -> npt.NDArray[np.intp]:
        return self._cells_from_origin(speed).astype(np.intp)

    def _cells_from_origin(self, speed: FloatArray) -> FloatArray:
        return (speed - self.origin_rpm) * (1 / self.cell_rpm)

    def windows(self, per_cell: FloatArray) -> FloatArray:
        """Return the cells around each grid point, (..., g, 2·half)."""
        start = self.pad - self.half
        view = sliding_window_view(per_cell[..., start:], 2 * self.half, axis=-1)
        return view[..., :: self.per_step, :][..., : self.grid.size, :]


def sum_cells(layout: GridLayout, speed: FloatArray, y: FloatArray) -> FloatArray:
    """Sum samples into the cells of a grid.

    Parameters
    ----------
    layout : GridLayout
    speed, y : array, (n,)
        Engine speeds inside the grid [1/min] and values in any unit; no NaN.

    Returns
    -------
    array, (5, cells)
        Number of samples and the sums of place, place², y and y² in each cell, with the place of a sample in
        its cell from 0 to 1 [1].

    Notes
    -----
    The moments Σ 1, Σ u, Σ u², Σ y, Σ y² that weighted least squares needs [2]_.
    """
    cell, place = layout.locate(speed)
    for lane in range(1, LANES):
        cell[lane::LANES] += lane * layout.cells
    sums = np.empty((5, LANES * layout.cells))
    for row, weights in enumerate((None, place, place**2, y, y**2)):
        sums[row] = np.bincount(cell, weights, sums.shape[1])
    return sums.reshape(5, LANES, -1).sum(axis=1)


@dataclass(frozen=True, eq=False)
class Fit:
    """Local quadratics: values and number of samples per grid point, (g,), and what gives their spread.

    ``products`` (g, 3, 5) are the weighted sums of 1, x, x² times 1, x, x², y, y² over each window,
    ``shape`` (g, 3) the coefficients of the quadratics in x, which is 1 at the end of the window.
    """

    values: FloatArray
    n: npt.NDArray[np.intp]
    products: FloatArray
    shape: FloatArray

    @property
    def spread(self) -> FloatArray:
        """Standard deviation of the samples about the fit, (g,)."""
        explained = 2 * self.products[..., 3] - (self.products[..., :3] @ self.shape[..., None])[..., 0]
        squares = self.products[:, 0, 4] - np.sum(self.shape * explained, axis=1)
        variance = np.maximum(squares / self.products[:, 0, 0], 0) * self.n / np.maximum(self.n - 3, 1)
        return np.where(np.isfinite(self.values), np.sqrt(variance), np.nan)


def fit_cells(layout: GridLayout, sums: FloatArray, min_samples: int) -> Fit:
    """Fit a tricube-weighted quadratic at every grid point.

    Parameters
    ----------
    layout : GridLayout
    sums : array, (5, cells)
        As from `sum_cells`.
    min_samples : int
        A point with fewer samples in its window is NaN.

    Returns
    -------
    Fit
        At every grid point [1/min], in the unit of y.

    Notes
    -----
    Minimises Σ w·(y - q)² for q = a + b·x + c·x², with x = ±1 at the ends of the window and
    w = (1 - |x|³)³ [1]_, by its normal equations [2]_. A cell enters with the means of its places and of
    their squares, so any quadratic in speed is reproduced exactly; only the weight is taken as one over a
    cell.
    """
    # A run has few grid points: the number of array operations sets the time, not their size.
    scale = np.array([[layout.reach], [layout.reach**2], [1.0], [1.0]])
    means = sums[1:] / (np.maximum(sums[0], 1) * scale)
    n, mean_place, mean_square, mean_y, mean_yy = layout.windows(np.concatenate([sums[:1], means]))
    offset = np.arange(-layout.half, layout.half) / layout.reach
    terms = np.ones((layout.grid.size, 5, 2 * layout.half))
    x = np.add(offset, mean_place, out=terms[:, 1])
    np.add(offset * (x + mean_place), mean_square, out=terms[:, 2])
    terms[:, 3], terms[:, 4] = mean_y, mean_yy
    distance = np.abs(x)
    closeness = np.maximum(1 - distance * distance * distance, 0)
    closeness *= closeness * closeness
    weight = n * closeness

    samples = n.sum(axis=1)
    enough = (samples >= min_samples) & _find_covered(x, weight, layout)
    products = (terms[:, :3] * weight[:, None]) @ terms.swapaxes(1, 2)
    products[~enough] = np.eye(3, 5)
    shape, pull = _solve(products)
    # The variance of a fitted value over that of a sample: the sum of its squared sample weights.
    leverage = (pull[:, None] @ terms[:, :3])[:, 0]
    noise_gain = np.sum(leverage * leverage * (weight * closeness), axis=1)
    # A fit that scatters more than a single sample does is a guess, not a mean.
    sound = enough & (noise_gain <= 1.0 + 1e-6)
    return Fit(np.where(sound, shape[:, 0], np.nan), samples.astype(np.intp), products, shape)


def _solve(products: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Solve for the quadratics, and for the pull of a sample's terms on the value at the grid point."""
    # Elimination over all points at once takes a third of the time of a library call per point.
    rows = np.moveaxis(products, 0, -1).copy()
    rows[:, 4] = np.array([[1.0], [0.0], [0.0]])
    # A trace of ridge keeps places that cannot carry a quadratic solvable; their noise gain rules them out.
    ridge = 1e-12 * (rows[0, 0] + rows[1, 1] + rows[2, 2])
    with np.errstate(divide="ignore", invalid="ignore"):
        for pivot in range(3):
            rows[pivot, pivot] += ridge
            row = rows[pivot] / rows[pivot, pivot]
            rows -= rows[:, pivot, None] * row
            rows[pivot] = row
    return rows[:, 3].T, rows[:, 4].T


def _find_covered(x: FloatArray, weight: FloatArray, layout: GridLayout) -> npt.NDArray[np.bool_]:
    """Find the points with samples in three cells or more, on both sides or within a cell of the point."""
    used = (weight > 0).T.copy()
    half = layout.half
    # The cell right of the point begins at it; one further on may begin with a sample a cell away.
    below = used[: half + 1].any(axis=0) | (used[half + 1] & (x[:, half + 1] <= 1.0 / layout.reach))
    return below & used[half - 1 :].any(axis=0) & (used.sum(axis=0) >= 3)
