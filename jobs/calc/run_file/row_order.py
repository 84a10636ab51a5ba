"""The order of the rows of a file by its time.

The limits are rules of thumb, no published source.
"""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray

MIN_SHUFFLED_SHARE = 0.2  # of the steps of time go back if rows are shuffled, not only tables exchanged
MIN_ROWS = 20
MAX_STEP_SPREAD = 0.5  # one clock has steps of one size, two clocks in turn have not
MAX_STEPS_IN_BLOCK = 3  # a longer step ahead is where another block was
MIN_JUMPING_SHARE = 0.2
MIN_RANGE_RPM = 1_000.0  # below it the jumps are those of an idle
JUMP_SHARE = 0.25  # of the range of engine speed, from one row to the next


def find_time_order(channels: Mapping[str, FloatArray]) -> npt.NDArray[np.intp] | None:
    """Find the order of rows that are shuffled or in exchanged blocks, if their time tells it.

    Parameters
    ----------
    channels : mapping of str to array, (n,)

    Returns
    -------
    array of int, (n,), or None
        None if time is missing, not complete, in order (rising or falling), or starts again: then it does not
        tell the order.

    Notes
    -----
    Either a fifth of the steps go back, or the blocks between steps back and leaps ahead do not overlap in
    time. No two rows have one time, and nine steps in ten of the sorted time are within half of the usual
    one.
    """
    time = channels.get("time_s")
    if time is None or time.size < MIN_ROWS or not np.isfinite(time).all():
        return None
    steps = np.diff(time)
    if np.all(steps >= 0) or np.all(steps <= 0):
        return None
    order = np.argsort(time, kind="stable")
    sorted_steps = np.diff(time[order])
    usual = float(np.median(sorted_steps))
    if np.any(sorted_steps == 0) or np.mean(np.abs(sorted_steps / usual - 1) < MAX_STEP_SPREAD) < 0.9:
        return None
    if np.count_nonzero(steps < 0) < MIN_SHUFFLED_SHARE * steps.size:
        breaks = np.flatnonzero((steps < 0) | (steps > MAX_STEPS_IN_BLOCK * usual))
        starts = time[np.concatenate(([0], breaks + 1))]
        ends = time[np.concatenate((breaks, [time.size - 1]))]
        by_start = np.argsort(starts)
        if np.any(ends[by_start][:-1] >= starts[by_start][1:]):
            return None
    return order


def rows_are_shuffled(channels: Mapping[str, FloatArray]) -> bool:
    """Return True if the engine speed jumps about from row to row as it does in no run.

    Parameters
    ----------
    channels : mapping of str to array, (n,)

    Returns
    -------
    bool
    """
    speed = channels.get("engine_speed_rpm")
    if speed is None:
        return False
    known = speed[np.isfinite(speed) & (speed > 0)]
    if known.size < MIN_ROWS:
        return False
    low, high = np.quantile(known, [0.05, 0.95])
    jumps = np.abs(np.diff(known)) > JUMP_SHARE * (high - low)
    return bool(high - low > MIN_RANGE_RPM and np.mean(jumps) > MIN_JUMPING_SHARE)
