"""Which part of a run is the sweep, and what in a run its reader has to know.

A sweep is the part with the throttle open while the engine speed rises. The roll-on before it, the throttle
as it closes and the overrun after it do not belong to the curve, and no slope may be taken across them. The
shares and limits are rules of thumb, no published source.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from jobs.calc.dyno.consistency import power_torque_flag, slip_flag
from jobs.calc.dyno.curves import Flag
from jobs.calc.dyno.speed_grid import MAX_ENGINE_SPEED_RPM
from jobs.calc.statistics import FloatArray, finite_or_nan
from jobs.calc.units.numbers import format_number
from jobs.calc.wording import gettext as _
from jobs.calc.wording import ngettext

BoolArray = npt.NDArray[np.bool_]

# Open is relative to the widest opening of the run, so that a held run and an uncalibrated sensor have a
# sweep too; `check_run` reports how far open it really is.
OPEN_SHARE = 0.95
# Rising means at this share of the run's brisk rate (its upper tenth) or faster.
RISING_SHARE = 0.2
# The roll-on ends when the rate reaches this share of the sweep's own median.
ROLLED_ON_SHARE = 0.5
FULL_THROTTLE_PCT = 95.0
# A throttle this far below its usual opening at the end of a sweep is closing already.
CLOSING_SHARE = 0.98
# A hand takes about this long to close the throttle, while the engine speed still rises.
CLOSING_S = 0.15
# Without a throttle channel it is closing from where the rate drops below this share of the last second's.
CLOSING_RATE_SHARE = 0.7
# A throttle recorded up to about this late lets the rate fall below its own trend by this share first.
LATE_S = 0.1
LATE_FALL_SHARE = 0.06
MIN_TREND_SAMPLES = 8
# A rise over less than this share of the run's range is no sweep.
MIN_SWEEP_SHARE = 0.2
# A rise is a pull of its own from this share of the largest rise on, and of the longest one's samples.
MIN_PULL_SHARE = 0.5
MIN_PULL_SAMPLES_SHARE = 0.2
EQUAL_RISE_SHARE = 0.95  # of several rises so alike, the first is the sweep
# An engine does not fall by this share of the run's range from one sample to the next: another table begins.
TABLE_FALL_SHARE = 0.25
MIN_TABLE_ROWS = 8  # on average; falls at shorter intervals are those of shuffled rows
# A fall up to this share of the range between two parts of a sweep is noise.
NOISE_FALL_SHARE = 0.03
SMOOTHING_SAMPLES = (1, 3, 5, 9, 15, 25, 41, 71, 121, 201, 341, 581, 1001, 1701)
MAX_USUAL_SMOOTHING = 341
MIN_WINDOWS = 5  # in a run, of a wider window
# A jump between neighbouring samples that no engine makes: in speed, and in usual steps.
JUMP_RPM = 400.0
JUMP_STEPS = 8.0


@dataclass(frozen=True)
class Sweep:
    """Rows of a run from ``start`` up to, not including, ``stop``.

    Attributes
    ----------
    start, stop : int
    reason : str
        How the rows were chosen, as a sentence.
    found : bool
        False if no sweep stood out and every row is used.
    other_pulls : int
        Further pulls of the run that are not in these rows.
    """

    start: int
    stop: int
    reason: str
    found: bool = True
    other_pulls: int = 0

    @property
    def rows(self) -> slice:
        """The rows as a slice of a channel."""
        return slice(self.start, self.stop)


@dataclass(frozen=True)
class Pull:
    """One rise of the engine speed through most of the range, with what belongs to it.

    Attributes
    ----------
    rows : array of int, (n,)
        Its rows in their order, from where the engine speed has fallen after the pull before.
    from_rpm, to_rpm : float
        Engine speed at the ends of the rise [1/min].
    duration_s : float
        Time of the rise [s]; NaN without time.
    """

    rows: npt.NDArray[np.intp]
    from_rpm: float
    to_rpm: float
    duration_s: float


def find_pulls(
    engine_speed_rpm: npt.ArrayLike,
    time_s: npt.ArrayLike | None = None,
    run_numbers: npt.ArrayLike | None = None,
) -> tuple[Pull, ...]:
    """Find the pulls in one file, whatever separates them.

    Parameters
    ----------
    engine_speed_rpm : array, (n,)
        [1/min], as for `find_sweep`.
    time_s : array, (n,), optional
        [s]; it may start again with each pull.
    run_numbers : array, (n,), optional
        Number of the run or vehicle that each row belongs to; NaN takes the number above it.

    Returns
    -------
    tuple of Pull
        All rises of at least half the largest one, in their order; the rows of all of them make up the file.
        Empty if the engine speed rises nowhere.

    Notes
    -----
    Two tables that follow each other are parted where the speed falls by a quarter of its range from one row
    to the next, else pulls are parted where it is lowest between them. If it rises nowhere, two or more falls
    are pulls that are stored last sample first. Rule of thumb, no published source.
    """
    speed = np.asarray(engine_speed_rpm, dtype=float)
    time = None if time_s is None else finite_or_nan(time_s)
    bridged = bridge_speed(speed)
    if bridged is None:
        return ()
    order = np.arange(speed.size)
    numbers = None
    if run_numbers is not None:
        numbers = _fill_numbers(np.asarray(run_numbers, dtype=float))
        order = np.argsort(numbers, kind="stable")
    blocks = [order] if numbers is None else np.split(order, np.flatnonzero(np.diff(numbers[order])) + 1)
    found = [pull for rows in blocks for pull in _find_pulls_of(rows, bridged, time)]
    largest = max((abs(pull.to_rpm - pull.from_rpm) for pull in found), default=0.0)
    if numbers is not None:
        return tuple(p for p in found if abs(p.to_rpm - p.from_rpm) >= MIN_SWEEP_SHARE * largest)
    return tuple(found)


def _fill_numbers(numbers: FloatArray) -> npt.NDArray[np.intp]:
    """Return a whole number for each row, counted in the order of their first rows."""
    last_known = np.maximum.accumulate(np.where(np.isfinite(numbers), np.arange(numbers.size), 0))
    _values, first, inverse = np.unique(numbers[last_known], return_index=True, return_inverse=True)
    return np.argsort(np.argsort(first))[inverse]


def _find_pulls_of(rows: npt.NDArray[np.intp], bridged: FloatArray, time: FloatArray | None) -> list[Pull]:
    speed, when = bridged[rows], None if time is None else time[rows]
    is_stored_backwards = when is not None and when.size > 1 and bool(np.all(np.diff(when) < 0))
    rises = [] if is_stored_backwards else _find_rises(speed, None, when)
    backwards = not rises
    if backwards:
        falls = _find_rises(
            speed[::-1], None, when[::-1] if is_stored_backwards and when is not None else None
        )
        if len(falls) > 1 or is_stored_backwards:
            rises = [(speed.size - b, speed.size - a) for a, b in reversed(falls)]
    if not rises:
        return []
    edges = [0]
    for (_start, stop), (start, _stop) in pairwise(rises):
        between = speed[stop - 1 : start + 1]
        low = int(np.argmin(between[::-1] if backwards else between))
        edges.append(start + 1 - low if backwards else stop - 1 + low)
    edges.append(speed.size)
    return [
        Pull(
            rows[first:last],
            float(speed[start]),
            float(speed[stop - 1]),
            float("nan") if when is None else abs(float(when[stop - 1] - when[start])),
        )
        for (first, last), (start, stop) in zip(pairwise(edges), rises, strict=True)
    ]


def find_sweep(
    engine_speed_rpm: npt.ArrayLike,
    throttle_pct: npt.ArrayLike | None = None,
    time_s: npt.ArrayLike | None = None,
    start: int | None = None,
    stop: int | None = None,
) -> Sweep:
    """Find the part of a run where the throttle is open and the engine speed rises.

    Parameters
    ----------
    engine_speed_rpm : array, (n,)
        [1/min]; NaN, zero and single wild samples are bridged.
    throttle_pct : array, (n,), optional
        Grip or plate [%]; NaN takes the last opening known.
    time_s : array, (n,), optional
        [s]; unless it rises or falls throughout, the samples count as evenly spaced.
    start, stop : int, optional
        Rows set by hand, used as given.

    Returns
    -------
    Sweep
        The part with the largest rise, without roll-on, closing throttle and overrun: of several pulls one,
        never across a fall of the engine speed. If none stands out, the rows with the throttle open, as in a
        held run; or every row: a run stored falling or shuffled, or at one speed.

    Raises
    ------
    ValueError
        There is no engine speed, the channels differ in length, or rows set by hand are outside the run.

    Notes
    -----
    Of the parts with throttle >= 0.95 of its widest and d(rpm)/dt >= 0.2 of the run's brisk rate, the first
    whose rise is within 5 % of the largest. Its end is moved back to where the throttle is still at 0.98 of
    its usual opening; if the run has no throttle, to 0.15 s before the rate drops. Rule of thumb, no
    published source.
    """
    speed = np.asarray(engine_speed_rpm, dtype=float)
    throttle = None if throttle_pct is None else finite_or_nan(throttle_pct)
    time = None if time_s is None else finite_or_nan(time_s)
    for channel in (throttle, time):
        if channel is not None and channel.shape != speed.shape:
            raise ValueError("Engine speed, throttle and time must have the same number of samples.")
    if start is not None or stop is not None:
        return _set_by_hand(speed.size, start, stop)
    bridged = bridge_speed(speed)
    if bridged is None:
        raise ValueError(
            _("The engine speed is zero or missing in every row. Check which column it was read from.")
        )
    if time is None or not np.all(np.diff(time) < 0):
        return _find_part(bridged, throttle, time)
    # Stored last sample first: find the sweep in time, then count the rows as they are stored.
    forward = _find_part(bridged[::-1], None if throttle is None else throttle[::-1], time[::-1])
    return replace(forward, start=speed.size - forward.stop, stop=speed.size - forward.start)


def _set_by_hand(rows: int, start: int | None, stop: int | None) -> Sweep:
    first, last = start or 0, rows if stop is None else stop
    if not 0 <= first < last <= rows:
        raise ValueError(
            _("Rows %(first)s to %(last)s are outside the run (%(rows)s rows) or in the wrong order.")
            % {"first": first, "last": last, "rows": rows}
        )
    return Sweep(first, last, "Set manually.")


def bridge_speed(engine_speed_rpm: npt.ArrayLike) -> FloatArray | None:
    """Interpolate engine speed across dropouts and wild samples.

    Parameters
    ----------
    engine_speed_rpm : array, (n,)
        [1/min]; NaN, zero and jumps that no engine makes are dropouts.

    Returns
    -------
    array, (n,), or None
        [1/min]; None if no sample is left.

    Notes
    -----
    Linear between the samples on either side; a jump is more than 400 1/min and eight usual steps off the
    median of its eleven neighbours. Rule of thumb, no published source.
    """
    speed = np.asarray(engine_speed_rpm, dtype=float)
    known = np.flatnonzero(~(_find_dropouts(speed) | _find_spikes(speed)))
    if known.size == 0:
        return None
    return np.interp(np.arange(speed.size), known, speed[known])


def _find_dropouts(speed: FloatArray) -> BoolArray:
    return ~(speed > 0)


def _find_spikes(speed: FloatArray) -> BoolArray:
    """Find samples that are further off the median of their eleven neighbours than an engine can turn."""
    turning = np.where((speed > 0) & (speed <= MAX_ENGINE_SPEED_RPM), speed, np.nan)
    known = np.flatnonzero(np.isfinite(turning))
    wild = speed > MAX_ENGINE_SPEED_RPM
    if known.size < 11:
        return wild
    values = turning[known]
    middle = np.median(sliding_window_view(np.pad(values, 5, mode="edge"), 11), axis=1)
    limit = max(JUMP_RPM, JUMP_STEPS * float(np.median(np.abs(np.diff(values)))))
    wild[known[np.abs(values - middle) > limit]] = True
    return wild


def _smooth(values: FloatArray, width: int) -> FloatArray:
    padded = np.pad(values, width // 2, mode="edge")
    total = np.cumsum(np.concatenate(([0.0], padded)))
    return (total[width:] - total[:-width]) / width


def _rate(speed: FloatArray, time: FloatArray | None) -> FloatArray:
    """Return the rise of speed per second, or per sample if time is missing or does not rise."""
    if time is None or not np.all(np.diff(time) > 0):
        return np.gradient(speed)
    return np.gradient(speed, time)


def _find_open(throttle: FloatArray | None, rows: int) -> BoolArray:
    if throttle is None or not np.isfinite(throttle).any():
        return np.ones(rows, dtype=bool)
    # A sample between two known openings is open only if both are: a slow channel shows the closing late.
    index, known = np.arange(rows), np.isfinite(throttle)
    before = np.maximum.accumulate(np.where(known, index, 0))
    after = np.minimum.accumulate(np.where(known, index, rows - 1)[::-1])[::-1]
    # A single wild sample must not set what 'open' means.
    limit = OPEN_SHARE * np.nanquantile(throttle, 0.99)
    closed = (throttle[before] < limit) | (throttle[after] < limit)
    return ~closed & np.isfinite(throttle[before])


def _find_part(speed: FloatArray, throttle: FloatArray | None, time: FloatArray | None) -> Sweep:
    parts = _find_rises(speed, throttle, time)
    if not parts:
        return _find_falling(speed, throttle)
    start, stop = _choose_part(speed, parts)
    has_throttle = throttle is not None and bool(np.isfinite(throttle).any())
    if throttle is not None and has_throttle:
        start, stop = _trim_throttle(throttle, start, stop)
    first, last = next((a, b) for a, b in _split_tables(speed) if a <= start < b)
    width = _find_quiet_width(speed[first:last]) or 1
    clock = None if time is None else time[first:last]
    rate = _rate(_smooth(speed[first:last], width), clock)
    trim = _trim_late if has_throttle else _trim_by_rate
    start, stop = (first + end for end in trim(rate, clock, width, start - first, stop - first))
    seen = "Throttle open and engine speed rising" if has_throttle else "Engine speed rising"
    return Sweep(
        start,
        stop,
        f"{seen} from {format_number(speed[start])} to {format_number(speed[stop - 1])} rpm.",
        other_pulls=len(parts) - 1,
    )


def _choose_part(speed: FloatArray, parts: Sequence[tuple[int, int]]) -> tuple[int, int]:
    rises = np.abs([speed[stop - 1] - speed[start] for start, stop in parts])
    return parts[int(np.argmax(rises >= EQUAL_RISE_SHARE * rises.max()))]


def _find_falling(speed: FloatArray, throttle: FloatArray | None) -> Sweep:
    """Return one of several falling parts, as of tables stored last row first; else the held rows."""
    falls = _find_rises(speed[::-1], throttle if throttle is None else throttle[::-1], None)
    if len(falls) < 2:
        return _find_held(throttle, speed.size, _find_quiet_width(speed) or 1)
    parts = [(speed.size - stop, speed.size - start) for start, stop in reversed(falls)]
    start, stop = _choose_part(speed, parts)
    text = _(
        "No steady pull was found in this file, so the rows with falling engine speed from %(from)s to "
        "%(to)s rpm are used."
    )
    reason = text % {"from": format_number(speed[start]), "to": format_number(speed[stop - 1])}
    return Sweep(start, stop, reason, found=False, other_pulls=len(parts) - 1)


def _split_tables(speed: FloatArray) -> list[tuple[int, int]]:
    """Return the rows between falls of the engine speed that no engine makes."""
    falls = np.flatnonzero(np.diff(speed) < -max(TABLE_FALL_SHARE * float(np.ptp(speed)), JUMP_RPM)) + 1
    if falls.size > speed.size / MIN_TABLE_ROWS:  # shuffled
        falls = falls[:0]
    return list(pairwise([0, *falls.tolist(), speed.size]))


def _find_rises(
    speed: FloatArray, throttle: FloatArray | None, time: FloatArray | None
) -> list[tuple[int, int]]:
    """Return the rows of all pulls with the throttle open, without roll-on and overrun."""
    span = float(np.ptp(speed))
    is_open = _find_open(throttle, speed.size)
    found: list[tuple[int, int, float]] = []
    for first, last in _split_tables(speed):
        part = slice(first, last)
        found += [
            (first + a, first + b, rise)
            for a, b, rise in _find_rises_of_table(
                speed[part], is_open[part], None if time is None else time[part], span
            )
        ]
    largest = max((rise for _, _, rise in found), default=0.0)
    if largest < max(MIN_SWEEP_SHARE * span, JUMP_RPM):
        return []
    longest = max(b - a for a, b, rise in found if rise >= MIN_PULL_SHARE * largest)
    return [
        (a, b)
        for a, b, rise in found
        if rise >= MIN_PULL_SHARE * largest and b - a >= MIN_PULL_SAMPLES_SHARE * longest
    ]


def _find_rises_of_table(
    speed: FloatArray, is_open: BoolArray, time: FloatArray | None, span: float
) -> list[tuple[int, int, float]]:
    width = _find_quiet_width(speed)
    if width is None:
        return []
    smooth = _smooth(speed, width)
    rate = _rate(smooth, time)
    if not np.any(rate > 0):
        return []
    wanted = is_open & (rate >= RISING_SHARE * np.quantile(rate[rate > 0], 0.9))
    closed = _close_gaps(wanted, 2 * width, smooth, NOISE_FALL_SHARE * span)
    stretches = [_trim(rate, *ends) for ends in _find_runs(closed)]
    # A jump from the end of one falling table to the start of the next is no rise.
    steps = np.diff(speed, prepend=speed[0])
    jumps = np.cumsum(np.where(steps > max(TABLE_FALL_SHARE * span, JUMP_RPM), steps, 0.0))
    return [(a, b, float(smooth[b - 1] - smooth[a] - jumps[b - 1] + jumps[a])) for a, b in stretches]


def _find_held(throttle: FloatArray | None, rows: int, width: int) -> Sweep:
    """Return the rows with the throttle open if they are one stretch, as in a held run; else every row."""
    reason = _("No steady pull was found in this file, so every row is used.")
    everything = Sweep(0, rows, reason, found=False)
    if throttle is None or not np.isfinite(throttle).any():
        return everything
    is_open = _close_gaps(_find_open(throttle, rows), 2 * width)
    start, stop = max(_find_runs(is_open), key=lambda ends: ends[1] - ends[0])
    if 2 * (stop - start) < np.count_nonzero(is_open) or stop - start == rows:
        return everything
    start, stop = _trim_throttle(throttle, start, stop)
    reason = _("No steady pull was found in this file, so every row with the throttle open is used.")
    return Sweep(start, stop, reason, found=False)


def _trim_throttle(throttle: FloatArray, start: int, stop: int) -> tuple[int, int]:
    """Cut the samples at both ends at which the throttle is opening or closing."""
    inside = throttle[start:stop]
    known = np.flatnonzero(np.isfinite(inside))
    if known.size < 3:
        return start, stop
    usual = float(np.median(inside[known]))
    # The median of normally distributed steps times 1.4826 is their standard deviation.
    noise = 1.4826 * float(np.median(np.abs(np.diff(inside[known])))) / np.sqrt(2)
    steady = known[inside[known] >= min(CLOSING_SHARE * usual, usual - 4 * noise)]
    return start + int(steady[0]), start + int(steady[-1]) + 1


def _trim_by_rate(
    rate: FloatArray, time: FloatArray | None, width: int, start: int, stop: int
) -> tuple[int, int]:
    """Cut what a throttle that nobody recorded opened and closed in, unless the file begins or ends there."""
    step_s = _step_s(time, width)
    second = max(round(1 / step_s), 1)
    margin = width // 2 + round(CLOSING_S / step_s)
    first, last = start, stop
    if start > 0:
        first = start + margin
    if stop < rate.size:
        inside = rate[max(start, stop - second) : stop]
        full = np.flatnonzero(inside >= CLOSING_RATE_SHARE * np.median(inside))
        last = stop - inside.size + int(full[-1]) + 1 - margin
    return (first, last) if last - first >= (stop - start) // 2 else (start, stop)


def _trim_late(
    rate: FloatArray, time: FloatArray | None, width: int, start: int, stop: int
) -> tuple[int, int]:
    """Cut an end at which the engine slows down already, because the throttle was recorded late."""
    if stop >= rate.size:
        return start, stop
    step_s = _step_s(time, width)
    inside = rate[max(start, stop - max(round(1 / step_s), 1)) : stop]
    full = np.flatnonzero(inside >= CLOSING_RATE_SHARE * np.median(inside))
    slow, bent = inside.size - 1 - int(full[-1]), _count_below_trend(inside, width, step_s)
    # The moving mean alone lowers the rate within half its width.
    late = max(slow if slow > width // 2 else 0, bent if bent > width // 4 else 0)
    if not late:
        return start, stop
    return start, max(stop - late - width // 2 - round(CLOSING_S / step_s), start + 1)


def _count_below_trend(rate: FloatArray, width: int, step_s: float) -> int:
    """Return at how many samples at the end the rate is below the straight line through those before."""
    place = np.arange(rate.size) - rate.size
    before = place < -2 * (max(round(LATE_S / step_s), 2) + width // 2)
    if np.count_nonzero(before) < MIN_TREND_SAMPLES:
        return 0
    off = rate / np.polyval(np.polyfit(place[before], rate[before], 1), place) - 1
    if 4 * np.sqrt(np.mean(np.square(off[before]))) > LATE_FALL_SHARE:
        return 0  # noise hides such a fall
    usual = np.flatnonzero(off > -LATE_FALL_SHARE)
    return rate.size - 1 - int(usual[-1])


def _step_s(time: FloatArray | None, width: int) -> float:
    """Return the time between samples; without a clock the time to close takes one moving mean."""
    if time is not None and np.all(np.diff(time) > 0):
        return float(np.median(np.diff(time)))
    return CLOSING_S / width


def _find_quiet_width(speed: FloatArray) -> int | None:
    """Return the shortest moving mean that brings a brisk rise clear of the noise, or None."""
    # A logger at 1,000 Hz needs another one than a table of ten rows. Noise is taken from second differences,
    # without their largest tenth, which holds dropouts and gear changes.
    if speed.size < 5:
        return None
    bends = np.sort(np.square(np.diff(speed, 2)))
    noise = float(np.sqrt(np.mean(bends[: max(int(0.9 * bends.size), 1)]) / 6)) / 0.8
    for width in SMOOTHING_SAMPLES:
        if width * (MIN_WINDOWS if width > MAX_USUAL_SMOOTHING else 1) > speed.size:
            return None
        rate = np.gradient(_smooth(speed, width))
        rising = rate[rate > 0]
        if rising.size and RISING_SHARE * np.quantile(rising, 0.9) >= 2 * np.sqrt(2) * noise / width:
            return width
    return None


def _close_gaps(
    wanted: BoolArray, bridge: int, speed: FloatArray | None = None, noise_rpm: float = 0.0
) -> BoolArray:
    """Close interruptions of up to so many samples over which the speed does not fall by more than noise."""
    closed = wanted.copy()
    for first, last in _find_runs(~wanted):
        if first == 0 or last == wanted.size or last - first > bridge:
            continue
        if speed is None or speed[last] >= speed[first - 1] - noise_rpm:
            closed[first:last] = True
    return closed


def _find_runs(mask: BoolArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _trim(rate: FloatArray, start: int, stop: int) -> tuple[int, int]:
    """Cut the roll-on: start where the rate first reaches half of the part's own."""
    inside = rate[start:stop]
    ready = np.flatnonzero(inside >= ROLLED_ON_SHARE * np.median(inside))
    return start + int(ready[0]), stop


def check_run(
    engine_speed_rpm: npt.ArrayLike,
    sweep: Sweep,
    *,
    throttle_pct: npt.ArrayLike | None = None,
    power_kw: npt.ArrayLike | None = None,
    torque_nm: npt.ArrayLike | None = None,
    road_speed_kmh: npt.ArrayLike | None = None,
    air_known: bool = True,
    factor_note: str | None = None,
) -> tuple[Flag, ...]:
    """List what a reader of this run has to know.

    Parameters
    ----------
    engine_speed_rpm, throttle_pct, power_kw, torque_nm, road_speed_kmh : array, (n,)
        Whole channels of the run [1/min], [%], [kW], [N·m], [km/h]; only the rows of the sweep are checked.
        Road speed is that of the roller or the wheel.
    sweep : Sweep
    air_known : bool
        Whether temperature, pressure and humidity of the run are known.
    factor_note : str, optional
        Which limit the correction passes, in words; None if it is inside its limits.

    Returns
    -------
    tuple of Flag
        Codes: no-sweep, pulls, dropout, spike, throttle, slip, power-torque, no-air, factor.

    Notes
    -----
    Throttle below 95 %, and the limits of `slip_flag` and `power_torque_flag`. Rules of thumb, no published
    source.
    """
    speed = np.asarray(engine_speed_rpm, dtype=float)[sweep.rows]

    def part(channel: npt.ArrayLike | None) -> FloatArray | None:
        return None if channel is None else np.asarray(channel, dtype=float)[sweep.rows]

    found = [] if sweep.found else [Flag("no-sweep", sweep.reason)]
    if sweep.other_pulls:
        text = ngettext(
            "The file holds another pull. The curve shows one pull only.",
            "The file holds %(count)s more pulls. The curve shows one pull only.",
            sweep.other_pulls,
        )
        found.append(Flag("pulls", text % {"count": sweep.other_pulls}))
    found += _speed_flags(speed)
    throttle, power, torque, road = (part(c) for c in (throttle_pct, power_kw, torque_nm, road_speed_kmh))
    flags = [
        None if throttle is None else _throttle_flag(throttle),
        None if road is None else slip_flag(speed, road),
        None if power is None or torque is None else power_torque_flag(power, torque, speed),
        None if air_known else Flag("no-air", _("Air data not entered, so results are uncorrected.")),
        None if factor_note is None else Flag("factor", factor_note),
    ]
    return tuple(found + [flag for flag in flags if flag])


def _speed_flags(speed: FloatArray) -> list[Flag]:
    found = []
    dropouts, spikes = int(_find_dropouts(speed).sum()), int(_find_spikes(speed).sum())
    if dropouts:
        text = ngettext(
            "The engine speed drops out in %(count)s sample of the sweep.",
            "The engine speed drops out in %(count)s samples of the sweep.",
            dropouts,
        )
        found.append(Flag("dropout", text % {"count": dropouts}))
    if spikes:
        text = ngettext(
            "The engine speed jumps in %(count)s sample of the sweep. Check the pick-up.",
            "The engine speed jumps in %(count)s samples of the sweep. Check the pick-up.",
            spikes,
        )
        found.append(Flag("spike", text % {"count": spikes}))
    return found


def _throttle_flag(throttle: FloatArray) -> Flag | None:
    known = throttle[np.isfinite(throttle)]
    if known.size == 0 or not np.any(known < FULL_THROTTLE_PCT):
        return None
    share = 100 * np.mean(known < FULL_THROTTLE_PCT)
    text = _(
        "The throttle is below %(full)s %% in %(share)s %% of the sweep (minimum %(least)s %%). "
        "Power there is not full-throttle power."
    )
    values = {
        "full": format_number(FULL_THROTTLE_PCT),
        "share": format_number(max(float(share), 1.0)),
        "least": format_number(float(known.min())),
    }
    return Flag("throttle", text % values)
