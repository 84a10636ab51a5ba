"""Throttle-plate drift at a steady grip while engine speed rises.

With ride-by-wire the plate may go on opening at a steady grip. A rider who holds still must not be answered
with more throttle, so this is judged from held-throttle runs, with its interval.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import CONFIDENCE, FloatArray, finite_or_nan, t_quantile
from jobs.calc.tables.cell_grid import BoolArray
from jobs.calc.units.numbers import format_number

GRIP_STAYS_WITHIN_PCT = 0.5  # either side of its middle
MIN_STRETCH_S = 1.0
MIN_RISE_RPM = 1000.0
MAX_GAP_S = 0.5  # a longer hole in the record separates two stretches
# A plate that is fully open cannot open further, one that is shut cannot close further.
PLATE_FREE_PCT = (0.5, 99.0)
# The line is fitted to the means of blocks this long, of a long stretch to so many.
BLOCK_S = 0.1
MIN_BLOCKS, MAX_BLOCKS = 4, 120
MAX_CORRELATION = 0.9
# A smaller slope is the hand on the grip, not the plate. Rule of thumb, no published source.
MIN_DRIFT = 0.5  # % per 1000 rpm
# A false alarm grounds the bike, so require 99 %.
DRIFT_CONFIDENCE = 0.99
HOLDS_WITHIN = 1.0  # % per 1000 rpm; the whole interval must lie inside


class DriftVerdict(StrEnum):
    """Verdict on the plate at a steady grip; the value is the text shown."""

    HOLDS = "holds"
    OPENS = "opens by itself"
    CLOSES = "closes by itself"
    NOT_ENOUGH = "not enough data"

    @property
    def is_drift(self) -> bool:
        return self in (DriftVerdict.OPENS, DriftVerdict.CLOSES)


@dataclass(frozen=True)
class HoldDrift:
    """Movement of the plate against engine speed at a steady grip.

    Attributes
    ----------
    verdict : DriftVerdict
    slope, half_width_95 : float
        Plate over engine speed and its 95 % half-width [% per 1000 rpm]; NaN without a stretch.
    starts_rpm : float
        Engine speed from which the plate moves [rpm]; NaN unless it does.
    stretches : int
        Stretches of steady grip and rising engine speed that were used.
    sentence : str
        The result, for people.
    """

    verdict: DriftVerdict
    slope: float
    half_width_95: float
    starts_rpm: float
    stretches: int
    sentence: str


def estimate_hold_drift(
    time_s: npt.ArrayLike,
    grip_pct: npt.ArrayLike,
    plate_pct: npt.ArrayLike,
    engine_speed_rpm: npt.ArrayLike,
) -> HoldDrift:
    """Estimate the slope of the plate against engine speed while the grip is steady.

    Parameters
    ----------
    time_s, grip_pct, plate_pct, engine_speed_rpm : array, (n,)
        Time [s], grip [%], plate [%] and engine speed [rpm] of one held-throttle run, or of several in a row
        (a leap in time separates them); NaN is not measured.

    Returns
    -------
    HoldDrift
        The verdict with the slope and its interval; ``half_width_95`` is infinite if nothing is known about
        the scatter.

    Raises
    ------
    ValueError
        Channels of different length.

    Notes
    -----
    A stretch counts if the grip stays within ±0.5 % for a second or more while engine speed rises by
    1000 rpm or more. One slope through all stretches, each with its own level, by least squares on the means
    of blocks of 0.1 s: b = Σ dx·dy / Σ dx². Its half-width is t(f)·s/√Σdx², with the freedom f reduced to
    independent blocks by the lag-1 correlation of the residuals [1]_, corrected for its bias [2]_.
    The plate opens or closes by itself if the 99 % interval excludes zero and |b| ≥ 0.5 % per 1000 rpm; it
    holds if the whole 95 % interval lies within ±1 %; otherwise there is not enough data. These limits are
    rules of thumb, no published source.

    References
    ----------
    .. [1] B. D. Santer et al., Journal of Geophysical Research 105 (2000) 7337: significance of trends in
       autocorrelated series (from memory).
    .. [2] F. H. C. Marriott, J. A. Pope, Biometrika 41 (1954) 390: bias of an autocorrelation (from memory).
    """
    time, grip, plate, speed = (finite_or_nan(a) for a in (time_s, grip_pct, plate_pct, engine_speed_rpm))
    if not time.shape == grip.shape == plate.shape == speed.shape:
        raise ValueError("Time, grip, plate and engine speed differ in length: they do not belong together.")
    free = (plate >= PLATE_FREE_PCT[0]) & (plate <= PLATE_FREE_PCT[1])
    stretches = (
        _average_blocks(time[s], speed[s], plate[s]) for s in _find_stretches(time, grip, speed, free)
    )
    blocks = [found for found in stretches if found is not None]
    if not blocks:
        return _not_enough_data(at_stop=bool(_find_stretches(time, grip, speed, np.isfinite(plate))))
    slope = _fit_common_slope(blocks)
    half = slope.half_width(CONFIDENCE)
    verdict = _judge_slope(slope)
    starts = _find_start(blocks) if verdict.is_drift else float("nan")
    low = min(float(block_speed.min()) for block_speed, _ in blocks)
    high = max(float(block_speed.max()) for block_speed, _ in blocks)
    sentence = _describe(verdict, slope.value, half, starts, (low, high))
    return HoldDrift(verdict, slope.value, half, starts, len(blocks), sentence)


Blocks = tuple[FloatArray, FloatArray]


def _not_enough_data(at_stop: bool) -> HoldDrift:
    nan = float("nan")
    sentence = (
        "Not enough data: the plate stood at its stop, full open or shut, where it can move no further."
        if at_stop
        else "Not enough data: nowhere was the grip held within ±0.5 % for a second while the engine speed "
        "rose by 1,000 1/min."
    )
    return HoldDrift(DriftVerdict.NOT_ENOUGH, nan, nan, nan, 0, sentence)


def _find_stretches(time: FloatArray, grip: FloatArray, speed: FloatArray, usable: BoolArray) -> list[slice]:
    """Find where the grip is steady and the speed rises enough, from its lowest to its highest."""
    usable = usable & np.isfinite(grip) & np.isfinite(speed)
    found = []
    for start, stop in _find_steady_grip(time, grip, usable):
        lowest = start + int(speed[start:stop].argmin())
        highest = lowest + int(speed[lowest:stop].argmax())
        rises = speed[highest] - speed[lowest] >= MIN_RISE_RPM
        if rises and time[highest] - time[lowest] >= MIN_STRETCH_S:
            found.append(slice(lowest, highest + 1))
    return found


def _find_steady_grip(time: FloatArray, grip: FloatArray, usable: BoolArray) -> list[tuple[int, int]]:
    """Find the longest stretches, one after the other, over which the grip stays within its band."""
    steps = np.diff(time)
    forward = steps[steps > 0]
    max_step = max(3 * float(np.median(forward)), MAX_GAP_S) if forward.size else 0.0
    broken = np.concatenate([[True], (steps < 0) | (steps > max_step)]) | ~usable
    stretches = []
    start, low, high = 0, np.inf, -np.inf
    for i, (value, is_broken) in enumerate(zip(grip.tolist(), broken.tolist(), strict=True)):
        low, high = min(low, value), max(high, value)
        if is_broken or high - low > 2 * GRIP_STAYS_WITHIN_PCT:
            if i > start:
                stretches.append((start, i))
            start = i if usable[i] else i + 1
            low, high = (value, value) if usable[i] else (np.inf, -np.inf)
    if start < grip.size:
        stretches.append((start, grip.size))
    return stretches


def _average_blocks(time: FloatArray, speed: FloatArray, plate: FloatArray) -> Blocks | None:
    """Average engine speed and plate over blocks of equal time, or return None if there are too few."""
    duration = time[-1] - time[0]
    count = int(np.clip(duration / BLOCK_S, MIN_BLOCKS, MAX_BLOCKS))
    block = np.minimum(((time - time[0]) / duration * count).astype(np.intp), count - 1)
    n = np.bincount(block, minlength=count)
    full = n > 0
    if np.count_nonzero(full) < MIN_BLOCKS:
        return None
    means = (np.bincount(block, weights=values, minlength=count)[full] / n[full] for values in (speed, plate))
    return next(means), next(means)


@dataclass(frozen=True)
class _Slope:
    value: float
    standard_error: float
    freedom: float

    def half_width(self, confidence: float) -> float:
        # With less than one degree of freedom nothing is known about the scatter.
        if self.freedom < 1:
            return float("inf")
        return float(t_quantile(self.freedom, confidence)) * self.standard_error


def _fit_common_slope(blocks: list[Blocks]) -> _Slope:
    """Fit one slope through all stretches [% per 1000 rpm], with a level for each."""
    x = [(speed - speed.mean()) / 1000 for speed, _ in blocks]
    y = [plate - plate.mean() for _, plate in blocks]
    spread = sum(float(np.dot(a, a)) for a in x)
    slope = sum(float(np.dot(a, b)) for a, b in zip(x, y, strict=True)) / spread
    residuals = [b - slope * a for a, b in zip(x, y, strict=True)]
    squares = sum(float(np.dot(r, r)) for r in residuals)
    n = sum(r.size for r in residuals)
    lag = sum(float(np.dot(r[1:], r[:-1])) for r in residuals) / squares if squares > 0 else 0.0
    correlation = float(np.clip(lag + (2 + 4 * lag) / n, 0.0, MAX_CORRELATION))
    freedom = n * (1 - correlation) / (1 + correlation) - len(blocks) - 1
    error = float(np.sqrt(squares / freedom / spread)) if freedom >= 1 else np.inf
    return _Slope(slope, error, freedom)


def _judge_slope(slope: _Slope) -> DriftVerdict:
    if abs(slope.value) > slope.half_width(DRIFT_CONFIDENCE) and abs(slope.value) >= MIN_DRIFT:
        return DriftVerdict.OPENS if slope.value > 0 else DriftVerdict.CLOSES
    holds = abs(slope.value) + slope.half_width(CONFIDENCE) <= HOLDS_WITHIN
    return DriftVerdict.HOLDS if holds else DriftVerdict.NOT_ENOUGH


def _find_start(blocks: list[Blocks]) -> float:
    """Find the engine speed that best separates a level plate from a moving one, over all stretches."""
    speeds = np.concatenate([speed for speed, _ in blocks])
    # The last blocks alone cannot tell a slope from scatter.
    candidates = np.linspace(speeds.min(), np.quantile(speeds, 0.8), 40)
    residuals = [_residual_squares(candidate, blocks) for candidate in candidates]
    return float(candidates[int(np.argmin(residuals))])


def _residual_squares(start: float, blocks: list[Blocks]) -> float:
    """Return the sum of squared residuals of a plate that is level up to ``start`` and then moves."""
    x = [np.maximum(speed - start, 0) for speed, _ in blocks]
    x = [part - part.mean() for part in x]
    y = [plate - plate.mean() for _, plate in blocks]
    spread = sum(float(np.dot(a, a)) for a in x)
    slope = sum(float(np.dot(a, b)) for a, b in zip(x, y, strict=True)) / spread if spread > 0 else 0.0
    return sum(float(np.sum(np.square(b - slope * a))) for a, b in zip(x, y, strict=True))


def _describe(
    verdict: DriftVerdict, slope: float, half: float, starts: float, covered: tuple[float, float]
) -> str:
    value = f"{format_number(slope, 2, signed=True)} ± {half:.2f} % per 1000 1/min"
    between = f"between {format_number(covered[0])} and {format_number(covered[1])} 1/min"
    if verdict is DriftVerdict.HOLDS:
        return f"The plate holds at a held grip {between} ({value})."
    if verdict is DriftVerdict.NOT_ENOUGH:
        return f"Not enough data to say whether the plate holds {between}: {value}."
    moves = "opens" if verdict is DriftVerdict.OPENS else "closes"
    since = f"from about {format_number(starts)} 1/min on"
    return f"The plate {moves} by itself at a held grip, {since}: {value} {between}."
