"""The cells around the points of two axes, and the visits of holds to them.

A hold is a stretch of a run at one operating point. Its samples are correlated, so the interval of a cell
comes from its holds.
"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class GridAxis:
    """One axis and the boundaries of its cells, halfway between its points.

    Attributes
    ----------
    points : array, (c,)
        Rising, in any unit.
    edges : array, (c + 1,)
        Boundaries of the cells; the outermost cells reach as far outwards as inwards.
    """

    points: FloatArray
    edges: FloatArray

    @classmethod
    def from_points(cls, given: npt.ArrayLike, name: str) -> "GridAxis":
        """Build an axis from its points.

        Parameters
        ----------
        given : array, (c,)
            Rising, in any unit.
        name : str
            What error messages call the axis.

        Returns
        -------
        GridAxis

        Raises
        ------
        ValueError
            As `check_axis`.
        """
        points = check_axis(given, name)
        gaps = np.diff(points)
        below, above = np.concatenate([gaps[:1], gaps]), np.concatenate([gaps, gaps[-1:]])
        edges = np.concatenate([points - below / 2, points[-1:] + above[-1:] / 2])
        return cls(points, edges)

    def contains(self, values: FloatArray) -> BoolArray:
        """Return True if values are within the outer boundaries, which belong to the table.

        Parameters
        ----------
        values : array
            In the unit of the axis.

        Returns
        -------
        array of bool
            Of the same shape; False for NaN.
        """
        return (values >= self.edges[0]) & (values <= self.edges[-1])

    def locate(self, values: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return the cell of each value and its distance from the point of the cell.

        Parameters
        ----------
        values : array
            Within the axis, in its unit.

        Returns
        -------
        cell : array of int
        distance : array
            0 on the point, −1/2 and 1/2 on the boundaries [1].
        """
        last = self.points.size - 1
        places = np.concatenate([[-0.5], np.arange(last + 1.0), [last + 0.5]])
        place = np.interp(values, np.concatenate([self.edges[:1], self.points, self.edges[-1:]]), places)
        cell = (place + 0.5).astype(np.intp)
        np.minimum(cell, last, out=cell)
        place -= cell  # in place, as every large array costs more than the sum in it
        return cell, place


def check_axis(given: npt.ArrayLike, name: str) -> FloatArray:
    """Check the points of an axis.

    Parameters
    ----------
    given : array, (c,)
        In any unit.
    name : str
        What error messages call the axis.

    Returns
    -------
    array, (c,)

    Raises
    ------
    ValueError
        Fewer than two points, one missing, or one that is not above the one before.
    """
    points = np.asarray(given, dtype=float)
    if points.ndim != 1 or points.size < 2 or not np.all(np.isfinite(points)):
        raise ValueError(f"The {name} axis needs at least two values, none missing.")
    falls = np.flatnonzero(np.diff(points) <= 0)
    if falls.size:
        here, after = points[falls[0]], points[falls[0] + 1]
        raise ValueError(f"The {name} axis must increase: {after:g} comes after {here:g}.")
    return points


@dataclass(frozen=True, eq=False)
class Visits:
    """Visits of holds to cells, in the order of the holds.

    Attributes
    ----------
    hold, cell : array of int, (v,)
    n : array, (v,)
        Number of samples.
    first, second : array, (v,)
        Sums of lambda and of its square.
    moments : array, (v, 3, 3)
        Sums of 1, d if above 0, and d, with d the distance along the rows' axis, times the same along the
        columns' axis.
    """

    hold: IntArray
    cell: IntArray
    n: FloatArray
    first: FloatArray
    second: FloatArray
    moments: FloatArray

    @classmethod
    def from_samples(
        cls,
        cell: IntArray,
        hold: IntArray,
        along_row: FloatArray,
        along_column: FloatArray,
        lambda_: FloatArray,
    ) -> "Visits":
        """Collect samples into visits.

        Parameters
        ----------
        cell, hold : array of int, (n,)
            Of each sample, counted from 0.
        along_row, along_column : array, (n,)
            Distance of each sample from the point of its cell, between columns and between rows
            (`GridAxis.locate`) [1].
        lambda_ : array, (n,)
            Lambda of each sample [1]; no NaN.

        Returns
        -------
        Visits
            One for each hold and cell, however often the hold crosses the boundary of the cell.
        """
        if cell.size == 0:
            none, nothing = np.zeros(0, dtype=np.intp), np.zeros(0)
            return cls(none, none, nothing, nothing, nothing, np.zeros((0, 3, 3)))
        cells = int(cell.max()) + 1
        key = hold * cells
        key += cell
        x, y = (np.maximum(along_row, 0), along_row), (np.maximum(along_column, 0), along_column)
        # Samples are in the order of time and neighbours mostly belong together, so sum those first.
        starts = np.concatenate([[0], np.flatnonzero(key[1:] != key[:-1]) + 1])
        sums = [np.diff(np.append(starts, cell.size)).astype(float)]
        sums += [np.add.reduceat(values, starts) for values in (lambda_, *x, *y)]
        product = np.empty_like(lambda_)  # one piece of memory for all
        for one, other in ((lambda_, lambda_), *((down, across) for down in y for across in x)):
            sums.append(np.add.reduceat(np.multiply(one, other, out=product), starts))
        kinds, where = np.unique(key[starts], return_inverse=True)
        n, first, *rest = (np.bincount(where, weights=partial).astype(float) for partial in sums)
        moments = np.empty((kinds.size, 3, 3))
        moments[:, 0, 0] = n
        moments[:, 0, 1:] = np.stack(rest[:2], axis=-1)
        moments[:, 1:, 0] = np.stack(rest[2:4], axis=-1)
        moments[:, 1:, 1:] = np.stack(rest[5:], axis=-1).reshape(-1, 2, 2)
        return cls(kinds // cells, kinds % cells, n, first, rest[4], moments)

    def select(self, wanted: BoolArray) -> "Visits":
        """Select some of the visits.

        Parameters
        ----------
        wanted : array of bool, (v,)

        Returns
        -------
        Visits
        """
        return Visits(*(getattr(self, field.name)[wanted] for field in fields(self)))

    def weigh_points(self, rows: int, columns: int) -> FloatArray:
        """Weigh the points of the grid around each visit.

        Parameters
        ----------
        rows, columns : int
            Size of the grid.

        Returns
        -------
        array, (v, 3, 3)
            Mean bilinear weights [1] of the point of the cell, in the middle, and of its neighbours: rows
            below and above, columns left and right. They add up to 1. A neighbour whose cell no hold visited
            has none: the line from the opposite neighbour goes on, with a weight below zero. If there is none
            either, the surface is level.
        """
        row, column = np.divmod(self.cell, columns)
        seen = np.zeros((rows + 2, columns + 2), dtype=bool)
        seen[row + 1, column + 1] = True
        across = _SIDES[2 * seen[row + 1, column].astype(int) + seen[row + 1, column + 2]]
        down = _SIDES[2 * seen[row, column + 1].astype(int) + seen[row + 2, column + 1]]
        weights = down @ self.moments @ across.transpose(0, 2, 1) / self.n[:, None, None]
        for i, j in ((0, 0), (0, 2), (2, 0), (2, 2)):  # a plane where the corner is missing
            missing = np.where(seen[row + i, column + j], 0.0, weights[:, i, j])
            weights[:, i, j] -= missing
            weights[:, i, 1] += missing
            weights[:, 1, j] += missing
            weights[:, 1, 1] -= missing
        return np.asarray(weights)


# Weights of the point before, of the point itself and of the one after, by 1, d if above 0, and d: with no
# neighbour, the one after, the one before, and both.
_SIDES = np.array(
    [
        [[0.0, 0, 0], [1, 0, 0], [0, 0, 0]],
        [[0.0, 0, 0], [1, 0, -1], [0, 0, 1]],
        [[0.0, 0, -1], [1, 0, 1], [0, 0, 0]],
        [[0.0, 1, -1], [1, -2, 1], [0, 1, 0]],
    ]
)
