"""Cells around the points of two axes, and statistics of samples that come in dwells.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2: confidence limits of a mean (Student's t).
.. [2] L. Kish, Survey Sampling, 1965, 11.7: effective number of unequally weighted observations
   (from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray, t_quantile

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class GridAxis:
    """One axis, the half-way boundaries of its cells, and the weight a sample has by its nearness."""

    points: FloatArray
    edges: FloatArray
    # Per half cell, from the lowest: where it begins, and nearness as a straight line in the value.
    halves: FloatArray
    constant: FloatArray
    slope: FloatArray

    @classmethod
    def of(cls, given: npt.ArrayLike, name: str) -> "GridAxis":
        points = check_axis(given, name)
        gaps = np.diff(points)
        below, above = np.concatenate([gaps[:1], gaps]), np.concatenate([gaps, gaps[-1:]])
        edges = np.concatenate([points - below / 2, points[-1:] + above[-1:] / 2])
        slope = np.ravel(np.column_stack([1 / below, -1 / above]))
        constant = 1 - slope * np.repeat(points, 2)
        halves = np.ravel(np.column_stack([edges[:-1], points]))
        return cls(points, edges, halves, constant, slope)

    def contains(self, values: FloatArray) -> BoolArray:
        """Inside the outer boundaries, both of which belong to the table; NaN is not."""
        return (values >= self.edges[0]) & (values <= self.edges[-1])

    def locate(self, values: FloatArray) -> tuple[IntArray, FloatArray]:
        """Cell, and nearness: 1 on the axis point, falling in a straight line to 1/2 on the boundary."""
        half = np.searchsorted(self.halves[1:], values, side="right")
        return half >> 1, self.constant[half] + self.slope[half] * values


def check_axis(given: npt.ArrayLike, name: str) -> FloatArray:
    """An axis as an array.

    Raises
    ------
    ValueError
        Fewer than two points, one missing, or one that is not above the one before.
    """
    points = np.asarray(given, dtype=float)
    if points.ndim != 1 or points.size < 2 or not np.all(np.isfinite(points)):
        raise ValueError(f"The {name} axis needs at least two figures, with none missing.")
    falls = np.flatnonzero(np.diff(points) <= 0)
    if falls.size:
        here, after = points[falls[0]], points[falls[0] + 1]
        raise ValueError(f"The {name} axis must rise: {after:g} comes after {here:g}.")
    return points


@dataclass(frozen=True, eq=False)
class Visits:
    """Per visit of a dwell to a cell: the cell, its samples, their weight, and two weighted sums.

    ``first`` sums lambda − 1, ``second`` its square: with one taken off, the squares keep their digits.
    """

    cell: IntArray
    n: FloatArray
    weight: FloatArray
    first: FloatArray
    second: FloatArray

    @classmethod
    def of(cls, cell: IntArray, dwell: IntArray, weight: FloatArray, lambda_: FloatArray) -> "Visits":
        if cell.size == 0:
            nothing = np.zeros(0)
            return cls(np.zeros(0, dtype=np.intp), nothing, nothing, nothing, nothing)
        cells = int(cell.max()) + 1
        # The needle may cross a boundary to and fro within one dwell: that is one visit, not many.
        key = dwell * cells + cell
        off = lambda_ - 1
        weighted = weight * off
        sums = [weight, weighted, weighted * off]
        # Samples come in the order of time and neighbours mostly belong together: sum those first.
        starts = np.concatenate([[0], np.flatnonzero(key[1:] != key[:-1]) + 1])
        counts = np.diff(np.append(starts, cell.size)).astype(float)
        sums = [counts, *(np.add.reduceat(values, starts) for values in sums)]
        key = key[starts]
        if int(key.max()) < 4 * key.size:  # few enough to count in place, without sorting
            totals = [np.bincount(key, weights=values).astype(float) for values in sums]
            kinds = np.flatnonzero(totals[0])
            merged = [values[kinds] for values in totals]
        else:
            kinds, where = np.unique(key, return_inverse=True)
            merged = [np.bincount(where, weights=values).astype(float) for values in sums]
        return cls(kinds % cells, *merged)

    def only(self, wanted: BoolArray) -> "Visits":
        return Visits(*(getattr(self, name)[wanted] for name in ("cell", "n", "weight", "first", "second")))


def cell_statistics(visits: Visits, cells: int) -> dict[str, FloatArray]:
    """Mean, spread, number, effective number and 95 % half-width of each of this many cells, (cells,).

    The half-width is Student's t on the spread of the dwells' means [1]_, each weighted by what it brought,
    with as many degrees of freedom as equally weighted dwells of that effective number would have [2]_.
    """

    def total(values: FloatArray) -> FloatArray:
        return np.bincount(visits.cell, weights=values, minlength=cells).astype(float)

    n, dwells, weight = total(visits.n), total(np.ones_like(visits.n)), total(visits.weight)
    with np.errstate(divide="ignore", invalid="ignore"):
        off = total(visits.first) / weight
        variance = np.maximum(total(visits.second) / weight - off**2, 0) * n / np.where(n > 1, n - 1, np.nan)
        share = visits.weight / weight[visits.cell]
        # Each dwell pulls the mean by its share; several pulls tell how far the mean itself may be off.
        pull = share * (visits.first / visits.weight - off[visits.cell])
        equal_dwells = 1 / total(share**2)
        freedom = np.where(dwells > 1, equal_dwells - 1, np.nan)
        error = np.sqrt(total(pull**2) * equal_dwells / freedom)
        freedom = np.where(freedom > 0, freedom, np.nan)
        effective = np.where(dwells > 1, np.clip(variance / error**2, 1, np.maximum(n, 1)), np.minimum(n, 1))
        return {
            "n": n,
            "dwells": dwells,
            "mean": 1 + off,
            "sd": np.sqrt(variance),
            "n_effective": np.where(error == 0, n, effective),
            "half_width": t_quantile(freedom) * error,
        }
