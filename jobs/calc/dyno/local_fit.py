"""Local quadratics over engine speed, worked out from sums per narrow cell of it.

The parts that `jobs.calc.speed_grid` is made of. One pass sums the samples into cells; the fit
works on the cells alone, so its cost hardly grows with the run.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import format_number

# A window is cut into about this many cells, each standing in the fit with its own mean place.
CELLS_PER_WINDOW = 20
Blocks = list[tuple[FloatArray, FloatArray]]


@dataclass(frozen=True)
class Layout:
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
    def around(cls, lowest: float, highest: float, step: float, width: float) -> "Layout":
        first, last = np.ceil(lowest / step), np.floor(highest / step)
        if last < first:
            raise ValueError(
                f"The engine speed stays between {format_number(lowest)} and {format_number(highest)} 1/min: "
                f"no point of a {step:g} 1/min grid lies in between, so there is no curve."
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

    def cells_of(self, speed: FloatArray) -> tuple[npt.NDArray[np.intp], FloatArray]:
        """The cell of each sample and how far into it the sample lies (0 to 1)."""
        place = (speed - self.origin_rpm) * (1 / self.cell_rpm)
        cell = place.astype(np.intp)
        place -= cell
        return cell, place

    def windows(self, per_cell: FloatArray) -> FloatArray:
        """The cells around each grid point, (g, 2·half)."""
        start = self.pad - self.half
        view = sliding_window_view(per_cell[start:], 2 * self.half)[:: self.per_step]
        return view[: self.grid.size]


@dataclass(frozen=True, eq=False)
class CellSums:
    """Per cell: samples, and the sums of place, place², y and y² over them."""

    count: FloatArray
    place: FloatArray
    square: FloatArray
    y: FloatArray
    yy: FloatArray

    @classmethod
    def of(cls, cells: int, cell: npt.NDArray[np.intp], place: FloatArray, y: FloatArray) -> "CellSums":
        count = np.bincount(cell, minlength=cells).astype(float)
        weights = (place, place * place, y, y * y)
        sums = (np.bincount(cell, weights=w, minlength=cells).astype(float) for w in weights)
        return cls(count, *sums)

    @classmethod
    def of_blocks(cls, layout: Layout, blocks: "Blocks") -> "CellSums":
        total = [np.zeros(layout.cells) for _ in range(5)]
        for speed, y in blocks:
            part = cls.of(layout.cells, *layout.cells_of(speed), y)
            for whole, new in zip(total, (part.count, part.place, part.square, part.y, part.yy), strict=True):
                whole += new
        return cls(*total)

    def without(self, other: "CellSums") -> "CellSums":
        left = self.count - other.count
        pairs = (
            (self.place, other.place),
            (self.square, other.square),
            (self.y, other.y),
            (self.yy, other.yy),
        )
        # An emptied cell keeps no rounding residue.
        return CellSums(left, *(np.where(left > 0, mine - theirs, 0.0) for mine, theirs in pairs))


@dataclass(frozen=True, eq=False)
class Fit:
    values: FloatArray
    n: npt.NDArray[np.intp]
    spread: FloatArray


def fit_cells(layout: Layout, sums: CellSums, min_samples: int) -> Fit:
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
    return Fit(values, n.sum(axis=1).astype(np.intp), spread)


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
    n: FloatArray, linear: FloatArray, weight: FloatArray, layout: Layout, min_samples: int
) -> npt.NDArray[np.bool_]:
    """Points with enough samples in three cells or more, on both sides (or within a cell of the point)."""
    used = weight > 0
    near = 1.0 / layout.reach
    below = (used & (linear <= near)).any(axis=1)
    above = (used & (linear >= -near)).any(axis=1)
    return (n.sum(axis=1) >= min_samples) & (used.sum(axis=1) >= 3) & below & above
