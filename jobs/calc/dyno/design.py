"""What the order and the sessions of compared runs allow to be said of a difference.

Engine tests run the baseline, the change and the baseline again (A-B-A), because power drifts from run to
run: with the baseline on both sides a drift can be fitted and taken out. Strapping the bike down again shifts
all runs of a session together. So an interval is made of two spreads, from run to run and from session to
session, each with the weight that the design gives it.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 4.1.4.1 (least squares), 5.3.3.2 (blocking).
.. [2] ISO 5725-2 and -3 (repeatability and intermediate precision as separate variances).
.. [3] JCGM 100:2008, G.4.1 (effective degrees of freedom, Welch-Satterthwaite).
.. [4] NIST/SEMATECH e-Handbook 7.2.2.2 (sample sizes); the noncentral t by SciPy.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.spread import RunSpread, SessionSpread
from jobs.calc.statistics import CONFIDENCE, FloatArray, Floats, residual_maker, t_quantile

# Below this an own spread says less than the assumed one: Student's factor is 12.7 with one.
MIN_OWN_DF = 2
POWER = 0.8
QUADRATURE = (40, 40)
MAX_RUNS = 30
# Runs that scatter so much more than the shop's usually do stand for themselves.
WILD_CONFIDENCE = 0.99


def _count_switches(sides: npt.NDArray[np.bool_]) -> int:
    """Return how often the side changes along the runs."""
    return int(np.count_nonzero(np.diff(sides.astype(int))))


@dataclass(frozen=True, eq=False)
class Design:
    """Side and session of the compared runs, in the order they were made.

    Attributes
    ----------
    after : array of bool, (runs,)
        True for a run with the change.
    session : array of int, (runs,)
        Equal for runs of one session: strapped down once, without a long break.
    """

    after: npt.NDArray[np.bool_]
    session: npt.NDArray[np.intp]

    @classmethod
    def from_runs(cls, after: Sequence[bool], session: Sequence[int] | None = None) -> "Design":
        """Build a design; without sessions all runs were made in one."""
        sides = np.asarray(after, dtype=bool)
        return cls(sides, np.zeros(sides.size, dtype=np.intp) if session is None else np.asarray(session))

    @property
    def counts(self) -> tuple[int, int]:
        """Number of runs before and after."""
        return int((~self.after).sum()), int(self.after.sum())

    @property
    def is_bracketed(self) -> bool:
        """True if one side was run before and after the other, so that a drift can be taken out.

        With both sides in a session it has to be so within one: from session to session all differs.
        """
        within = [self.after[self.session == number] for number in np.unique(self.session)]
        mixed = [sides for sides in within if np.ptp(sides.astype(int)) > 0]
        return any(_count_switches(sides) >= 2 for sides in mixed or [self.after])

    @cached_property
    def columns(self) -> FloatArray:
        """The model: level, change and, if it can be told from the change, drift a run."""
        columns = [np.ones(self.after.size), self.after.astype(float)]
        if self.is_bracketed:
            columns.append(np.arange(self.after.size) - (self.after.size - 1) / 2)
        return np.column_stack(columns)

    @cached_property
    def sessions(self) -> FloatArray:
        """Membership of each run, (runs, sessions)."""
        return (self.session[:, None] == np.unique(self.session)).astype(float)

    @cached_property
    def residuals(self) -> tuple[FloatArray, float]:
        """What turns values into residuals within sessions, and their degrees of freedom."""
        return residual_maker(np.column_stack([self.columns, self.sessions]))

    def fit(self, ratio: float) -> FloatArray:
        """Return the weights of the runs in level, change and drift, (columns, runs).

        ``ratio`` is the variance between sessions over that from run to run.
        """
        # Beyond a thousand the sessions are as good as fixed, and the matrix as good as singular.
        covariance = np.eye(self.after.size) + min(ratio, 1000.0) * self.sessions @ self.sessions.T
        weighted = np.linalg.solve(covariance, self.columns)
        return np.asarray(np.linalg.solve(self.columns.T @ weighted, weighted.T))

    def with_another_pair(self) -> "Design":
        """Return the design with one more run on each side, after the last one of it."""
        after, session = self.after.tolist(), self.session.tolist()
        for side in (False, True):
            last = max(i for i, of_side in enumerate(after) if of_side is side)
            after.insert(last + 1, side)
            session.insert(last + 1, session[last])
        return Design.from_runs(after, session)


@dataclass(frozen=True, eq=False)
class Estimate:
    """Difference between the sides of a design, after minus before.

    Attributes
    ----------
    difference, standard_error, df : float or array
        In the unit of the values; degrees of freedom.
    drift : float or array or None
        Per run, in the unit of the values; None if it was not fitted.
    next_error, next_df : float or array
        Standard error and degrees of freedom with one more run on each side, if they scatter alike.
    run_assumed, session_assumed : bool
        True if an assumed spread is in the interval.
    rests_on_sessions : bool
        True if the sides were compared across sessions, so that their spread is in the interval.
    is_wild : bool
        True if these runs scatter more than the shop's usually do.
    run_sd, run_share : float or array
        Standard deviation of a run, mean of the sides, and the share of the variance of the difference that
        is from run to run.
    """

    difference: Floats
    standard_error: Floats
    df: Floats
    drift: Floats | None
    next_error: Floats
    next_df: Floats
    run_assumed: bool
    session_assumed: bool
    rests_on_sessions: bool
    is_wild: bool
    run_sd: Floats
    run_share: Floats

    @property
    def half_width(self) -> Floats:
        return t_quantile(self.df) * self.standard_error

    @property
    def next_half_width(self) -> Floats:
        """Half-width of the interval with one more run on each side."""
        return t_quantile(self.next_df) * self.next_error

    @property
    def smallest(self) -> Floats:
        """Difference that is seen in 4 of 5 such comparisons."""
        return _smallest_seen(self.df) * self.standard_error


@dataclass(frozen=True, eq=False)
class _Variances:
    """Variance of a run [unit²] before and after, (2, ...), its degrees of freedom, and that of a session."""

    run: FloatArray
    df: Floats
    session: SessionSpread
    level: FloatArray

    def standard_error(self, design: Design, ratio: float, df: Floats) -> tuple[Floats, Floats, Floats]:
        """Return standard error, degrees of freedom and the share of the run-to-run variance."""
        weights = design.fit(ratio)[1]
        side = [float(np.square(weights[design.after == after]).sum()) for after in (False, True)]
        within = side[0] * self.run[0] + side[1] * self.run[1]
        share = float(np.square(weights @ design.sessions).sum())
        if share < 1e-9:
            return np.sqrt(within), df + 0.0 * within, 1.0 + 0.0 * within
        level = np.square(self.level.mean(axis=0) / 100)
        run = self.run.mean(axis=0)
        if self.session.assumed:
            between = share * level * self.session.sd_pct**2
        else:
            # Both as mean squares, each with its own degrees of freedom; never less than the runs alone give.
            parts = share / self.session.runs
            between = parts * np.maximum(level * self.session.mean_square_pct2, run)
            within = np.maximum(within - parts * run, 0.0)
        variance = within + between
        with np.errstate(invalid="ignore", divide="ignore"):
            freedom = np.square(variance) / (np.square(within) / df + np.square(between) / self.session.df)
            freedom = np.where(np.isfinite(freedom), freedom, np.inf)
            return np.sqrt(variance), freedom, _side_share(side, self.run, variance)


def _side_share(side: Sequence[float], run: FloatArray, variance: Floats) -> Floats:
    """Return the share of the run-to-run variance in a variance; 1 if that is zero."""
    within = side[0] * run[0] + side[1] * run[1]
    return np.where(variance > 0, np.minimum(within / np.where(variance > 0, variance, 1.0), 1.0), 1.0)


def estimate(
    design: Design,
    values: npt.ArrayLike,
    run: RunSpread,
    session: SessionSpread,
    level: npt.ArrayLike | None = None,
    *,
    curve: bool = False,
) -> Estimate:
    """Estimate the difference between the sides of a design.

    Parameters
    ----------
    design : Design
    values : array, (runs, ...)
        In the order of the design, in any unit; NaN in a run gives NaN.
    run, session : RunSpread, SessionSpread
        The shop's spread of such values.
    level : array, (2, ...), optional
        How much the value changes with each 100 % of power, before and after; by default the means of the
        sides, as for power itself.
    curve : bool
        True to use one spread for all values of a run, (runs, g): that of a single engine speed.

    Returns
    -------
    Estimate

    Notes
    -----
    Generalised least squares of level + change + drift·order with the shop's ratio of variances [1]_. The
    variance of the change is Σ w² s_r² + Σ_sessions (Σ w)² s_s² [2]_, with the degrees of freedom of [3]_.
    s_r² is pooled over these runs and the shop's, by degrees of freedom, unless these scatter so much more
    that one in a hundred sets would. An assumed spread counts only if these runs have fewer than
    `MIN_OWN_DF`.
    """
    data = np.asarray(values, dtype=float)
    means = np.stack([data[design.after == after].mean(axis=0) for after in (False, True)])
    levels = np.abs(means if level is None else np.asarray(level, dtype=float))
    maker, own_df = design.residuals
    own = np.square(np.tensordot(maker, data, axes=1)).sum(axis=0) / max(own_df, 1.0)
    stated = np.square(levels * run.sd_pct / 100)
    if curve:
        own, stated = _over_the_curve(own, levels, stated)
    variance, df, is_wild = _pool(own, own_df, stated, run)
    ratio = (session.sd_pct / run.sd_pct) ** 2 if run.sd_pct else 0.0
    variances = _Variances(variance, df, session, levels)
    error, freedom, share = variances.standard_error(design, ratio, df)
    more = design.with_another_pair()
    added = 0.0 if run.assumed and own_df < MIN_OWN_DF else more.residuals[1] - own_df
    next_error, next_freedom, _ = variances.standard_error(more, ratio, df + added)
    fitted = np.tensordot(design.fit(ratio), data, axes=1)
    rests = float(np.square(design.fit(ratio)[1] @ design.sessions).sum()) > 1e-9
    return Estimate(
        difference=fitted[1],
        standard_error=error,
        df=freedom,
        drift=fitted[2] if design.is_bracketed else None,
        next_error=next_error,
        next_df=next_freedom,
        run_assumed=run.assumed and own_df < MIN_OWN_DF,
        session_assumed=rests and session.assumed,
        rests_on_sessions=rests,
        is_wild=is_wild,
        run_sd=np.sqrt(variance.mean(axis=0)),
        run_share=share,
    )


def _over_the_curve(own: FloatArray, levels: FloatArray, stated: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return one relative variance for the whole curve, at the level of each engine speed."""
    level = np.square(levels.mean(axis=0))
    measured = np.isfinite(own) & (level > 0)
    relative = float(np.mean(own[measured] / level[measured])) if measured.any() else float("nan")
    return relative * level, stated


def _pool(own: Floats, own_df: float, stated: FloatArray, run: RunSpread) -> tuple[FloatArray, Floats, bool]:
    """Return the variance of a run, (2, ...), its degrees of freedom, and whether these runs are wild."""
    from scipy.special import fdtri

    both = np.broadcast_to(own, stated.shape)
    if run.assumed:
        return (stated, np.inf, False) if own_df < MIN_OWN_DF else (both, own_df, False)
    if own_df < 1:
        return stated, run.df, False
    limit = fdtri(own_df, run.df, WILD_CONFIDENCE)
    is_wild = own > limit * stated.mean(axis=0)
    pooled = (own_df * both + run.df * stated) / (own_df + run.df)
    df = np.where(is_wild, own_df, own_df + run.df)[()]
    return np.where(is_wild, both, pooled), df, bool(np.any(is_wild))


def _smallest_seen(df: npt.ArrayLike) -> Floats:
    """Return the difference that is shown in 4 of 5 comparisons.

    Parameters
    ----------
    df : float or array
        Degrees of freedom of the standard error.

    Returns
    -------
    float or array
        In standard errors.

    Notes
    -----
    The noncentrality δ with P(T'(δ) > t) = 0.8, t being the two-sided 95 % quantile [4]_.
    """
    from scipy.special import nctdtrinc, ndtri

    freedom = np.asarray(df, dtype=float)
    known = ~(freedom < 1e6)
    limit = t_quantile(np.where(known, np.inf, freedom))
    finite = np.where(known, 1e6, freedom)
    return np.where(known, limit + ndtri(POWER), nctdtrinc(finite, 1 - POWER, limit))[()]


@dataclass(frozen=True)
class Plan:
    """What a number of runs on each side will show.

    Attributes
    ----------
    runs : int
        On each side; of the baseline as many again after the change, if it is run again.
    smallest_pct : float
        Difference that is seen in 4 of 5 such comparisons [% of the value].
    """

    runs: int
    smallest_pct: float


def plan(runs: int, run: RunSpread, session: SessionSpread, *, again: bool, restrapped: bool) -> Plan:
    """Return what a number of runs on each side will show.

    Parameters
    ----------
    runs : int
        On each side.
    run, session : RunSpread, SessionSpread
        The shop's spread.
    again : bool
        True if the baseline is run again after the change.
    restrapped : bool
        True if the bike is strapped down again for each side.

    Returns
    -------
    Plan

    Notes
    -----
    The noncentral t of `_smallest_seen` on the standard error of `estimate` [4]_.
    """
    sides = [False] * runs + [True] * runs + [False] * runs * again
    sessions = [i // runs if restrapped else 0 for i in range(len(sides))]
    design = Design.from_runs(sides, sessions)
    own_df = design.residuals[1]
    df = (own_df if own_df >= MIN_OWN_DF else np.inf) if run.assumed else run.df + own_df
    variances = _Variances(np.full(2, run.sd_pct**2), df, session, np.full(2, 100.0))
    ratio = (session.sd_pct / run.sd_pct) ** 2 if run.sd_pct else 0.0
    error, freedom, _ = variances.standard_error(design, ratio, df)
    return Plan(runs, float(_smallest_seen(freedom) * error))


@lru_cache(maxsize=256)
def runs_needed(
    difference_pct: float, run: RunSpread, session: SessionSpread, *, again: bool, restrapped: bool
) -> Plan | None:
    """Return the fewest runs on each side that show a difference in 4 of 5 comparisons.

    Parameters
    ----------
    difference_pct : float
        [% of the value].
    run, session, again, restrapped
        As for `plan`.

    Returns
    -------
    Plan or None
        None if more than `MAX_RUNS` would be needed.

    Notes
    -----
    The first number from one on of which `plan` shows the difference [4]_.
    """
    plans = (plan(n, run, session, again=again, restrapped=restrapped) for n in range(1, MAX_RUNS + 1))
    return next((p for p in plans if p.smallest_pct <= difference_pct), None)


def simultaneous_factor(path: float, df: float, level_share: float) -> float:
    """Return the factor of a band that holds a whole curve at once, in 95 %.

    Parameters
    ----------
    path : float
        ∫ of the standard deviation of the slope of the curve's own scatter, in units of that scatter.
    df : float
        Degrees of freedom of the spread; infinite if known.
    level_share : float
        Share of the variance that moves the whole curve up or down, 0 to 1; the rest is the curve's own
        scatter.

    Returns
    -------
    float
        In standard errors; Student's quantile for a curve that only moves as a whole.

    Notes
    -----
    For a level z and a spread s the scatter crosses ±c·s at path/2π·exp(-u²/2) places on average, u = (c·s ∓
    a·z)/b, a² being the level's share and a² + b² = 1 (S. O. Rice, Bell System Technical Journal 24 (1945)
    46). Crossings are taken for independent, and the chance of none is averaged over z (normal) and s (χ).
    """
    from scipy.optimize import brentq
    from scipy.special import chdtri, ndtr, ndtri

    student = float(t_quantile(df))
    share = min(max(level_share, 0.0), 1.0)
    if path <= 0 or share > 1 - 1e-6:
        return student
    # Both tails of the level do the same, so half of it is enough.
    levels, spreads = ((np.arange(count) + 0.5) / count for count in QUADRATURE)
    level = np.sqrt(share) * ndtri(0.5 + levels / 2)[:, None]
    sd = np.ones(1) if np.isinf(df) else np.sqrt(chdtri(df, spreads) / df)
    own = np.sqrt(1 - share)

    def excess(c: float) -> float:
        above, below = (c * sd - level) / own, (c * sd + level) / own
        start = np.minimum(ndtr(-above) + ndtr(-below), 1.0)
        crossings = path / (2 * np.pi) * (np.exp(-(above**2) / 2) + np.exp(-(below**2) / 2))
        inside = np.maximum(1 - start, 1e-12)
        return float(np.mean(inside * np.exp(-crossings / inside))) - CONFIDENCE

    high = student
    while excess(high) < 0:
        high *= 2
    return student if high == student else float(brentq(excess, student, high, xtol=1e-3))
