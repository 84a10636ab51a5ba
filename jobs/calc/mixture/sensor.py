"""What a lambda sensor measured, without wild samples and the stretches where it rests at a limit.

The limits are rules of thumb, no published source.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray, finite_or_nan

BoolArray = npt.NDArray[np.bool_]

# No sensor shows less with the engine running; far above, it hangs in air.
BELIEVABLE = (0.5, 3.0)
# A single sample this far from its neighbours, and this many times farther than they are from each other, is
# wild if it came and went faster than the gas and the sensor can follow.
WILD_STEP, WILD_SPREADS = 0.08, 3.0
FASTEST_SWING_S = 0.1
# A sensor or gauge ends its scale at or beyond these, and rests there without a change, or with its last
# digit going to and fro.
RICH_LIMIT_BELOW, LEAN_LIMIT_ABOVE = 0.75, 1.25
MIN_REST_SAMPLES, MIN_REST_S = 10, 0.2
# To the longest stretch without a change anywhere else. In coarse figures the turning point of a smooth curve
# lasts 2/(√3 - 1) = 2.7 times as long as the next step beside it, that of two digits together up to
# 2/(√2 - 1) = 4.8 times.
MIN_REST_RATIO, MIN_JITTER_RATIO = 4.0, 6.0
# Two digits tell a rest from a working sensor if they are fine, or few of those that the sensor showed.
FINE_DIGIT, MIN_DIGITS_SHOWN = 0.002, 20


@dataclass(frozen=True, eq=False)
class LambdaReading:
    """Lambda with what is no measurement left out.

    Attributes
    ----------
    values : array, (n,)
        Lambda [–]; NaN where nothing was measured.
    wild : array of bool, (n,)
        Samples left out because no sensor can follow so fast, or show such a value.
    at_rich_limit, at_lean_limit : array of bool, (n,)
        Samples of the stretches where the sensor rests at the end of its scale; NaN in ``values``.
    rich_limit, lean_limit : float or None
        The value that it rests at [–].
    """

    values: FloatArray
    wild: BoolArray
    at_rich_limit: BoolArray
    at_lean_limit: BoolArray
    rich_limit: float | None = None
    lean_limit: float | None = None


def check_lambda(lambda_: npt.ArrayLike, time_s: npt.ArrayLike | None = None) -> LambdaReading:
    """Find the samples of lambda that are no measurement.

    Parameters
    ----------
    lambda_ : array, (n,)
        Lambda [–]; NaN is not measured, and may lie between the samples of a slow sensor.
    time_s : array, (n,), optional
        Time [s]. Without it single samples count as faster than the sensor.

    Returns
    -------
    LambdaReading

    Notes
    -----
    A sample is wild outside `BELIEVABLE`, or if it differs from the median of its two neighbours on either
    side by more than `WILD_STEP` and by `WILD_SPREADS` times their range, there and back within
    `FASTEST_SWING_S`. A limit is the lowest or highest value if it lies beyond `RICH_LIMIT_BELOW` or
    `LEAN_LIMIT_ABOVE` and the sensor stays at it `MIN_REST_RATIO` times as long as at any other value, or at
    it and the next digit `MIN_JITTER_RATIO` times as long as within any other digit.
    """
    sensed = np.array(lambda_, dtype=float)
    time = None if time_s is None else finite_or_nan(time_s)
    at = np.flatnonzero(np.isfinite(sensed))
    low, high = BELIEVABLE
    wild = np.zeros(sensed.size, dtype=bool)
    outside = (sensed[at] < low) | (sensed[at] > high)
    wild[at[outside]] = True
    at = at[~outside]
    wild[at[_is_wild(sensed[at], None if time is None else time[at])]] = True
    sensed[wild] = np.nan
    at = np.flatnonzero(np.isfinite(sensed))
    rich, lean = np.zeros(sensed.size, dtype=bool), np.zeros(sensed.size, dtype=bool)
    limits: list[float | None] = []
    for mask, sign in ((rich, 1.0), (lean, -1.0)):
        resting, limit = _rests_at_end(sign * sensed[at], None if time is None else time[at])
        bound = RICH_LIMIT_BELOW if sign > 0 else LEAN_LIMIT_ABOVE
        if limit is None or limit > sign * bound:
            limits.append(None)
            continue
        mask[at[resting]] = True
        limits.append(abs(limit))
    sensed[rich | lean] = np.nan
    return LambdaReading(sensed, wild, rich, lean, *limits)


def _is_wild(values: FloatArray, time: FloatArray | None) -> BoolArray:
    wild = np.zeros(values.size, dtype=bool)
    if values.size < 5:
        return wild
    around = np.stack([values[:-4], values[1:-3], values[3:-1], values[4:]])
    apart = np.abs(values[2:-2] - np.median(around, axis=0))
    wild[2:-2] = apart > np.maximum(WILD_STEP, WILD_SPREADS * np.ptp(around, axis=0))
    if time is not None:
        swing = np.full(values.size, np.inf)
        swing[1:-1] = time[2:] - time[:-2]
        wild &= ~(swing > FASTEST_SWING_S)
    return wild


def _rests_at_end(values: FloatArray, time: FloatArray | None) -> tuple[BoolArray, float | None]:
    """Return the samples at the lowest value, and that value; None if the sensor does not rest there."""
    none = np.zeros(values.size, dtype=bool)
    if values.size < MIN_REST_SAMPLES:
        return none, None
    levels = np.unique(values)
    # A hundredth more than the digit: differences of decimal figures are inexact.
    digit = 1.01 * float(levels[1] - levels[0]) if levels.size > 1 else 0.0
    is_clear = digit <= FINE_DIGIT or np.ptp(values) >= MIN_DIGITS_SHOWN * digit
    for jitter, ratio in ((digit, MIN_JITTER_RATIO), (0.0, MIN_REST_RATIO)):
        near = values <= levels[0] + jitter
        if (jitter == 0 or is_clear) and _rests(values, near, time, jitter, ratio):
            return near, float(levels[0])
    return none, None


def _rests(values: FloatArray, near: BoolArray, time: FloatArray | None, jitter: float, ratio: float) -> bool:
    """Return whether the sensor stays at its end much longer than within the same jitter elsewhere."""
    starts, stops = _stretches(near)
    lasts = np.full(starts.size, np.inf) if time is None else time[stops - 1] - time[starts]
    long = (stops - starts >= MIN_REST_SAMPLES) & (lasts >= MIN_REST_S)
    if not long.any():
        return False
    elsewhere = values[~near & (values < values.max() - jitter)]
    samples = int(np.max(stops - starts) // ratio) + 1  # a stay of so many elsewhere is too like a rest
    if elsewhere.size < samples:
        return True
    windows = np.lib.stride_tricks.sliding_window_view(elsewhere, samples)
    return not np.any(np.ptp(windows, axis=1) <= jitter)


def _stretches(mask: BoolArray) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return where the stretches of True begin, and the ends behind them."""
    edges = np.diff(np.concatenate(([False], mask, [False])).astype(np.int8))
    return np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
