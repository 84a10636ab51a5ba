"""Does the throttle plate stay where a held grip puts it while the engine speed rises?

With ride-by-wire the plate may go on opening at a held grip. A rider who holds still must not be
answered with more throttle, so this is judged from held runs, with its interval.

References
----------
.. [1] B. D. Santer et al., Journal of Geophysical Research 105 (2000) 7337: significance of trends in
   autocorrelated series (from memory).
.. [2] F. H. C. Marriott, J. A. Pope, Biometrika 41 (1954) 390: bias of an autocorrelation (from memory).
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import CONFIDENCE, FloatArray, t_quantile
from jobs.calc.tables.cell_grid import BoolArray
from jobs.calc.units.numbers import format_number

GRIP_STAYS_WITHIN_PCT = 0.5  # either side of its middle
SHORTEST_STRETCH_S = 1.0
SMALLEST_RISE_RPM = 1000.0
LONGEST_GAP_S = 0.5  # a longer hole in the record parts two stretches
# A plate that is full open can open no further, one that is shut can close no further.
PLATE_FREE_PCT = (0.5, 99.0)
# The line is laid through the means of blocks this long, of a long stretch through so many.
BLOCK_S = 0.1
FEWEST_BLOCKS, MOST_BLOCKS = 4, 120
STRONGEST_CORRELATION = 0.9
# A slope smaller than this is the hand on the grip, not the plate; common practice, no source.
SMALLEST_DRIFT = 0.5  # % per 1,000 1/min
# To say that a plate moves is to ground the bike: that takes more than 19 times in 20.
CONFIDENCE_OF_DRIFT = 0.99
HOLDS_WITHIN = 1.0  # % per 1,000 1/min; the whole interval must lie inside


class Verdict(StrEnum):
    HOLDS = "holds"
    OPENS = "opens by itself"
    CLOSES = "closes by itself"
    NOT_ENOUGH = "not enough data"


@dataclass(frozen=True)
class HoldDrift:
    """How the plate moves against engine speed while the grip is held.

    Attributes
    ----------
    verdict : Verdict
    slope, half_width_95 : float
        Plate over engine speed [% per 1,000 1/min] and its 95 % half-width; NaN without a stretch.
    starts_rpm : float
        Engine speed from which it moves; NaN unless it does.
    stretches : int
        Stretches of held grip and rising engine speed that were used.
    from_rpm, to_rpm : float
        Engine speeds they cover; NaN without one.
    sentence : str
    """

    verdict: Verdict
    slope: float
    half_width_95: float
    starts_rpm: float
    stretches: int
    from_rpm: float
    to_rpm: float
    sentence: str

    @property
    def ci_low(self) -> float:
        return self.slope - self.half_width_95

    @property
    def ci_high(self) -> float:
        return self.slope + self.half_width_95


def hold_drift(
    time_s: npt.ArrayLike,
    grip_pct: npt.ArrayLike,
    plate_pct: npt.ArrayLike,
    engine_speed_rpm: npt.ArrayLike,
) -> HoldDrift:
    """Slope of the plate against engine speed in the stretches where the grip is held.

    Parameters
    ----------
    time_s, grip_pct, plate_pct, engine_speed_rpm : array, (n,)
        One held run, or several in a row (a leap in time parts them); NaN is not measured. Stretches count
        in which the grip stays within ±0.5 % for a second or more while engine speed rises by 1,000 1/min
        or more.

    Returns
    -------
    HoldDrift
        One slope through all stretches, each with its own level, from the means of short blocks, with
        Student's interval. The plate *opens* or *closes by itself* where even the 99 % interval leaves zero
        out and the slope is at least 0.5 % per 1,000 1/min; it *holds* where the whole 95 % interval lies
        within ±1 %; else there is *not enough data*. ``half_width_95`` is infinite where nothing can be
        known of the scatter.

    Raises
    ------
    ValueError
        Channels of different length.
    """
    time, grip, plate, speed = (
        np.asarray(a, dtype=float) for a in (time_s, grip_pct, plate_pct, engine_speed_rpm)
    )
    if not time.shape == grip.shape == plate.shape == speed.shape:
        raise ValueError("Time, grip, plate and engine speed differ in length: they do not belong together.")
    free = (plate >= PLATE_FREE_PCT[0]) & (plate <= PLATE_FREE_PCT[1])
    stretches = (_blocks(time[s], speed[s], plate[s]) for s in _stretches(time, grip, speed, free))
    blocks = [found for found in stretches if found is not None]
    if not blocks:
        return _nothing_to_judge(at_stop=bool(_stretches(time, grip, speed, np.isfinite(plate))))
    slope = _common_slope(blocks)
    half = slope.half_width(CONFIDENCE)
    verdict = _verdict(slope)
    moves = verdict in (Verdict.OPENS, Verdict.CLOSES)
    starts = _starts(blocks) if moves else float("nan")
    low = min(float(block_speed.min()) for block_speed, _ in blocks)
    high = max(float(block_speed.max()) for block_speed, _ in blocks)
    sentence = _sentence(verdict, slope.value, half, starts, (low, high))
    return HoldDrift(verdict, slope.value, half, starts, len(blocks), low, high, sentence)


Blocks = tuple[FloatArray, FloatArray]


def _nothing_to_judge(at_stop: bool) -> HoldDrift:
    nan = float("nan")
    sentence = (
        "Not enough data: the plate stood at its stop, full open or shut, where it can move no further."
        if at_stop
        else "Not enough data: nowhere was the grip held within ±0.5 % for a second while the engine speed "
        "rose by 1,000 1/min."
    )
    return HoldDrift(Verdict.NOT_ENOUGH, nan, nan, nan, 0, nan, nan, sentence)


def _stretches(time: FloatArray, grip: FloatArray, speed: FloatArray, usable: BoolArray) -> list[slice]:
    """Where the grip is held and the speed rises enough, from its lowest to its highest."""
    usable = usable & np.isfinite(grip) & np.isfinite(speed)
    found = []
    for start, stop in _held(time, grip, usable):
        least = start + int(speed[start:stop].argmin())
        most = least + int(speed[least:stop].argmax())
        rises = speed[most] - speed[least] >= SMALLEST_RISE_RPM
        if rises and time[most] - time[least] >= SHORTEST_STRETCH_S:
            found.append(slice(least, most + 1))
    return found


def _held(time: FloatArray, grip: FloatArray, usable: BoolArray) -> list[tuple[int, int]]:
    """The longest stretches, one after the other, over which the grip stays within its band."""
    steps = np.diff(time)
    onwards = steps[steps > 0]
    longest_step = max(3 * float(np.median(onwards)), LONGEST_GAP_S) if onwards.size else 0.0
    broken = np.concatenate([[True], (steps < 0) | (steps > longest_step)]) | ~usable
    stretches = []
    start, low, high = 0, np.inf, -np.inf
    for i, (value, parts) in enumerate(zip(grip.tolist(), broken.tolist(), strict=True)):
        low, high = min(low, value), max(high, value)
        if parts or high - low > 2 * GRIP_STAYS_WITHIN_PCT:
            if i > start:
                stretches.append((start, i))
            start = i if usable[i] else i + 1
            low, high = (value, value) if usable[i] else (np.inf, -np.inf)
    if start < grip.size:
        stretches.append((start, grip.size))
    return stretches


def _blocks(time: FloatArray, speed: FloatArray, plate: FloatArray) -> Blocks | None:
    """Means of engine speed and plate over blocks of equal time; None with too few of them."""
    lasts = time[-1] - time[0]
    count = int(np.clip(lasts / BLOCK_S, FEWEST_BLOCKS, MOST_BLOCKS))
    block = np.minimum(((time - time[0]) / lasts * count).astype(np.intp), count - 1)
    n = np.bincount(block, minlength=count)
    full = n > 0
    if np.count_nonzero(full) < FEWEST_BLOCKS:
        return None
    means = (np.bincount(block, weights=values, minlength=count)[full] / n[full] for values in (speed, plate))
    return next(means), next(means)


@dataclass(frozen=True)
class _Slope:
    value: float
    standard_error: float
    freedom: float

    def half_width(self, confidence: float) -> float:
        # With less than one block to spare nothing is known of the scatter.
        return (
            float(t_quantile(self.freedom, confidence)) * self.standard_error if self.freedom >= 1 else np.inf
        )


def _common_slope(blocks: list[Blocks]) -> _Slope:
    """One slope through all stretches [% per 1,000 1/min], with a level to each.

    Residuals of neighbouring blocks may still hang together: the number of blocks is taken down to that of
    independent ones by their lag-1 correlation [1]_, itself corrected for being read off a fitted line [2]_.
    """
    x = [(speed - speed.mean()) / 1000 for speed, _ in blocks]
    y = [plate - plate.mean() for _, plate in blocks]
    spread = sum(float(np.dot(a, a)) for a in x)
    slope = sum(float(np.dot(a, b)) for a, b in zip(x, y, strict=True)) / spread
    residuals = [b - slope * a for a, b in zip(x, y, strict=True)]
    misses = sum(float(np.dot(r, r)) for r in residuals)
    n = sum(r.size for r in residuals)
    lag = sum(float(np.dot(r[1:], r[:-1])) for r in residuals) / misses if misses > 0 else 0.0
    hang_together = float(np.clip(lag + (2 + 4 * lag) / n, 0.0, STRONGEST_CORRELATION))
    freedom = n * (1 - hang_together) / (1 + hang_together) - len(blocks) - 1
    error = float(np.sqrt(misses / freedom / spread)) if freedom >= 1 else np.inf
    return _Slope(slope, error, freedom)


def _verdict(slope: _Slope) -> Verdict:
    sure = slope.half_width(CONFIDENCE_OF_DRIFT)
    if abs(slope.value) > sure and abs(slope.value) >= SMALLEST_DRIFT:
        return Verdict.OPENS if slope.value > 0 else Verdict.CLOSES
    within = abs(slope.value) + slope.half_width(CONFIDENCE) <= HOLDS_WITHIN
    return Verdict.HOLDS if within else Verdict.NOT_ENOUGH


def _starts(blocks: list[Blocks]) -> float:
    """The engine speed that parts a level plate from a moving one best, over all stretches."""
    speeds = np.concatenate([speed for speed, _ in blocks])
    # The last blocks alone cannot tell a slope from scatter.
    candidates = np.linspace(speeds.min(), np.quantile(speeds, 0.8), 40)
    misses = [_miss_from(candidate, blocks) for candidate in candidates]
    return float(candidates[int(np.argmin(misses))])


def _miss_from(start: float, blocks: list[Blocks]) -> float:
    x = [np.maximum(speed - start, 0) for speed, _ in blocks]
    x = [part - part.mean() for part in x]
    y = [plate - plate.mean() for _, plate in blocks]
    spread = sum(float(np.dot(a, a)) for a in x)
    slope = sum(float(np.dot(a, b)) for a, b in zip(x, y, strict=True)) / spread if spread > 0 else 0.0
    return sum(float(np.sum(np.square(b - slope * a))) for a, b in zip(x, y, strict=True))


def _sentence(
    verdict: Verdict, slope: float, half: float, starts: float, covered: tuple[float, float]
) -> str:
    figures = f"{format_number(slope, 2, signed=True)} ± {half:.2f} % per 1000 1/min"
    between = f"between {format_number(covered[0])} and {format_number(covered[1])} 1/min"
    if verdict is Verdict.HOLDS:
        return f"The plate holds at a held grip {between} ({figures})."
    if verdict is Verdict.NOT_ENOUGH:
        return f"Not enough data to say whether the plate holds {between}: {figures}."
    way = "opens" if verdict is Verdict.OPENS else "closes"
    since = f"from about {format_number(starts)} 1/min on"
    return f"The plate {way} by itself at a held grip, {since}: {figures} {between}."
