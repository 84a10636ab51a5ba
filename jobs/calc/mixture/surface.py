"""A smooth surface through visits of holds: lambda at every point of the grid, by least squares.

A hold between the points of a grid counts for all points around it by its bilinear weights, so a gradient
does not bias it as it biases the mean of a cell. A weak smoothness settles what the holds leave open.

References
----------
.. [1] S. N. Wood, Generalized Additive Models, 2nd ed. 2017, chapter 4 and 6.2: penalised least squares
   and effective degrees of freedom (from memory).
.. [2] D. Nychka, Journal of the American Statistical Association 83 (1988) 1134: coverage of the intervals of
   a smoothing spline (from memory).
.. [3] NIST/SEMATECH e-Handbook of Statistical Methods, 3.2.3.3: two-way nested ANOVA (from memory).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from jobs.calc.statistics import FloatArray, t_quantile
from jobs.calc.tables.cell_grid import GridAxis, IntArray, Visits

# Weight of the smoothness against one hold: so weak that it settles only what the holds leave open.
SMOOTHNESS = 0.001
# The slope and the level of the surface are as good as free.
SLOPE_SHARE, LEVEL_SHARE = 1e-2, 1e-4
# A hold that a point bears less than this of does not count for it: the corner of a cell has a quarter.
MIN_WEIGHT = 0.25
MIN_RUN_WEIGHT = 0.5  # holds of one run together, to tell how runs differ at a point
# Chance that holds which scatter like the others are taken to scatter more.
OWN_SPREAD_CHANCE = 0.01


@dataclass(frozen=True, eq=False)
class Surface:
    """Lambda at the points of a grid.

    Attributes
    ----------
    value : array, (cells,)
        Lambda [1]; NaN for a point that no hold lies around.
    half_width : array, (cells,)
        Half-width of its 95 % interval [1]; NaN if the spread of the holds is not known.
    holds : array, (cells,)
        Holds that count for the point.
    sd, df : float
        Spread of one hold around the surface, pooled over the grid [1], and its degrees of freedom.
    """

    value: FloatArray
    half_width: FloatArray
    holds: FloatArray
    sd: float
    df: float


def fit_surface(
    visits: Visits, columns: GridAxis, rows: GridAxis, run_of_hold: IntArray | None = None
) -> Surface:
    """Fit a surface to the visits of holds.

    Parameters
    ----------
    visits : Visits
        Arrays of (v,).
    columns, rows : GridAxis
        Engine speed [rpm] and load [%].
    run_of_hold : array of int, (h,), optional
        Number of the run that each hold belongs to.

    Returns
    -------
    Surface
        Arrays of (r·c,), row by row.

    Notes
    -----
    A hold is one observation however often it crosses the boundary of a cell; one that moves on by more than
    a cell is one in each cell. Minimised over the values b at the points: |y − W b|² + k·b'P b, with the mean
    bilinear weights W of each observation, and P from the second differences along both axes (and, 100 and
    10,000 times weaker, slope and level) [1]_; k = 0.001 is a rule of thumb, no published source. The spread
    s² = |y − W b|²/f with f = n − trace(A⁻¹W'W), A = W'W + kP, is pooled over the grid; half-width =
    t(f)·s·√diag(A⁻¹) [2]_. If the holds around a point scatter more than that (F-test, 1 %), their own spread
    counts. With runs given, the variance between them is added, over the number of runs at the point: what
    their means at points that several visited differ by, less what s explains (components of variance [3]_).
    """
    size = rows.points.size * columns.points.size
    value, half_width, holds = np.full(size, np.nan), np.full(size, np.nan), np.zeros(size)
    if not visits.n.size:
        return Surface(value, half_width, holds, float("nan"), 0.0)
    seen = _observe(visits, columns, rows)
    used = np.unique(seen.weights.indices)
    weights, level = seen.weights[:, used], float(seen.values.mean())
    off = seen.values - level
    gram, moment = weights.T @ weights, weights.T @ off
    inverse = _invert((gram + SMOOTHNESS * _build_roughness(columns, rows, used)).toarray())
    fitted = inverse @ moment
    residuals = off - weights @ fitted
    df = off.size - float(gram.multiply(inverse).sum())
    counts = _count_holds(weights, seen.hold)
    sd = float("nan")
    if df >= 1:
        sd = float(np.sqrt(residuals @ residuals / df))
        error = np.sqrt(np.diag(inverse))
        if run_of_hold is not None:
            run = run_of_hold[visits.hold[seen.first_visit]]
            error = np.hypot(error, _between_runs(weights, residuals, run, sd))
        half_width[used] = error * _scale(weights, residuals, counts, sd, df)
    value[used], holds[used] = level + fitted, counts
    return Surface(value, half_width, holds, sd, df)


@dataclass(frozen=True, eq=False)
class _Observations:
    """Weights (n, r·c), lambda (n,) and number of the hold (n,) of the observations."""

    weights: Any
    values: FloatArray
    hold: IntArray
    first_visit: IntArray


def _observe(visits: Visits, columns: GridAxis, rows: GridAxis) -> _Observations:
    from scipy.sparse import csr_array

    height, width = rows.points.size, columns.points.size
    row, column = np.divmod(visits.cell, width)
    around = visits.weigh_points(height, width)
    at_row = row + around[:, 2].sum(axis=1) - around[:, 0].sum(axis=1)
    at_column = column + around[:, :, 2].sum(axis=1) - around[:, :, 0].sum(axis=1)
    is_first = np.diff(visits.hold, prepend=-1) != 0
    begins, hold = np.flatnonzero(is_first), np.cumsum(is_first) - 1
    extents = [
        np.maximum.reduceat(at, begins) - np.minimum.reduceat(at, begins) for at in (at_row, at_column)
    ]
    starts = is_first | (np.maximum(*extents) > 1)[hold]
    number = np.cumsum(starts) - 1
    share = visits.n / np.bincount(number, weights=visits.n)[number]
    points = visits.cell[:, None, None] + width * np.arange(-1, 2)[:, None] + np.arange(-1, 2)
    of = np.broadcast_to(number[:, None, None], points.shape)
    weighs = around != 0  # beyond the edges of the grid nothing does
    weights = csr_array(
        ((share[:, None, None] * around)[weighs], (of[weighs], points[weighs])),
        shape=(int(number[-1]) + 1, height * width),
    )
    values: FloatArray = np.bincount(number, weights=share * visits.first / visits.n).astype(float)
    return _Observations(weights, values, hold[starts], np.flatnonzero(starts))


def _count_holds(weights: Any, hold: IntArray) -> IntArray:
    """Count the holds that each point bears."""
    counts = weights.tocoo()
    counts_for = counts.data >= MIN_WEIGHT
    pairs = np.unique(hold[counts.row[counts_for]] * weights.shape[1] + counts.col[counts_for])
    return np.bincount(pairs % weights.shape[1], minlength=weights.shape[1])


def _between_runs(weights: Any, residuals: FloatArray, run: IntArray, sd: float) -> FloatArray:
    """Return what the spread between runs adds to the standard error of each point, as a share of ``sd``.

    It is read from points that several runs visited, beyond what the scatter of their holds explains.
    """
    from scipy.sparse import csr_array

    kinds, number = np.unique(run, return_inverse=True)
    of_run = csr_array((np.ones(run.size), (number, np.arange(run.size))), shape=(kinds.size, run.size))
    bears = weights.maximum(0)
    pull = (of_run @ bears.multiply(residuals[:, None]).tocsr()).toarray()
    total, squares = (of_run @ bears).toarray(), (of_run @ bears.power(2)).toarray()
    counts = total >= MIN_RUN_WEIGHT
    runs = counts.sum(axis=0)
    several = counts & (runs > 1)
    if not several.any() or sd == 0:
        return np.zeros(runs.size)
    free = np.broadcast_to(1 - 1 / np.maximum(runs, 1), total.shape)[several]
    off = float(np.sum(np.square(pull[several] / total[several])))
    by_chance = float(np.sum(squares[several] / total[several] ** 2 * free))
    variance = (off - sd**2 * by_chance) / float(free.sum() - by_chance * free.mean())
    counted = np.where(counts, total, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        shared = np.sum(counted**2, axis=0) / np.sum(counted, axis=0) ** 2  # one over the number of runs
    return np.sqrt(max(variance, 0.0) * np.where(runs > 0, shared, 1.0)) / sd


def _build_roughness(columns: GridAxis, rows: GridAxis, used: IntArray) -> Any:
    """Return P of the used points, sparse: what second differences, slope and level weigh."""
    from scipy.sparse import eye_array

    place = np.full((rows.points.size, columns.points.size), -1)
    place.flat[used] = np.arange(used.size)
    roughness = LEVEL_SHARE * eye_array(used.size, format="csr")
    for grid, points in ((place, columns.points), (place.T, rows.points)):
        pairs = np.stack([grid[:, :-1], grid[:, 1:]], axis=-1)
        roughness += SLOPE_SHARE * _sum_squares(pairs, np.array([-1.0, 1.0]), used.size)
        if points.size > 2:
            share = (points[1:-1] - points[:-2]) / (points[2:] - points[:-2])
            bends = 2 * np.stack([1 - share, -np.ones_like(share), share], axis=-1)
            triples = np.stack([grid[:, :-2], grid[:, 1:-1], grid[:, 2:]], axis=-1)
            roughness += _sum_squares(triples, bends, used.size)
    return roughness


def _sum_squares(points: IntArray, factors: FloatArray, size: int) -> Any:
    """Return D'D for rows of differences between points; those with a point below 0 do not count."""
    from scipy.sparse import csr_array

    whole = (points >= 0).all(axis=-1)
    at, factor = points[whole], np.broadcast_to(factors, points.shape)[whole]
    row = np.broadcast_to(np.arange(len(at))[:, None], at.shape)
    differences = csr_array((factor.ravel(), (row.ravel(), at.ravel())), shape=(len(at), size))
    return differences.T @ differences


def _invert(matrix: FloatArray) -> FloatArray:
    """Return the inverse of a symmetric positive matrix, by LAPACK, which leaves half of it to us."""
    from scipy.linalg.lapack import dpotrf, dpotri

    factor, _ = dpotrf(matrix, lower=True)
    inverse, _ = dpotri(factor, lower=True)
    lower = np.tril(inverse)
    return np.asarray(lower + np.tril(lower, -1).T)


def _scale(weights: Any, residuals: FloatArray, counts: IntArray, sd: float, df: float) -> FloatArray:
    """Return t·s of each point: pooled, or of its own holds if these scatter more than the others."""
    from scipy.special import fdtri

    bears = weights.maximum(0)
    own_df = np.maximum(counts - 1, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        own = np.sqrt(bears.T @ residuals**2 / bears.sum(axis=0) * counts / own_df)
    scatters_more = (counts > 1) & (own > sd * np.sqrt(fdtri(own_df, df, 1 - OWN_SPREAD_CHANCE)))
    return np.where(scatters_more, t_quantile(own_df) * own, t_quantile(df) * sd)
