"""The cells around the points of two axes, and statistics of samples that come in holds.

A hold is a stretch of a run at one operating point. Its samples are correlated, so the interval of a cell
comes from its holds.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2: confidence limits of a mean (Student's t).
.. [2] L. Kish, Survey Sampling, 1965, 11.7: effective number of unequally weighted observations (from
   memory).
"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray, t_quantile

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
    halves : array, (2c,)
        Where each half cell begins.
    constant, slope : array, (2c,)
        Nearness in each half cell as a straight line in the value.
    """

    points: FloatArray
    edges: FloatArray
    halves: FloatArray
    constant: FloatArray
    slope: FloatArray

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
        slope = np.ravel(np.column_stack([1 / below, -1 / above]))
        constant = 1 - slope * np.repeat(points, 2)
        halves = np.ravel(np.column_stack([edges[:-1], points]))
        return cls(points, edges, halves, constant, slope)

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
        """Return the cell of each value and its nearness to the point of the cell.

        Parameters
        ----------
        values : array
            Within the axis, in its unit.

        Returns
        -------
        cell : array of int
        nearness : array
            1 on the point, falling linearly to 1/2 on the boundary [1].
        """
        half = np.searchsorted(self.halves[1:], values, side="right")
        return half >> 1, self.constant[half] + self.slope[half] * values


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
        raise ValueError(f"The {name} axis needs at least two figures, with none missing.")
    falls = np.flatnonzero(np.diff(points) <= 0)
    if falls.size:
        here, after = points[falls[0]], points[falls[0] + 1]
        raise ValueError(f"The {name} axis must rise: {after:g} comes after {here:g}.")
    return points


@dataclass(frozen=True, eq=False)
class Visits:
    """Visits of holds to cells.

    Attributes
    ----------
    cell : array of int, (v,)
    n : array, (v,)
        Number of samples.
    weight : array, (v,)
        Sum of their weights.
    first, second : array, (v,)
        Weighted sums of lambda − 1 and of its square; with one taken off, the squares keep their digits.
    """

    cell: IntArray
    n: FloatArray
    weight: FloatArray
    first: FloatArray
    second: FloatArray

    @classmethod
    def from_samples(
        cls, cell: IntArray, hold: IntArray, weight: FloatArray, lambda_: FloatArray
    ) -> "Visits":
        """Collect samples into visits.

        Parameters
        ----------
        cell, hold : array of int, (n,)
            Of each sample, counted from 0.
        weight, lambda_ : array, (n,)
            Weight [1] and lambda [1] of each sample; no NaN.

        Returns
        -------
        Visits
            One for each hold and cell, however often the hold crosses the boundary of the cell.
        """
        if cell.size == 0:
            nothing = np.zeros(0)
            return cls(np.zeros(0, dtype=np.intp), nothing, nothing, nothing, nothing)
        cells = int(cell.max()) + 1
        key = hold * cells + cell
        off = lambda_ - 1
        weighted = weight * off
        sums = [weight, weighted, weighted * off]
        # Samples are in the order of time and neighbours mostly belong together, so sum those first.
        starts = np.concatenate([[0], np.flatnonzero(key[1:] != key[:-1]) + 1])
        counts = np.diff(np.append(starts, cell.size)).astype(float)
        sums = [counts, *(np.add.reduceat(values, starts) for values in sums)]
        key = key[starts]
        if int(key.max()) < 4 * key.size:  # few enough keys to count without sorting
            totals = [np.bincount(key, weights=values).astype(float) for values in sums]
            kinds = np.flatnonzero(totals[0])
            merged = [values[kinds] for values in totals]
        else:
            kinds, where = np.unique(key, return_inverse=True)
            merged = [np.bincount(where, weights=values).astype(float) for values in sums]
        return cls(kinds % cells, *merged)

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


@dataclass(frozen=True, eq=False)
class CellStatistics:
    """Statistics of lambda in each cell.

    Attributes
    ----------
    n, holds : array, (cells,)
        Number of samples and of holds.
    mean, sd : array, (cells,)
        Weighted mean and standard deviation of lambda [1].
    n_effective : array, (cells,)
        Number of independent samples that would give the same interval.
    half_width : array, (cells,)
        Half-width of the 95 % interval of the mean [1]; NaN for a single hold.
    """

    n: FloatArray
    holds: FloatArray
    mean: FloatArray
    sd: FloatArray
    n_effective: FloatArray
    half_width: FloatArray


def compute_cell_statistics(visits: Visits, cells: int) -> CellStatistics:
    """Compute mean, spread and interval of lambda in each cell.

    Parameters
    ----------
    visits : Visits
    cells : int
        Number of cells.

    Returns
    -------
    CellStatistics

    Notes
    -----
    mean = Σ w λ / Σ w over the samples. Each hold pulls it by p = share · (mean of the hold − mean), with
    share = its weight / Σ w, and k = 1 / Σ share² holds of equal weight would pull as much [2]_. The standard
    error of the mean is √(Σ p² k / (k − 1)) and the half-width t times it, with Student's t of k − 1 degrees
    of freedom [1]_.
    """

    def total(values: FloatArray) -> FloatArray:
        return np.bincount(visits.cell, weights=values, minlength=cells).astype(float)

    n, holds, weight = total(visits.n), total(np.ones_like(visits.n)), total(visits.weight)
    with np.errstate(divide="ignore", invalid="ignore"):
        off = total(visits.first) / weight
        variance = np.maximum(total(visits.second) / weight - off**2, 0) * n / np.where(n > 1, n - 1, np.nan)
        share = visits.weight / weight[visits.cell]
        pull = share * (visits.first / visits.weight - off[visits.cell])
        equal_holds = 1 / total(share**2)
        freedom = np.where(holds > 1, equal_holds - 1, np.nan)
        error = np.sqrt(total(pull**2) * equal_holds / freedom)
        freedom = np.where(freedom > 0, freedom, np.nan)
        effective = np.where(holds > 1, np.clip(variance / error**2, 1, np.maximum(n, 1)), np.minimum(n, 1))
        return CellStatistics(
            n=n,
            holds=holds,
            mean=1 + off,
            sd=np.sqrt(variance),
            n_effective=np.where(error == 0, n, effective),
            half_width=t_quantile(freedom) * error,
        )
