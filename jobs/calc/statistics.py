"""Sample statistics, intervals and differences of means, and a few numerical helpers.

NaN means 'not measured': it is skipped and not counted. One value has no standard deviation, and a function
that needs one raises instead of returning zero.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 (two-sample t-test), 1.3.6.7.2 (critical
   values of Student's t).
.. [2] ISO 5725-2 (pooled within-group variance) and ISO 5725-6 (repeatability limit, there rounded to 2.8 s).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Floats = Any  # a float or an array: numpy's own functions return either

CONFIDENCE = 0.95
REPEATABILITY_FACTOR = 1.96 * np.sqrt(2.0)


def finite_or_nan(values: npt.ArrayLike) -> FloatArray:
    """Return values as an array in which infinite ones are not measured.

    Parameters
    ----------
    values : array, (n,)

    Returns
    -------
    array, (n,)
        NaN in place of an infinite value.
    """
    given = np.asarray(values, dtype=float)
    infinite = np.isinf(given)
    return np.where(infinite, np.nan, given) if infinite.any() else given


@dataclass(frozen=True, eq=False)
class SampleSummary:
    """Size, mean and spread of one group.

    Attributes
    ----------
    n, mean, sd, df : float or array
        Scalars, or arrays of one shape (one element a grid point). ``sd`` is NaN for a single value; ``df``
        are the degrees of freedom of ``sd``, ``inf`` for a spread that was stated and not measured.
    """

    n: Floats
    mean: Floats
    sd: Floats
    df: Floats


@dataclass(frozen=True, eq=False)
class MeanInterval:
    """A mean with its 95 % interval.

    Attributes
    ----------
    n, mean, sd, half_width : float or array
        All of one shape; ``half_width`` is NaN if n is below 2.
    """

    n: Floats
    mean: Floats
    sd: Floats
    half_width: Floats


@dataclass(frozen=True)
class PooledSd:
    """Standard deviation within groups and its degrees of freedom."""

    sd: float
    df: float


def t_quantile(df: npt.ArrayLike, confidence: float = CONFIDENCE) -> Floats:
    """Return the quantile of Student's t for a two-sided interval.

    Parameters
    ----------
    df : float or array
        Degrees of freedom [1], above 0, whole or not; ``inf`` gives the normal quantile, NaN stays NaN.
    confidence : float
        Two-sided, between 0 and 1 [1].

    Returns
    -------
    float or array
        The shape of ``df``.

    Raises
    ------
    ValueError
        The confidence is not between 0 and 1, or the degrees of freedom are not above 0.

    Notes
    -----
    t such that P(|T| <= t) = confidence, by `scipy.special.stdtrit` and `ndtri` [1]_.
    """
    from scipy.special import ndtri, stdtrit

    if not 0 < confidence < 1:
        raise ValueError(f"The confidence must be between 0 and 1, not {confidence:g}.")
    freedom = np.asarray(df, dtype=float)
    if np.any(freedom <= 0):
        raise ValueError("An interval needs at least two values in a group.")
    upper = (1 + confidence) / 2
    known_spread = np.isinf(freedom)
    return np.where(known_spread, ndtri(upper), stdtrit(np.where(known_spread, 1.0, freedom), upper))[()]


def summarise(values: npt.ArrayLike, axis: int = -1) -> SampleSummary:
    """Compute number, mean and standard deviation along one axis.

    Parameters
    ----------
    values : array
        Any shape and unit: repeats of one value, or (runs, grid points) with ``axis=0``. NaN is skipped.
    axis : int
        The axis of the repeats.

    Returns
    -------
    SampleSummary
        The shape without ``axis``, mean and sd in the unit of ``values``. No value at all gives a NaN mean,
        one value a NaN sd.

    Notes
    -----
    s² = Σ (x − mean)² / (n − 1) [1]_.
    """
    data = np.asarray(values, dtype=float)
    measured = np.isfinite(data)
    n = measured.sum(axis=axis)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(measured, data, 0.0).sum(axis=axis) / n
        off = np.where(measured, data - np.expand_dims(mean, axis), 0.0)
        sd = np.sqrt(np.square(off).sum(axis=axis) / np.where(n > 1, n - 1, np.nan))
    return SampleSummary(n=n[()], mean=mean[()], sd=sd[()], df=np.where(n > 1, n - 1.0, np.nan)[()])


def mean_interval(values: npt.ArrayLike, confidence: float = CONFIDENCE, axis: int = -1) -> MeanInterval:
    """Compute a mean with its confidence interval along one axis.

    Parameters
    ----------
    values : array
        As for `summarise`.
    confidence : float
        Two-sided, between 0 and 1 [1].
    axis : int
        The axis of the repeats.

    Returns
    -------
    MeanInterval
        The shape without ``axis``, in the unit of ``values``.

    Raises
    ------
    ValueError
        The confidence is not between 0 and 1.

    Notes
    -----
    half-width = t s / √n, with t of n − 1 degrees of freedom [1]_.
    """
    sample = summarise(values, axis)
    half = t_quantile(sample.df, confidence) * sample.sd / np.sqrt(np.where(sample.n > 0, sample.n, np.nan))
    return MeanInterval(n=sample.n, mean=sample.mean, sd=sample.sd, half_width=half)


def residual_maker(columns: npt.ArrayLike) -> tuple[FloatArray, float]:
    """Return the matrix that turns values into residuals of least squares, and their degrees of freedom.

    Parameters
    ----------
    columns : array, (n, p)
        The model; columns that depend on each other count once.

    Returns
    -------
    residual_maker : array, (n, n)
    df : float

    Notes
    -----
    I - X X⁺, of rank n - rank X (linear algebra).
    """
    model = np.asarray(columns, dtype=float)
    return np.eye(len(model)) - model @ np.linalg.pinv(model), float(
        len(model) - np.linalg.matrix_rank(model)
    )


def repeatability_limit(sd: float) -> float:
    """Return the difference that two single runs of one day stay below in 95 % of pairs.

    Parameters
    ----------
    sd : float
        Standard deviation of a run, in any unit.

    Returns
    -------
    float
        In the unit of ``sd``.

    Notes
    -----
    r = 1.96 √2 s [2]_.
    """
    return float(REPEATABILITY_FACTOR * sd)


def pooled_sd(samples: Sequence[SampleSummary]) -> PooledSd:
    """Pool the standard deviations within groups.

    Parameters
    ----------
    samples : sequence of SampleSummary
        Scalar ones of one unit; groups of one value are skipped.

    Returns
    -------
    PooledSd
        In the unit of the groups.

    Raises
    ------
    ValueError
        No group has two values.

    Notes
    -----
    s = √(Σ df s² / Σ df) [2]_.
    """
    repeated = [sample for sample in samples if sample.n > 1]
    if not repeated:
        raise ValueError("Repeatability needs at least one group with two runs or more.")
    df = float(sum(sample.df for sample in repeated))
    variance = sum(sample.df * sample.sd**2 for sample in repeated) / df
    return PooledSd(sd=float(np.sqrt(variance)), df=df)


def parabola_peak(x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[float, float]:
    """Return the vertex of the parabola through three points.

    Parameters
    ----------
    x, y : array, (3,)
        In any unit; ``x`` rising, evenly spaced or not; the middle ``y`` the highest.

    Returns
    -------
    x, y : float
        Of the vertex, in the units of the points.

    Raises
    ------
    ValueError
        ``x`` does not rise, or the middle point is not the highest: then the peak is at an end and the sample
        itself is the answer.

    Notes
    -----
    Newton's form: y = y₀ + d₀₁ (x − x₀) + d₀₁₂ (x − x₀)(x − x₁) with divided differences d, so the vertex is
    at (x₀ + x₁)/2 − d₀₁ / (2 d₀₁₂). Elementary geometry, no further source.
    """
    (x0, x1, x2), (y0, y1, y2) = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if not x0 < x1 < x2 or not (y1 >= y0 and y1 >= y2 and y1 > min(y0, y2)):
        raise ValueError(
            "The peak of a parabola needs three rising positions with the highest value in the middle."
        )
    left, right = (y1 - y0) / (x1 - x0), (y2 - y1) / (x2 - x1)
    bend = (right - left) / (x2 - x0)
    top = (x0 + x1) / 2 - left / (2 * bend)
    return float(top), float(y0 + left * (top - x0) + bend * (top - x0) * (top - x1))


def interpolate_table(
    row_axis: npt.ArrayLike,
    column_axis: npt.ArrayLike,
    table: npt.ArrayLike,
    row: npt.ArrayLike,
    column: npt.ArrayLike,
) -> Floats:
    """Interpolate in a table with two axes.

    Parameters
    ----------
    row_axis, column_axis : array, (r,) and (c,)
        Rising, in any unit.
    table : array, (r, c)
        NaN is an empty cell.
    row, column : float or array
        Where to read, in the units of the axes; shapes that broadcast.

    Returns
    -------
    float or array
        In the unit of the table: exact at its nodes; NaN outside its axes and next to an empty cell.

    Raises
    ------
    ValueError
        An axis does not rise, or the table has another shape than its axes.

    Notes
    -----
    Bilinear, by `scipy.interpolate.RegularGridInterpolator`; a table is never extrapolated.
    """
    from scipy.interpolate import RegularGridInterpolator

    cells = np.asarray(table, dtype=float)
    empty = np.isnan(cells)

    def read(values: FloatArray) -> FloatArray:
        axes = (np.asarray(row_axis, dtype=float), np.asarray(column_axis, dtype=float))
        return np.asarray(RegularGridInterpolator(axes, values, bounds_error=False)((row, column)))

    found = read(np.where(empty, 0.0, cells))
    # Read apart from the values: a NaN cell of no weight must not spread to a node that was measured.
    return np.where(read(empty.astype(float)) > 0, np.nan, found)[()] if empty.any() else found[()]


def integrate(x: npt.ArrayLike, y: npt.ArrayLike) -> Floats:
    """Integrate along the last axis, over the steps measured at both ends.

    Parameters
    ----------
    x : array, (n,)
        Rising, in any unit.
    y : array, (..., n)
        In any unit; NaN is a gap, and the steps next to it add nothing.

    Returns
    -------
    float or array, (...)
        In units of x times y; NaN if no step has both ends.

    Notes
    -----
    Trapezoid rule: Σ (x₂ − x₁)(y₁ + y₂)/2. `numpy.trapezoid` has no gaps.
    """
    values = np.asarray(y, dtype=float)
    steps = np.diff(np.asarray(x, dtype=float)) * (values[..., 1:] + values[..., :-1]) / 2
    return np.where(np.isfinite(steps).any(axis=-1), np.nansum(steps, axis=-1), np.nan)[()]
