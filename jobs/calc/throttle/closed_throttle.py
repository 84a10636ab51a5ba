"""The engine at a closed throttle: how steadily it idles, and how hard it brakes on the overrun."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.speed_grid import GridChannel, fit_on_grid
from jobs.calc.statistics import CONFIDENCE, FloatArray, t_quantile
from jobs.calc.units.numbers import format_number, require_positive
from jobs.calc.wording import gettext as _

CLOSED_GRIP_PCT = 2.0
MIN_IDLE_S = 5.0
MAX_IDLE_S = 7_200.0  # nobody lets a bike idle for two hours on purpose
IDLE_TOLERANCE_RPM = 100.0  # Rule of thumb, no published source.
STEADY_SD_RPM = 40.0  # An idle that scatters more hunts. Rule of thumb, no published source.
# Samples of an idling engine are correlated, so its mean is judged by blocks and their correlation. A shorter
# run does not show how slowly the engine hunts, and gives no interval.
BLOCK_S, MIN_INTERVAL_S, MAX_CORRELATION = 0.5, 19.0, 0.95
OVERRUN_GRID_STEP_RPM, OVERRUN_WIDTH_RPM = 100.0, 400.0


@dataclass(frozen=True)
class Idle:
    """Idle of one run against its target.

    Attributes
    ----------
    mean_rpm, half_width_95_rpm : float
        Mean idle speed and its 95 % half-width [rpm]; NaN if the run is too short to know it.
    sd_rpm : float
        Standard deviation of the samples [rpm].
    off_target_rpm : float
        Mean less target [rpm].
    on_target : bool
        Whether the mean lies within 100 rpm of the target.
    is_steady : bool
        Whether the samples scatter by 40 rpm or less.
    sentence : str
        The result, for people.
    """

    mean_rpm: float
    sd_rpm: float
    half_width_95_rpm: float
    off_target_rpm: float
    on_target: bool
    is_steady: bool
    sentence: str

    @property
    def has_interval(self) -> bool:
        return bool(np.isfinite(self.half_width_95_rpm))


def measure_idle(
    time_s: npt.ArrayLike, engine_speed_rpm: npt.ArrayLike, target_rpm: float, source: str = ""
) -> Idle:
    """Measure mean and scatter of the idle speed, and compare the mean with its target.

    Parameters
    ----------
    time_s, engine_speed_rpm : array, (n,)
        Time [s] and engine speed [rpm] of an idle run, warm; NaN is not measured.
    target_rpm : float
        Idle speed that the tune or the engine spec sets [rpm].
    source : str
        Where the target comes from, for the sentence.

    Returns
    -------
    Idle
        Mean, scatter and distance from the target.

    Raises
    ------
    ValueError
        Channels of different length, a run shorter than five seconds, or a target not above zero.

    Notes
    -----
    The run is cut into k blocks of half a second. Half-width = t(m − 1)·s/√m [1]_ with the effective number
    of blocks m = k·(1 − r)/(1 + r), r the lag-1 correlation of their means, corrected for its bias by
    (1 + 4r)/k [2]_. A run below 19 s gives none. The tolerance of 100 rpm, the limit of 40 rpm and the blocks
    are rules of thumb, no published source.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2: confidence limits of a mean.
    .. [2] F. H. C. Marriott, J. A. Pope, Biometrika 41 (1954) 390: bias of an autocorrelation (from memory).
    """
    require_positive("target of the idle", target_rpm, "rpm")
    time, speed = np.asarray(time_s, dtype=float), np.asarray(engine_speed_rpm, dtype=float)
    if time.shape != speed.shape:
        raise ValueError("Time and engine speed must have the same number of samples.")
    measured = np.isfinite(time) & np.isfinite(speed)
    time, speed = time[measured], speed[measured]
    duration_s = float(time[-1] - time[0]) if time.size else 0.0
    if duration_s < MIN_IDLE_S:
        raise ValueError(
            _("An idle run must last at least %(least)s seconds. This one lasts %(duration)s.")
            % {"least": format_number(MIN_IDLE_S), "duration": format_number(duration_s, 1)}
        )
    if duration_s > MAX_IDLE_S:
        raise ValueError(
            _("This idle run lasts %(duration)s seconds. Check its time column, and its unit.")
            % {"duration": format_number(duration_s)}
        )

    half = _half_width(time, speed, duration_s) if duration_s >= MIN_INTERVAL_S else float("nan")
    mean, sd = float(speed.mean()), float(np.std(speed, ddof=1))
    off = mean - target_rpm
    is_steady = sd <= STEADY_SD_RPM
    sentence = _describe(mean, half, sd, off, source)
    return Idle(mean, sd, half, off, abs(off) <= IDLE_TOLERANCE_RPM, is_steady, sentence)


def _half_width(time: FloatArray, speed: FloatArray, duration_s: float) -> float:
    count = int(duration_s / BLOCK_S)
    block = np.minimum(((time - time[0]) / duration_s * count).astype(np.intp), count - 1)
    n = np.bincount(block, minlength=count)
    means = np.bincount(block, weights=speed, minlength=count)[n > 0] / n[n > 0]
    off = means - means.mean()
    squares = float(off @ off)
    lag = float(off[1:] @ off[:-1]) / squares if squares > 0 else 0.0
    correlation = float(np.clip(lag + (1 + 4 * lag) / off.size, 0.0, MAX_CORRELATION))
    effective = off.size * (1 - correlation) / (1 + correlation)
    if effective < 2:
        return float("nan")
    sd = np.sqrt(squares / off.size * effective / (effective - 1))
    return float(t_quantile(effective - 1, CONFIDENCE) * sd / np.sqrt(effective))


def _describe(mean: float, half: float, sd: float, off: float, source: str) -> str:
    interval = f" ± {format_number(half)}" if np.isfinite(half) else ""
    values = {
        "mean": f"{format_number(mean)}{interval}",
        "off": format_number(abs(off)),
        "target": f"{format_number(mean - off)}{f' ({source})' if source else ''}",
        "sd": format_number(sd),
        "limit": format_number(STEADY_SD_RPM),
    }
    where = _("on its target of %(target)s")
    if abs(off) > IDLE_TOLERANCE_RPM:
        above, below = (
            _("%(off)s rpm above its target of %(target)s"),
            _("%(off)s rpm below its target of %(target)s"),
        )
        where = above if off > 0 else below
    steady = (
        _("Idles at %(mean)s rpm, %(where)s, and is steady. Variation (SD) %(sd)s rpm, up to %(limit)s.")
        if sd <= STEADY_SD_RPM
        else _("Idles at %(mean)s rpm, %(where)s, and hunts. Variation (SD) %(sd)s rpm, more than %(limit)s.")
    )
    sentence = steady % {**values, "where": where % values}
    if interval:
        return sentence
    return f"{sentence} {_('The run is too short, or hunts too slowly, for an interval of the mean.')}"


def compute_overrun_torque(
    engine_speed_rpm: npt.ArrayLike, grip_pct: npt.ArrayLike, torque_nm: npt.ArrayLike
) -> GridChannel:
    """Compute the engine's braking torque on the overrun, by engine speed.

    Parameters
    ----------
    engine_speed_rpm, grip_pct, torque_nm : array, (n,)
        Engine speed [rpm], grip [%] and torque [N·m] of a run with an overrun in it; NaN is not measured.

    Returns
    -------
    GridChannel
        Torque [N·m] every 100 rpm, below zero if the engine brakes.

    Raises
    ------
    ValueError
        Channels of different length, or no sample with the grip closed and torque below zero.

    Notes
    -----
    Samples with grip ≤ 2 % and torque < 0, smoothed by local quadratics 400 rpm wide
    (`jobs.calc.dyno.speed_grid`). The limits are rules of thumb, no published source.
    """
    speed, grip, torque = (np.asarray(a, dtype=float) for a in (engine_speed_rpm, grip_pct, torque_nm))
    if not speed.shape == grip.shape == torque.shape:
        raise ValueError("Engine speed, grip and torque must have the same number of samples.")
    overrun = (grip <= CLOSED_GRIP_PCT) & (torque < 0)
    if not overrun.any():
        raise ValueError("This run has no overrun: the grip was never closed while the engine was braking.")
    return fit_on_grid(speed[overrun], torque[overrun], OVERRUN_GRID_STEP_RPM, OVERRUN_WIDTH_RPM)


@dataclass(frozen=True, eq=False)
class OverrunTorque:
    """Braking torque on the overrun, mean of several runs.

    Attributes
    ----------
    engine_speed_rpm, torque_nm : array, (g,)
        Every 100 rpm [rpm], and the mean torque of the runs [N·m]; NaN if not measured.
    half_width_95_nm : array, (g,)
        95 % half-width of the mean [N·m]; NaN below two runs.
    runs : array of int, (g,)
        Runs that measured it.
    """

    engine_speed_rpm: FloatArray
    torque_nm: FloatArray
    half_width_95_nm: FloatArray
    runs: npt.NDArray[np.intp]


def average_overrun_torque(runs: Sequence[GridChannel]) -> OverrunTorque:
    """Average the braking torque of several runs, with its interval.

    Parameters
    ----------
    runs : sequence of GridChannel
        From `compute_overrun_torque`, one a run.

    Returns
    -------
    OverrunTorque
        Arrays of (g,), over all engine speeds that a run measured.

    Raises
    ------
    ValueError
        No run.

    Notes
    -----
    half-width = t(n − 1)·s/√n over the n runs at each engine speed [1]_: samples of one run do not count by
    themselves, since they share its temperature and its losses.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2: confidence limits of a mean.
    """
    if not runs:
        raise ValueError("There is no run with an overrun.")
    speeds = np.unique(np.concatenate([run.engine_speed_rpm for run in runs]))
    torque = np.full((len(runs), speeds.size), np.nan)
    for row, run in zip(torque, runs, strict=True):
        row[np.searchsorted(speeds, run.engine_speed_rpm)] = run.values
    n = np.isfinite(torque).sum(axis=0)
    total = np.nansum(torque, axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(n > 0, total / n, np.nan)
        several = np.where(n > 1, n, np.nan)
        sd = np.sqrt(np.nansum(np.square(torque - mean), axis=0) / (several - 1))
        half = t_quantile(several - 1, CONFIDENCE) * sd / np.sqrt(several)
    return OverrunTorque(speeds, mean, half, n)
