"""How much a shop's figures vary: from run to run, and from strapping down to strapping down.

References
----------
.. [1] ISO 5725-2 (variance within and between groups) and ISO 5725-3 (intermediate conditions).
.. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.3.2 and 3.2.3.3 (nested sources of variation).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray, SampleSummary, pooled_sd, residual_maker
from jobs.calc.units.numbers import require_positive

# Common practice, no published source: what strapping the same bike down again, or another day, does to its
# figures, until the shop's own repeated baselines measure it.
ASSUMED_SESSION_PCT = 0.5
# With fewer repeated baselines the interval of a comparison would be set by their number alone.
MIN_SESSION_DF = 3
# Standard deviation of the slope of smoothed noise, times the smoothing width, in units of its own: of local
# quadratics with tricube weights, computed from the weights, √(∫K'²/∫K²).
NOISE_SLOPE = 6.0


@dataclass(frozen=True)
class RunSpread:
    """Standard deviation from run to run within a session [% of the value] and its degrees of freedom.

    The degrees of freedom are infinite for a spread that is assumed and was not measured.
    """

    sd_pct: float
    df: float

    @property
    def assumed(self) -> bool:
        return bool(np.isinf(self.df))


@dataclass(frozen=True)
class SessionSpread:
    """Spread from session to session: the bike strapped down again, or another day.

    Attributes
    ----------
    sd_pct : float
        Standard deviation between sessions, without that from run to run [% of the value].
    df : float
        Degrees of freedom between sessions; infinite if assumed.
    mean_square_pct2, runs : float
        Mean square between sessions [%²] and the mean number of runs in one; zero if assumed.
    """

    sd_pct: float
    df: float
    mean_square_pct2: float = 0.0
    runs: float = 0.0

    @property
    def assumed(self) -> bool:
        return bool(np.isinf(self.df))


@dataclass(frozen=True)
class ShopSpread:
    """What stands behind every comparison of a shop.

    Attributes
    ----------
    mean, peak, point : RunSpread
        Of mean power over the measured range, of peak power, and of power at one engine speed.
    slope_pct_per_krpm : float
        Standard deviation of the slope of a run's deviation from its fellows [% per 1,000 1/min].
    session : SessionSpread
    """

    mean: RunSpread
    peak: RunSpread
    point: RunSpread
    slope_pct_per_krpm: float
    session: SessionSpread


def assumed_spread(repeatability_pct: float, smoothing_width_rpm: float) -> ShopSpread:
    """Return the spread of a shop that has not measured its own.

    Parameters
    ----------
    repeatability_pct : float
        Standard deviation from run to run [%].
    smoothing_width_rpm : float
        Of the curves [1/min].

    Returns
    -------
    ShopSpread

    Notes
    -----
    Taken as known, with infinite degrees of freedom. All of it may be noise of single engine speeds, so the
    slope is that of smoothed noise, 6·s/width. Rules of thumb, no published source.
    """
    run = RunSpread(repeatability_pct, np.inf)
    slope = 1000 * NOISE_SLOPE * repeatability_pct / smoothing_width_rpm
    return ShopSpread(run, run, run, slope, SessionSpread(ASSUMED_SESSION_PCT, np.inf))


def _within_sessions(sessions: Iterable[npt.ArrayLike]) -> list[SampleSummary]:
    """Return the spread from run to run of every session with two runs or more.

    Parameters
    ----------
    sessions : iterable of array, (runs, ...)
        The runs of each session in one state of a bike, in order, in units that may be added up. Runs of
        curves, (runs, g), give the mean over the curve.

    Returns
    -------
    list of SampleSummary

    Notes
    -----
    About the line over the order of the runs, n - 2, so that a drift is not taken for scatter; two runs
    about their mean, one degree of freedom [2]_.
    """
    found = []
    for session in sessions:
        runs = np.asarray(session, dtype=float)
        if len(runs) < 2:
            continue
        maker, df = _line_residuals(len(runs))
        squares = float(np.mean(np.sum(np.square(np.tensordot(maker, runs, axes=1)), axis=0)))
        sd = float(np.sqrt(squares / df))
        found.append(SampleSummary(n=len(runs), mean=float(np.mean(runs)), sd=sd, df=df))
    return found


@cache
def _line_residuals(runs: int) -> tuple[FloatArray, float]:
    """Return what turns the values of a session into residuals, and their degrees of freedom."""
    line = np.column_stack([np.ones(runs), np.arange(runs, dtype=float)])
    return residual_maker(line[:, :1] if runs == 2 else line)


def run_spread(states: Iterable[Sequence[FloatArray]]) -> RunSpread:
    """Pool the spread from run to run over all sessions of all states.

    Parameters
    ----------
    states : iterable of sequence of array, (runs, ...)
        For every state of a bike the values of its sessions, see `_within_sessions`.

    Returns
    -------
    RunSpread
        In % of the mean of each state.

    Raises
    ------
    ValueError
        No session has two runs, or a mean is not above zero.

    Notes
    -----
    s² = Σ SS / Σ df, the repeatability variance of [1]_ with the drift of each session removed.
    """
    samples = []
    for sessions in states:
        level = np.mean(np.concatenate(list(sessions)), axis=0)
        require_positive("mean of a group of repeats", float(np.min(level)))
        samples += _within_sessions(100 * session / level for session in sessions)
    pooled = pooled_sd(samples)
    return RunSpread(pooled.sd, pooled.df)


def slope_spread(states: Iterable[Sequence[FloatArray]], grids: Iterable[FloatArray]) -> float:
    """Pool the slope of the deviations of runs from their fellows.

    Parameters
    ----------
    states : iterable of sequence of array, (runs, g)
        Power curves by state and session, as for `run_spread`.
    grids : iterable of array, (g,)
        Engine speeds of each state [1/min].

    Returns
    -------
    float
        Root mean square [% per 1,000 1/min].

    Notes
    -----
    Differences between neighbours of the grid, about the line over the order of the runs.
    """
    slopes = [
        [1000 * np.diff(100 * s / np.mean(np.concatenate(list(sessions)), axis=0), axis=1) / np.diff(grid)
         for s in sessions]
        for sessions, grid in zip(states, grids, strict=True)
    ]  # fmt: skip
    return pooled_sd([sample for sessions in slopes for sample in _within_sessions(sessions)]).sd


def session_spread(states: Iterable[Sequence[FloatArray]], run: RunSpread) -> SessionSpread:
    """Estimate the spread between sessions from baselines that were run again.

    Parameters
    ----------
    states : iterable of sequence of array, (runs,)
        For every state of a bike the values of its sessions; those with one session are skipped.
    run : RunSpread
        From run to run, of the same values.

    Returns
    -------
    SessionSpread
        The assumed one with fewer than `MIN_SESSION_DF` degrees of freedom.

    Notes
    -----
    One-way analysis of variance [1]_: MS = Σ n (x̄ - x̄..)² / Σ (S - 1) estimates s_r² + n₀ s_s².
    """
    squares = freedom = runs = 0.0
    for sessions in states:
        if len(sessions) < 2:
            continue
        counts = np.array([len(s) for s in sessions], dtype=float)
        means = np.array([np.mean(s) for s in sessions])
        level = float(counts @ means / counts.sum())
        squares += float(counts @ np.square(100 * (means / level - 1)))
        freedom += len(sessions) - 1
        runs += counts.sum() - float(counts @ counts) / counts.sum()
    if freedom < MIN_SESSION_DF:
        return SessionSpread(ASSUMED_SESSION_PCT, np.inf)
    mean_square, per_session = squares / freedom, runs / freedom
    variance = max(mean_square - run.sd_pct**2, 0.0) / per_session
    return SessionSpread(float(np.sqrt(variance)), freedom, mean_square, per_session)
