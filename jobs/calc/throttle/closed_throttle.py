"""The engine at a closed throttle: how steadily it idles, and how hard it brakes on the overrun."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.speed_grid import GridChannel, fit_on_grid
from jobs.calc.statistics import CONFIDENCE, t_quantile
from jobs.calc.units.numbers import format_number, require_positive

CLOSED_GRIP_PCT = 2.0
MIN_IDLE_S = 5.0
IDLE_TOLERANCE_RPM = 100.0  # Rule of thumb, no published source.
# Neighbouring samples of an idling engine are correlated, so its mean is judged by so many long blocks.
MIN_BLOCK_S, MAX_BLOCKS = 1.0, 6
OVERRUN_GRID_STEP_RPM, OVERRUN_WIDTH_RPM = 100.0, 400.0


@dataclass(frozen=True)
class Idle:
    """Idle of one run against its target.

    Attributes
    ----------
    mean_rpm, half_width_95_rpm : float
        Mean idle speed and its 95 % half-width [rpm].
    sd_rpm : float
        Standard deviation of the samples [rpm].
    off_target_rpm : float
        Mean less target [rpm].
    on_target : bool
        Whether the mean lies within 100 rpm of the target.
    sentence : str
        The result, for people.
    """

    mean_rpm: float
    sd_rpm: float
    half_width_95_rpm: float
    off_target_rpm: float
    on_target: bool
    sentence: str


def measure_idle(time_s: npt.ArrayLike, engine_speed_rpm: npt.ArrayLike, target_rpm: float) -> Idle:
    """Measure mean and scatter of the idle speed, and compare the mean with its target.

    Parameters
    ----------
    time_s, engine_speed_rpm : array, (n,)
        Time [s] and engine speed [rpm] of an idle run, warm; NaN is not measured.
    target_rpm : float
        Idle speed of the engine spec [rpm].

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
    The run is cut into up to six blocks of a second or more. Half-width = t(k − 1)·s/√k on the k means of the
    blocks [1]_. The tolerance of 100 rpm and the blocks are rules of thumb, no published source.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2: confidence limits of a mean.
    """
    require_positive("target of the idle", target_rpm, "1/min")
    time, speed = np.asarray(time_s, dtype=float), np.asarray(engine_speed_rpm, dtype=float)
    if time.shape != speed.shape:
        raise ValueError("Time and engine speed differ in length: they do not belong together.")
    measured = np.isfinite(time) & np.isfinite(speed)
    time, speed = time[measured], speed[measured]
    duration_s = float(time[-1] - time[0]) if time.size else 0.0
    if duration_s < MIN_IDLE_S:
        raise ValueError(f"An idle run needs at least {MIN_IDLE_S:g} seconds; this one has {duration_s:.1f}.")

    count = min(int(duration_s / MIN_BLOCK_S), MAX_BLOCKS)
    block = np.minimum(((time - time[0]) / duration_s * count).astype(np.intp), count - 1)
    n = np.bincount(block, minlength=count)
    means = np.bincount(block, weights=speed, minlength=count)[n > 0] / n[n > 0]
    half = float("nan")
    if means.size > 1:
        half = float(t_quantile(means.size - 1, CONFIDENCE) * np.std(means, ddof=1) / np.sqrt(means.size))
    mean, sd = float(speed.mean()), float(np.std(speed, ddof=1))
    off = mean - target_rpm
    return Idle(mean, sd, half, off, abs(off) <= IDLE_TOLERANCE_RPM, _describe(mean, half, sd, off))


def _describe(mean: float, half: float, sd: float, off: float) -> str:
    where = "on its target"
    if abs(off) > IDLE_TOLERANCE_RPM:
        where = f"{format_number(abs(off))} 1/min {'above' if off > 0 else 'below'} its target"
    target = format_number(mean - off)
    return (
        f"It idles at {format_number(mean)} ± {half:.0f} 1/min, {where} of {target}, and hunts by {sd:.0f}."
    )


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
        raise ValueError("Engine speed, grip and torque differ in length: they do not belong together.")
    overrun = (grip <= CLOSED_GRIP_PCT) & (torque < 0)
    if not overrun.any():
        raise ValueError("The run holds no over-run: nowhere was the grip closed while the engine braked.")
    return fit_on_grid(speed[overrun], torque[overrun], OVERRUN_GRID_STEP_RPM, OVERRUN_WIDTH_RPM)
