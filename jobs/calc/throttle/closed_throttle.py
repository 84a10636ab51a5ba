"""The engine at a closed throttle: how steady it idles, and how hard it brakes on the over-run."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.speed_grid import GridChannel, fit_on_grid
from jobs.calc.statistics import CONFIDENCE, t_quantile
from jobs.calc.units.numbers import format_number, require_positive

CLOSED_GRIP_PCT = 2.0
SHORTEST_IDLE_S = 5.0
# Neighbouring samples of an idling engine hang together: its mean is judged by so many long blocks.
SHORTEST_BLOCK_S, MOST_BLOCKS = 1.0, 6


@dataclass(frozen=True)
class Idle:
    """Idle of one run [1/min]: mean with its 95 % half-width, scatter of the samples, and how long it was.

    ``off_target_rpm`` is the mean less the target; ``on_target`` whether it lies within the tolerance.
    """

    mean_rpm: float
    sd_rpm: float
    half_width_95_rpm: float
    lasts_s: float
    off_target_rpm: float
    on_target: bool
    sentence: str


def idle(
    time_s: npt.ArrayLike,
    engine_speed_rpm: npt.ArrayLike,
    target_rpm: float,
    tolerance_rpm: float = 100.0,
) -> Idle:
    """Mean and scatter of the idle speed against its target.

    Parameters
    ----------
    time_s, engine_speed_rpm : array, (n,)
        An idle run, warm; NaN is not measured.
    target_rpm, tolerance_rpm : float
        As the engine's maker or the shop sets them [1/min].

    Raises
    ------
    ValueError
        Channels of different length, a run shorter than five seconds, or a target not above zero.
    """
    require_positive("target of the idle", target_rpm, "1/min")
    require_positive("tolerance of the idle", tolerance_rpm, "1/min")
    time, speed = np.asarray(time_s, dtype=float), np.asarray(engine_speed_rpm, dtype=float)
    if time.shape != speed.shape:
        raise ValueError("Time and engine speed differ in length: they do not belong together.")
    measured = np.isfinite(time) & np.isfinite(speed)
    time, speed = time[measured], speed[measured]
    lasts = float(time[-1] - time[0]) if time.size else 0.0
    if lasts < SHORTEST_IDLE_S:
        raise ValueError(f"An idle run needs at least {SHORTEST_IDLE_S:g} seconds; this one has {lasts:.1f}.")

    count = min(int(lasts / SHORTEST_BLOCK_S), MOST_BLOCKS)
    block = np.minimum(((time - time[0]) / lasts * count).astype(np.intp), count - 1)
    n = np.bincount(block, minlength=count)
    means = np.bincount(block, weights=speed, minlength=count)[n > 0] / n[n > 0]
    half = float("nan")
    if means.size > 1:
        half = float(t_quantile(means.size - 1, CONFIDENCE) * np.std(means, ddof=1) / np.sqrt(means.size))
    mean, sd = float(speed.mean()), float(np.std(speed, ddof=1))
    off = mean - target_rpm
    sentence = _in_words(mean, half, sd, off, tolerance_rpm)
    return Idle(mean, sd, half, lasts, off, abs(off) <= tolerance_rpm, sentence)


def _in_words(mean: float, half: float, sd: float, off: float, tolerance_rpm: float) -> str:
    where = "on its target"
    if abs(off) > tolerance_rpm:
        where = f"{format_number(abs(off))} 1/min {'above' if off > 0 else 'below'} its target"
    target = format_number(mean - off)
    return (
        f"It idles at {format_number(mean)} ± {half:.0f} 1/min, {where} of {target}, and hunts by {sd:.0f}."
    )


def overrun_torque(
    engine_speed_rpm: npt.ArrayLike,
    grip_pct: npt.ArrayLike,
    torque_nm: npt.ArrayLike,
    *,
    grid_step_rpm: float = 100.0,
    width_rpm: float = 400.0,
) -> GridChannel:
    """Braking torque by engine speed at a closed throttle [N·m], below zero where the engine brakes.

    Parameters
    ----------
    engine_speed_rpm, grip_pct, torque_nm : array, (n,)
        A run with an over-run in it; NaN is not measured.

    Raises
    ------
    ValueError
        Channels of different length, or no sample at a closed throttle with the engine pulled along.
    """
    speed, grip, torque = (np.asarray(a, dtype=float) for a in (engine_speed_rpm, grip_pct, torque_nm))
    if not speed.shape == grip.shape == torque.shape:
        raise ValueError("Engine speed, grip and torque differ in length: they do not belong together.")
    closed = (grip <= CLOSED_GRIP_PCT) & (torque < 0)
    if not closed.any():
        raise ValueError("The run holds no over-run: nowhere was the grip closed while the engine braked.")
    return fit_on_grid(speed[closed], torque[closed], grid_step_rpm, width_rpm)
