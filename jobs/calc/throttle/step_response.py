"""How soon and how fast the throttle plate, or the torque, follows a quick turn of the grip.

References
----------
.. [1] IEEE Std 181-2011, Transitions, Pulses, and Related Waveforms: reference levels at 10 and 90 % of the
   way between two states, transition duration between them (from memory).
"""

from collections import deque
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray

MS_PER_S = 1000.0
# What counts as a quick turn of the grip between two rests. Rules of thumb, no published source.
MIN_STEP_PCT = 15.0
MAX_TURN_S = 0.4
REST_S = 0.25
REST_PCT = 1.0
# The response is looked for until the next turn of the grip, at most for this long.
MAX_RESPONSE_S = 1.5


@dataclass(frozen=True)
class StepResponse:
    """One quick turn of the grip and what followed it.

    Attributes
    ----------
    at_s, engine_speed_rpm : float
        Start of the turn [s]; engine speed there [1/min].
    from_pct, to_pct : float
        Grip before and after [%].
    turn_ms : float
        The grip's own time from 10 to 90 % of its way [ms].
    latency_ms, rise_ms : float
        From 10 % of the grip's way to 10 % of the response's, and the response's time from 10 to 90 % [ms].
    """

    at_s: float
    engine_speed_rpm: float
    from_pct: float
    to_pct: float
    turn_ms: float
    latency_ms: float
    rise_ms: float

    @property
    def opens(self) -> bool:
        """True for an opening grip."""
        return self.to_pct > self.from_pct


def _find_steps(time_s: npt.ArrayLike, grip_pct: npt.ArrayLike) -> list[slice]:
    """Find the quick turns of the grip that have a rest before and after.

    Parameters
    ----------
    time_s, grip_pct : array, (n,)
        Rising time [s] and grip [%]; NaN is not measured.

    Returns
    -------
    list of slice
        Rows from the last one of the rest before to the first one of the rest after.

    Raises
    ------
    ValueError
        Arrays of different length.

    Notes
    -----
    The grip rests where it stays within `REST_PCT` for `REST_S`; two rests that differ by `MIN_STEP_PCT` with
    at most `MAX_TURN_S` between them are a step. Rules of thumb, no published source.
    """
    time, grip = np.asarray(time_s, dtype=float), np.asarray(grip_pct, dtype=float)
    if time.shape != grip.shape:
        raise ValueError("Time and grip must have the same number of samples.")
    rests = _find_rests(time, grip)
    steps = []
    for before, after in pairwise(rests):
        last, first = before.stop - 1, after.start
        way = abs(float(np.mean(grip[after]) - np.mean(grip[before])))
        if way >= MIN_STEP_PCT and time[first] - time[last] <= MAX_TURN_S:
            steps.append(slice(last, first + 1))
    return steps


def _find_rests(time: FloatArray, grip: FloatArray) -> list[slice]:
    """Return the stretches in which the grip rests, each as long as possible, without overlap."""
    rests, start = [], 0
    highest: deque[int] = deque()  # rows since the start whose grip no later row exceeds, and the same below
    lowest: deque[int] = deque()
    for row, value in enumerate([*grip.tolist(), np.nan]):
        while highest and value >= grip[highest[-1]]:
            highest.pop()
        while lowest and value <= grip[lowest[-1]]:
            lowest.pop()
        highest.append(row)
        lowest.append(row)
        while start < row and not max(value, grip[highest[0]]) - grip[lowest[0]] <= 2 * REST_PCT:
            if time[row - 1] - time[start] >= REST_S:
                rests.append(slice(start, row))
                start = row
            else:
                start += 1
            while highest[0] < start:
                highest.popleft()
            while lowest[0] < start:
                lowest.popleft()
        if np.isnan(value):
            start = row + 1
            highest.clear()
            lowest.clear()
    return rests


def measure_step_responses(
    time_s: npt.ArrayLike, engine_speed_rpm: npt.ArrayLike, grip_pct: npt.ArrayLike, response: npt.ArrayLike
) -> list[StepResponse]:
    """Measure latency and 10-90 % time of a response at every quick turn of the grip.

    Parameters
    ----------
    time_s, engine_speed_rpm, grip_pct : array, (n,)
        Rising time [s], engine speed [1/min] and grip [%]; NaN is not measured.
    response : array, (n,)
        Throttle plate [%], or torque in any unit.

    Returns
    -------
    list of StepResponse
        In the order of time. A turn without an answer, or with a gap in it, is left out.

    Raises
    ------
    ValueError
        Arrays of different length.

    Notes
    -----
    States before and after are means over the rests; the instants at 10 and 90 % of the way between them are
    interpolated between samples [1]_. A first-order lag τ behind a dead time d gives d - τ ln 0.9 and τ ln 9.
    """
    time, speed, grip, out = (
        np.asarray(values, dtype=float) for values in (time_s, engine_speed_rpm, grip_pct, response)
    )
    if not time.shape == speed.shape == grip.shape == out.shape:
        raise ValueError("The channels must have the same number of samples.")
    steps = _find_steps(time, grip)
    ends = [*(step.start for step in steps[1:]), time.size - 1]
    found = [_measure(time, speed, grip, out, step, end) for step, end in zip(steps, ends, strict=False)]
    return [one for one in found if one]


def _measure(
    time: FloatArray, speed: FloatArray, grip: FloatArray, out: FloatArray, step: slice, end: int
) -> StepResponse | None:
    first = int(np.searchsorted(time, time[step.start] - REST_S))
    last = min(end, int(np.searchsorted(time, time[step.start] + MAX_RESPONSE_S, side="right")) - 1)
    settled = int(np.searchsorted(time, time[last] - REST_S))
    if settled <= step.start or not np.isfinite(out[first : last + 1]).all():
        return None
    rest = slice(first, step.start + 1)
    after = slice(max(settled, step.stop - 1), last + 1)
    from_pct, to_pct = float(grip[rest].mean()), float(grip[step.stop - 1 : last + 1].mean())
    before, final = float(out[rest].mean()), float(out[after].mean())
    scatter = float(np.std(out[rest]))
    if abs(final - before) <= max(5 * scatter, 1e-12):
        return None
    rows = slice(step.start, last + 1)
    grip_low, grip_high = _crossings(time[rows], (grip[rows] - from_pct) / (to_pct - from_pct))
    low, high = _crossings(time[rows], (out[rows] - before) / (final - before))
    return StepResponse(
        at_s=float(time[step.start]),
        engine_speed_rpm=float(speed[step.start]),
        from_pct=from_pct,
        to_pct=to_pct,
        turn_ms=MS_PER_S * (grip_high - grip_low),
        latency_ms=MS_PER_S * (low - grip_low),
        rise_ms=MS_PER_S * (high - low),
    )


def _crossings(time: FloatArray, way: FloatArray) -> tuple[float, float]:
    """Return the instants at which the way first reaches 10 and 90 % [s]."""
    return _first_crossing(time, way, 0.1), _first_crossing(time, way, 0.9)


def _first_crossing(time: FloatArray, way: FloatArray, level: float) -> float:
    at = int(np.argmax(way >= level))
    if at == 0:
        return float(time[0])
    share = (level - way[at - 1]) / (way[at] - way[at - 1])
    return float(time[at - 1] + share * (time[at] - time[at - 1]))
