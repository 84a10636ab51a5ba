"""Which part of a run is the sweep, and what in a run its reader has to know.

A sweep is the part with the throttle open while the engine speed rises. The roll-on before it, the throttle
as it closes and the overrun after it do not belong to the curve, and no slope may be taken across them. The
shares and limits are rules of thumb, no published source.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from jobs.calc.dyno.consistency import power_torque_flag, slip_flag
from jobs.calc.dyno.curves import Flag
from jobs.calc.dyno.speed_grid import MAX_ENGINE_SPEED_RPM
from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import format_number

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
# A rise over less than this share of the run's range is no sweep.
MIN_SWEEP_SHARE = 0.2
SMOOTHING_SAMPLES = (1, 3, 5, 9, 15, 25, 41, 71, 121, 201, 341)
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
    """

    start: int
    stop: int
    reason: str
    found: bool = True

    @property
    def rows(self) -> slice:
        """The rows as a slice of a channel."""
        return slice(self.start, self.stop)


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
        The part with the largest rise, without roll-on, closing throttle and overrun. If none stands out, the
        rows with the throttle open, as in a held run; or every row: a run stored falling or shuffled, or at
        one speed.

    Raises
    ------
    ValueError
        There is no engine speed, the channels differ in length, or rows set by hand are outside the run.

    Notes
    -----
    Of the parts with throttle >= 0.95 of its widest and d(rpm)/dt >= 0.2 of the run's brisk rate, the one
    with the largest rise in speed. Its end is moved back to where the throttle is still at 0.98 of its usual
    opening; if the run has no throttle, to 0.15 s before the rate drops. Rule of thumb, no published source.
    """
    speed = np.asarray(engine_speed_rpm, dtype=float)
    throttle = None if throttle_pct is None else np.asarray(throttle_pct, dtype=float)
    time = None if time_s is None else np.asarray(time_s, dtype=float)
    for channel in (throttle, time):
        if channel is not None and channel.shape != speed.shape:
            raise ValueError(
                "Engine speed, throttle and time have different lengths: they do not belong together."
            )
    if start is not None or stop is not None:
        return _set_by_hand(speed.size, start, stop)
    bridged = bridge_speed(speed)
    if bridged is None:
        raise ValueError("The run holds no engine speed: check which column it was read from.")
    if time is None or not np.all(np.diff(time) < 0):
        return _find_part(bridged, throttle, time)
    # Stored last sample first: find the sweep in time, then count the rows as they are stored.
    forward = _find_part(bridged[::-1], None if throttle is None else throttle[::-1], time[::-1])
    return replace(forward, start=speed.size - forward.stop, stop=speed.size - forward.start)


def _set_by_hand(rows: int, start: int | None, stop: int | None) -> Sweep:
    first, last = start or 0, rows if stop is None else stop
    if not 0 <= first < last <= rows:
        raise ValueError(f"Rows {first} to {last} do not lie within the run's {rows} rows in that order.")
    return Sweep(first, last, "Set by hand.")


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
    width = _find_quiet_width(speed)
    if width is None:
        return _find_held(throttle, speed.size, 1)
    smooth = _smooth(speed, width)
    rate = _rate(smooth, time)
    is_open = _find_open(throttle, speed.size)
    wanted = is_open & (rate >= RISING_SHARE * np.quantile(rate[rate > 0], 0.9))
    stretches = [_trim(rate, *ends) for ends in _find_runs(_close_gaps(wanted, 2 * width))]
    rises = [smooth[b - 1] - smooth[a] for a, b in stretches]
    if max(rises, default=0.0) < max(MIN_SWEEP_SHARE * float(np.ptp(smooth)), JUMP_RPM):
        return _find_held(throttle, speed.size, width)
    start, stop = stretches[int(np.argmax(rises))]
    has_throttle = throttle is not None and bool(np.isfinite(throttle).any())
    if throttle is not None and has_throttle:
        start, stop = _trim_throttle(throttle, start, stop)
    else:
        start, stop = _trim_by_rate(rate, time, width, start, stop)
    seen = "Throttle open and engine speed rising" if has_throttle else "Engine speed rising"
    return Sweep(
        start, stop, f"{seen} from {format_number(speed[start])} to {format_number(speed[stop - 1])} 1/min."
    )


def _find_held(throttle: FloatArray | None, rows: int, width: int) -> Sweep:
    """Return the rows with the throttle open if they are one stretch, as in a held run; else every row."""
    everything = Sweep(0, rows, "No rising stretch stands out; every row is used.", found=False)
    if throttle is None or not np.isfinite(throttle).any():
        return everything
    is_open = _close_gaps(_find_open(throttle, rows), 2 * width)
    start, stop = max(_find_runs(is_open), key=lambda ends: ends[1] - ends[0])
    if 2 * (stop - start) < np.count_nonzero(is_open) or stop - start == rows:
        return everything
    start, stop = _trim_throttle(throttle, start, stop)
    return Sweep(
        start, stop, "No rising stretch stands out; every row with the throttle open is used.", found=False
    )


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
    step_s = CLOSING_S / width
    if time is not None and np.all(np.diff(time) > 0):
        step_s = float(np.median(np.diff(time)))
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


def _find_quiet_width(speed: FloatArray) -> int | None:
    """Return the shortest moving mean that brings a brisk rise clear of the noise, or None."""
    # A logger at 1,000 Hz needs another one than a table of ten rows. Noise is taken from second differences,
    # without their largest tenth, which holds dropouts and gear changes.
    if speed.size < 5:
        return None
    bends = np.sort(np.square(np.diff(speed, 2)))
    noise = float(np.sqrt(np.mean(bends[: max(int(0.9 * bends.size), 1)]) / 6)) / 0.8
    for width in SMOOTHING_SAMPLES:
        if width > speed.size:
            return None
        rate = np.gradient(_smooth(speed, width))
        rising = rate[rate > 0]
        if rising.size and RISING_SHARE * np.quantile(rising, 0.9) >= 2 * np.sqrt(2) * noise / width:
            return width
    return None


def _close_gaps(wanted: BoolArray, bridge: int) -> BoolArray:
    """Close interruptions of up to so many samples."""
    closed = wanted.copy()
    for first, last in _find_runs(~wanted):
        if first > 0 and last < wanted.size and last - first <= bridge:
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
        Codes: no-sweep, dropout, spike, throttle, slip, power-torque, no-air, factor.

    Notes
    -----
    Throttle below 95 %, and the limits of `slip_flag` and `power_torque_flag`. Rules of thumb, no published
    source.
    """
    speed = np.asarray(engine_speed_rpm, dtype=float)[sweep.rows]

    def part(channel: npt.ArrayLike | None) -> FloatArray | None:
        return None if channel is None else np.asarray(channel, dtype=float)[sweep.rows]

    found = [] if sweep.found else [Flag("no-sweep", sweep.reason)]
    found += _speed_flags(speed)
    throttle, power, torque, road = (part(c) for c in (throttle_pct, power_kw, torque_nm, road_speed_kmh))
    flags = [
        None if throttle is None else _throttle_flag(throttle),
        None if road is None else slip_flag(speed, road),
        None if power is None or torque is None else power_torque_flag(power, torque, speed),
        None if air_known else Flag("no-air", "The air of this run is not known: nothing is corrected."),
        None if factor_note is None else Flag("factor", factor_note),
    ]
    return tuple(found + [flag for flag in flags if flag])


def _speed_flags(speed: FloatArray) -> list[Flag]:
    found = []
    dropouts, spikes = int(_find_dropouts(speed).sum()), int(_find_spikes(speed).sum())
    if dropouts:
        found.append(
            Flag("dropout", f"The engine speed drops out in {_count_samples(dropouts)} of the sweep.")
        )
    if spikes:
        found.append(
            Flag(
                "spike",
                f"The engine speed jumps in {_count_samples(spikes)} of the sweep: check the pick-up.",
            )
        )
    return found


def _count_samples(count: int) -> str:
    return "1 sample" if count == 1 else f"{count} samples"


def _throttle_flag(throttle: FloatArray) -> Flag | None:
    known = throttle[np.isfinite(throttle)]
    if known.size == 0 or not np.any(known < FULL_THROTTLE_PCT):
        return None
    share = 100 * np.mean(known < FULL_THROTTLE_PCT)
    return Flag(
        "throttle",
        f"The throttle is below {FULL_THROTTLE_PCT:.0f} % in {max(share, 1):.0f} % of the sweep"
        f" (least {known.min():.0f} %): this is not full power there.",
    )
