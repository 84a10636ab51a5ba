"""Throttle-plate drift at a steady grip while engine speed rises.

With ride-by-wire the plate may go on opening at a steady grip. A rider who holds still must not be answered
with more throttle, so this is judged from held-throttle runs, with its interval.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import CONFIDENCE, FloatArray, finite_or_nan, t_quantile
from jobs.calc.tables.cell_grid import BoolArray
from jobs.calc.throttle.tables import ThrottleMap, lookup_plate
from jobs.calc.units.numbers import format_digits, format_number
from jobs.calc.wording import gettext as _

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
# A half-width below this rounds to nothing.
SHOWN_STEP_RPM = 50  # of the range in sentences, which never says more than was covered
MIN_HALF_WIDTH_SHOWN = 0.005
# A smaller slope is the hand on the grip, not the plate. Rule of thumb, no published source.
MIN_DRIFT = 0.5  # % per 1000 rpm
# A false alarm grounds the bike, so require 99 %.
DRIFT_CONFIDENCE = 0.99
HOLDS_WITHIN = 1.0  # % per 1000 rpm; the whole interval must lie inside
# A table within this of the measured plate is the one that was loaded. Rule of thumb, no published source.
TABLE_WITHIN_PCT = 3.0
# By what share the answer of a loaded table to the grip may be off (standard uncertainty), and how many % the
# plate answers to 1 % of grip without a table. Rules of thumb, no published source.
TABLE_DOUBT = 0.15
UNKNOWN_GAIN, UNKNOWN_GAIN_DOUBT = 1.2, 1.2


class DriftVerdict(StrEnum):
    """Verdict on the plate at a steady grip; the value is the text shown."""

    HOLDS = "holds steady"
    OPENS = "follows revs, opening"
    CLOSES = "follows revs, closing"
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
    plate_step_pct : float
        Smallest step between recorded plate openings [%]; NaN if the plate never changed.
    stretches : int
        Stretches of steady grip and rising engine speed that were used.
    sentence : str
        The result, for people.
    """

    verdict: DriftVerdict
    slope: float
    half_width_95: float
    starts_rpm: float
    plate_step_pct: float
    stretches: int
    sentence: str

    @property
    def slope_text(self) -> str:
        return _describe_slope(self.slope, self.half_width_95, self.plate_step_pct)


def estimate_hold_drift(
    time_s: npt.ArrayLike,
    grip_pct: npt.ArrayLike,
    plate_pct: npt.ArrayLike,
    engine_speed_rpm: npt.ArrayLike,
    throttle_maps: Sequence[ThrottleMap] = (),
) -> HoldDrift:
    """Estimate the slope of the plate against engine speed while the grip is steady.

    Parameters
    ----------
    time_s, grip_pct, plate_pct, engine_speed_rpm : array, (n,)
        Time [s], grip [%], plate [%] and engine speed [rpm] of one held-throttle run, or of several in a row
        (a leap in time separates them); NaN is not measured.
    throttle_maps : sequence of ThrottleMap
        Tables that may have been loaded, one a mode.

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
    1000 rpm or more. The hand may creep within that, and the plate answers it: of the tables given, the one
    nearest the measured plate says by how much, within 15 %; if none comes within 3 %, 1.2 ± 1.2 % of plate
    for 1 % of grip are assumed. Plate less answer, as means of blocks of 0.1 s, is fitted by one slope b over
    engine speed through all stretches, each with its own level, by least squares: b = Σ dx·dy / Σ dx². Its
    standard error is s/√Σdx² and what the answer leaves open, u·Σ dx·da / Σ dx² with its relative uncertainty
    u, added in squares [3]_; the half-width is t(f) times it, with the freedom f reduced to independent
    blocks by the lag-1 correlation of the residuals [1]_, corrected for its bias [2]_.
    The plate opens or closes by itself if the 99 % interval excludes zero and |b| ≥ 0.5 % per 1000 rpm; it
    holds if the whole 95 % interval lies within ±1 %; otherwise there is not enough data. These limits are
    rules of thumb, no published source.

    References
    ----------
    .. [1] B. D. Santer et al., Journal of Geophysical Research 105 (2000) 7337: significance of trends in
       autocorrelated series (from memory).
    .. [2] F. H. C. Marriott, J. A. Pope, Biometrika 41 (1954) 390: bias of an autocorrelation (from memory).
    .. [3] JCGM 100:2008, 5.1.2: combined standard uncertainty.
    """
    time, grip, plate, speed = (finite_or_nan(a) for a in (time_s, grip_pct, plate_pct, engine_speed_rpm))
    if not time.shape == grip.shape == plate.shape == speed.shape:
        raise ValueError("Time, grip, plate and engine speed must have the same number of samples.")
    free = (plate >= PLATE_FREE_PCT[0]) & (plate <= PLATE_FREE_PCT[1])
    stretches = _find_stretches(time, grip, speed, free)
    answer, doubt = _answer_to_grip(stretches, grip, speed, plate, throttle_maps)
    averaged = (
        _average_blocks(time[s], speed[s], plate[s], part) for s, part in zip(stretches, answer, strict=True)
    )
    parts = [found for found in averaged if found is not None]
    if not parts:
        return _not_enough_data(at_stop=bool(_find_stretches(time, grip, speed, np.isfinite(plate))))
    blocks = [(speeds, plates - answers) for speeds, plates, answers in parts]
    slope = _fit_common_slope(blocks, [(speeds, answers) for speeds, _, answers in parts], doubt)
    half = slope.half_width(CONFIDENCE)
    verdict = _judge_slope(slope)
    starts = _find_start(blocks) if verdict.is_drift else float("nan")
    low = min(float(block_speed.min()) for block_speed, _ in blocks)
    high = max(float(block_speed.max()) for block_speed, _ in blocks)
    step = _smallest_step(plate)
    value = _describe_slope(slope.value, half, step)
    sentence = _describe(verdict, value, starts, (low, high))
    if verdict is DriftVerdict.NOT_ENOUGH and slope.grip_doubt > HOLDS_WITHIN / 2:
        sentence += " " + _(
            "The grip crept as engine speed rose. Hold it more steadily, or record the throttle "
            "table that was loaded. The table shows how far the plate followed the grip."
        )
    return HoldDrift(verdict, slope.value, half, starts, step, len(blocks), sentence)


Blocks = tuple[FloatArray, FloatArray]


def _answer_to_grip(
    stretches: list[slice],
    grip: FloatArray,
    speed: FloatArray,
    plate: FloatArray,
    throttle_maps: Sequence[ThrottleMap],
) -> tuple[list[FloatArray], float]:
    """Return the plate's answer to the movement of the grip in each stretch [%], and its relative doubt."""

    def from_grip(throttle_map: ThrottleMap, s: slice) -> FloatArray:
        still = lookup_plate(throttle_map, np.full(grip[s].shape, np.median(grip[s])), speed[s])
        return np.asarray(lookup_plate(throttle_map, grip[s], speed[s]) - still, dtype=float)

    def distance(throttle_map: ThrottleMap) -> float:
        off = [np.abs(plate[s] - lookup_plate(throttle_map, grip[s], speed[s])) for s in stretches]
        found = np.concatenate(off)
        return float(np.median(found)) if np.isfinite(found).all() else np.inf

    nearest = min(throttle_maps, key=distance) if throttle_maps and stretches else None
    if nearest is not None and distance(nearest) <= TABLE_WITHIN_PCT:
        return [from_grip(nearest, s) for s in stretches], TABLE_DOUBT
    still = [np.median(grip[s]) for s in stretches]
    answers = [UNKNOWN_GAIN * (grip[s] - middle) for s, middle in zip(stretches, still, strict=True)]
    return answers, UNKNOWN_GAIN_DOUBT / UNKNOWN_GAIN


def _not_enough_data(at_stop: bool) -> HoldDrift:
    nan = float("nan")
    sentence = (
        _("Not enough data: the plate was fully open or closed and could not move further.")
        if at_stop
        else _(
            "Not enough data: the grip was never held within ±0.5 % for one second while engine speed rose "
            "by 1000 rpm."
        )
    )
    return HoldDrift(DriftVerdict.NOT_ENOUGH, nan, nan, nan, nan, 0, sentence)


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


def _average_blocks(time: FloatArray, *channels: FloatArray) -> list[FloatArray] | None:
    """Average channels over blocks of equal time, or return None if there are too few."""
    duration = time[-1] - time[0]
    count = int(np.clip(duration / BLOCK_S, MIN_BLOCKS, MAX_BLOCKS))
    block = np.minimum(((time - time[0]) / duration * count).astype(np.intp), count - 1)
    n = np.bincount(block, minlength=count)
    full = n > 0
    if np.count_nonzero(full) < MIN_BLOCKS:
        return None
    return [np.bincount(block, weights=values, minlength=count)[full] / n[full] for values in channels]


@dataclass(frozen=True)
class _Slope:
    value: float
    standard_error: float
    freedom: float
    grip_doubt: float  # of the standard error, what the movement of the grip leaves open

    def half_width(self, confidence: float) -> float:
        # With less than one degree of freedom nothing is known about the scatter.
        if self.freedom < 1:
            return float("inf")
        return float(t_quantile(self.freedom, confidence)) * self.standard_error


def _fit_common_slope(blocks: list[Blocks], answers: list[Blocks], doubt: float) -> _Slope:
    """Fit one slope through all stretches, with the doubt about the answer to the grip."""
    x = [(speed - speed.mean()) / 1000 for speed, _ in blocks]
    y = [plate - plate.mean() for _, plate in blocks]
    spread = sum(float(np.dot(a, a)) for a in x)
    slope = sum(float(np.dot(a, b)) for a, b in zip(x, y, strict=True)) / spread
    of_answer = sum(float(np.dot(a, b)) for a, (_, b) in zip(x, answers, strict=True)) / spread
    residuals = [b - slope * a for a, b in zip(x, y, strict=True)]
    squares = sum(float(np.dot(r, r)) for r in residuals)
    n = sum(r.size for r in residuals)
    lag = sum(float(np.dot(r[1:], r[:-1])) for r in residuals) / squares if squares > 0 else 0.0
    correlation = float(np.clip(lag + (2 + 4 * lag) / n, 0.0, MAX_CORRELATION))
    freedom = n * (1 - correlation) / (1 + correlation) - len(blocks) - 1
    error = float(np.sqrt(squares / freedom / spread)) if freedom >= 1 else np.inf
    return _Slope(slope, float(np.hypot(error, doubt * of_answer)), freedom, abs(doubt * of_answer))


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


def _smallest_step(plate: FloatArray) -> float:
    """Return the smallest step between recorded openings, NaN if there is only one."""
    steps = np.diff(np.unique(np.round(plate[np.isfinite(plate)], 4)))
    return float(steps.min()) if steps.size else float("nan")


def _describe_slope(slope: float, half: float, plate_step: float) -> str:
    """Return the slope with its interval, or with the step of the record if that rounds to nothing."""
    values = {
        "slope": format_number(slope, 2, signed=True),
        "half": format_number(half, 2),
        "least": format_number(MIN_HALF_WIDTH_SHOWN, 2),
    }
    if half >= MIN_HALF_WIDTH_SHOWN:
        return _("%(slope)s ± %(half)s %% per 1000 rpm") % values
    text = _("%(slope)s %% per 1000 rpm, ± less than %(least)s") % values
    if plate_step >= 0.01:
        text += _(", recorded in steps of %(step)s %%") % {"step": format_digits(plate_step, 3)}
    return text


def _describe(verdict: DriftVerdict, value: str, starts: float, covered: tuple[float, float]) -> str:
    values = {
        "low": format_number(SHOWN_STEP_RPM * np.ceil(covered[0] / SHOWN_STEP_RPM)),
        "high": format_number(SHOWN_STEP_RPM * np.floor(covered[1] / SHOWN_STEP_RPM)),
        "slope": value,
        "start": format_number(SHOWN_STEP_RPM * np.round(starts / SHOWN_STEP_RPM)),
    }
    texts = {
        DriftVerdict.HOLDS: _(
            "With the grip held still, the plate holds steady between %(low)s and %(high)s rpm (%(slope)s)."
        ),
        DriftVerdict.NOT_ENOUGH: _(
            "Not enough data to tell whether the plate holds steady between %(low)s and %(high)s rpm: "
            "%(slope)s."
        ),
        DriftVerdict.OPENS: _(
            "With the grip held still, the plate follows revs and opens from about %(start)s rpm: %(slope)s "
            "between %(low)s and %(high)s rpm. Some tunes do this on purpose."
        ),
        DriftVerdict.CLOSES: _(
            "With the grip held still, the plate follows revs and closes from about %(start)s rpm: %(slope)s "
            "between %(low)s and %(high)s rpm. Some tunes do this on purpose."
        ),
    }
    return texts[verdict] % values
