"""Steady samples for a mixture grid: the sensor's delay removed, unsteady samples excluded and counted.

Samples of one hold are not independent of one another, so each sample carries the number of its hold; the
grid counts holds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray
from jobs.calc.tables.cell_grid import BoolArray, IntArray
from jobs.calc.units.numbers import format_number, require_finite

MAX_DELAY_MS = 1000.0  # gas run and sensor together; more means that something else is wrong
MAX_SEARCHED_DELAY_MS = 600.0
MIN_STEP_CORRELATION = 0.6
SEARCH_STEP_S = 0.005
MAX_SEARCHED_RUN_S = 1_800.0
# What comes back to a point so soon never left it: the engine hunts, the hand trembles, a sample is missing.
RETURN_WITHIN_S = 5.0
SAME_SPEED_RPM, SAME_GRIP_PCT = 50.0, 1.0
# Rates are slopes over this long, so that neither a fast logger nor a shaking needle causes them.
RATE_WINDOW_S = 0.3


class ExclusionReason(StrEnum):
    """Why a sample is not used; the value is stored and shown."""

    NOT_MEASURED = "not measured"
    OVERRUN = "closed throttle, overrun"
    GRIP_MOVING = "grip moving"
    SPEED_MOVING = "engine speed changing"
    TOO_SHORT = "not held long enough"


@dataclass(frozen=True)
class SteadyLimits:
    """Limits of what counts as steady. Rules of thumb, no published source.

    Attributes
    ----------
    grip_rate_pct_s, speed_rate_rpm_s : float
        Fastest change of grip [%/s] and engine speed [rpm/s].
    min_hold_s : float
        Shortest hold [s].
    closed_grip_pct, overrun_above_rpm : float
        At or below this grip [%] and above this engine speed [rpm] the engine is on the overrun; below that
        speed it idles, which is used.

    Raises
    ------
    ValueError
        A limit missing or below zero.
    """

    grip_rate_pct_s: float = 5.0
    speed_rate_rpm_s: float = 400.0
    min_hold_s: float = 0.5
    closed_grip_pct: float = 2.0
    overrun_above_rpm: float = 2000.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            require_finite(name, value)
            if value < 0:
                raise ValueError(f"A limit for steady must not be below zero. You entered {value:g}.")


@dataclass(frozen=True, eq=False)
class Steadiness:
    """Which samples of a run are steady.

    Attributes
    ----------
    is_steady : array of bool, (n,)
    hold : array of int, (n,)
        Number of the hold from 0; -1 if not steady.
    excluded : mapping
        Samples excluded by reason; each is counted once, under the first reason that applies.
    """

    is_steady: BoolArray
    hold: IntArray
    excluded: Mapping[ExclusionReason, int]


@dataclass(frozen=True)
class Delay:
    """A sensor's delay [ms] found from a fuel step, and the correlation of the two channels [0 to 1]."""

    delay_ms: float
    correlation: float


@dataclass(frozen=True, eq=False)
class RunChannels:
    """What a mixture study needs of one run: arrays of one length, (n,); NaN is not measured.

    Attributes
    ----------
    time_s, engine_speed_rpm, grip_pct, lambda_ : array, (n,)
        Time [s], engine speed [rpm], grip [%], lambda [–].
    load_pct : array, (n,)
        Grip, plate or another measure of load, as the axis has it [%].
    """

    time_s: npt.ArrayLike
    engine_speed_rpm: npt.ArrayLike
    grip_pct: npt.ArrayLike
    load_pct: npt.ArrayLike
    lambda_: npt.ArrayLike


@dataclass(frozen=True, eq=False)
class SteadySamples:
    """The steady samples of several runs in a row.

    Attributes
    ----------
    engine_speed_rpm, load_pct, lambda_ : array, (n,)
        Engine speed [rpm], load [%], lambda [–].
    hold : array of int, (n,)
        Number of the hold, counted through all runs.
    run, sample : array of int, (n,)
        Index of the run, and of the sample in it.
    excluded : mapping
        Samples excluded by reason.
    """

    engine_speed_rpm: FloatArray
    load_pct: FloatArray
    lambda_: FloatArray
    hold: IntArray
    run: IntArray
    sample: IntArray
    excluded: Mapping[ExclusionReason, int]


def estimate_delay(time_s: npt.ArrayLike, fuel: npt.ArrayLike, lambda_: npt.ArrayLike) -> Delay:
    """Estimate the sensor's delay from a deliberate step of the fuel.

    Parameters
    ----------
    time_s : array, (n,)
        Time [s] of a held run in which the fuel was stepped up or down, once or several times.
    fuel : array, (n,)
        Fuel that was asked for, in any unit that grows with it.
    lambda_ : array, (n,)
        Lambda as the sensor showed it [–]; NaN is not measured.

    Returns
    -------
    Delay
        The delay from 0 to 600 ms; a sensor's own lag is part of it.

    Raises
    ------
    ValueError
        No step, too short a run, a lambda that does not follow the fuel, times that run backwards, or
        channels of different length.

    Notes
    -----
    Cross-correlation: the shift k that maximises −corr(fuel(t), lambda(t + k)) over 5 ms steps, as lambda
    falls when fuel rises. A correlation below 0.6 is no answer. Rule of thumb, no published source.
    """
    time = _check_time(time_s)
    asked, sensed = np.asarray(fuel, dtype=float), np.asarray(lambda_, dtype=float)
    _check_lengths(time, asked, sensed)
    measured = np.isfinite(asked) & np.isfinite(sensed)
    if measured.sum() < 20 or np.ptp(time[measured]) < 3 * MAX_SEARCHED_DELAY_MS / 1000:
        raise ValueError(
            "The run with the fuel step is too short to find the sensor delay. Use a longer run, or enter "
            "the delay in ms."
        )
    if np.ptp(asked[measured]) == 0 or np.ptp(sensed[measured]) == 0:
        raise ValueError("The sensor delay cannot be found: there is no step in the fuel or in lambda.")

    if np.ptp(time[measured]) > MAX_SEARCHED_RUN_S:
        raise ValueError(
            f"The run with the fuel step lasts {format_number(float(np.ptp(time[measured])))} s. At most "
            f"{MAX_SEARCHED_RUN_S:g} s are searched. Check its time column and the unit."
        )
    even = np.arange(time[measured][0], time[measured][-1], SEARCH_STEP_S)
    asked_even = np.interp(even, time[measured], asked[measured])
    sensed_even = np.interp(even, time[measured], sensed[measured])
    shifts = np.arange(0, int(MAX_SEARCHED_DELAY_MS / 1000 / SEARCH_STEP_S) + 1)
    match = np.array([-_correlation(asked_even[: even.size - k], sensed_even[k:]) for k in shifts])
    best = int(np.argmax(match))
    if match[best] < MIN_STEP_CORRELATION:
        raise ValueError(
            "Lambda does not respond to the fuel step. Use a larger step or enter the delay in ms."
        )
    if best == shifts[-1]:
        raise ValueError(
            f"Lambda responds to the fuel more than {MAX_SEARCHED_DELAY_MS:g} ms later. Enter the delay in "
            "ms."
        )
    return Delay(delay_ms=float(best * SEARCH_STEP_S * 1000), correlation=float(match[best]))


def find_steady_samples(
    time_s: npt.ArrayLike,
    engine_speed_rpm: npt.ArrayLike,
    grip_pct: npt.ArrayLike,
    limits: SteadyLimits | None = None,
) -> Steadiness:
    """Find the samples of one run that are steady enough to judge the mixture by.

    Parameters
    ----------
    time_s, engine_speed_rpm, grip_pct : array, (n,)
        Time [s], engine speed [rpm] and grip [%] of one run; NaN is not measured.
    limits : SteadyLimits, optional

    Returns
    -------
    Steadiness
        The steady samples with their holds, and the excluded ones by reason.

    Raises
    ------
    ValueError
        Times that run backwards, or channels of different length.

    Notes
    -----
    A rate is the mean of the 0.15 s after a sample less that of the 0.15 s before it, over their distance in
    time. Unsteady samples and holes in the record separate stretches. Stretches are one hold, with all
    between them, if engine speed and grip come back to within 50 rpm and 1 % of one within 5 s: an engine
    that hunts is held once, however often it passes the limits. Rules of thumb, no published source.
    """
    limits = limits or SteadyLimits()
    time = _check_time(time_s)
    speed, grip = np.asarray(engine_speed_rpm, dtype=float), np.asarray(grip_pct, dtype=float)
    _check_lengths(time, speed, grip)
    reasons = {
        ExclusionReason.NOT_MEASURED: ~(np.isfinite(speed) & np.isfinite(grip)),
        ExclusionReason.OVERRUN: (grip <= limits.closed_grip_pct) & (speed > limits.overrun_above_rpm),
        ExclusionReason.GRIP_MOVING: np.abs(_rate(time, grip)) > limits.grip_rate_pct_s,
        ExclusionReason.SPEED_MOVING: np.abs(_rate(time, speed)) > limits.speed_rate_rpm_s,
    }
    is_steady = np.ones(time.size, dtype=bool)
    excluded: dict[ExclusionReason, int] = {}
    for reason, applies in reasons.items():
        excluded[reason] = int(np.count_nonzero(is_steady & applies))
        is_steady &= ~applies
    is_steady, stretch = _number_stretches(time, is_steady, limits.min_hold_s)
    hold = _join_returns(time, speed, grip, stretch)
    long_enough = int(np.count_nonzero(is_steady))
    excluded[ExclusionReason.TOO_SHORT] = time.size - sum(excluded.values()) - long_enough
    return Steadiness(is_steady, hold, excluded)


def collect_steady_samples(
    runs: Sequence[RunChannels], delay_ms: float, limits: SteadyLimits | None = None
) -> SteadySamples:
    """Collect the steady samples of several runs with the sensor's delay removed.

    Parameters
    ----------
    runs : sequence of RunChannels
    delay_ms : float
        Sensor delay, 0 to 1000 [ms].
    limits : SteadyLimits, optional

    Returns
    -------
    SteadySamples
        The samples of all runs in a row.

    Raises
    ------
    ValueError
        No run at all, a delay outside 0 to 1000 ms, times that run backwards, or channels of different
        length.

    Notes
    -----
    lambda(t) is what the sensor shows at t + delay, by linear interpolation. The last samples of a run, whose
    exhaust never reached the sensor, are not measured. Source: definition of a pure delay.
    """
    if not runs:
        raise ValueError("Choose at least one run for the mixture study.")
    parts: list[SteadySamples] = []
    hold_count = 0
    for number, run in enumerate(runs):
        parts.append(_collect_from_run(run, number, hold_count, delay_ms, limits))
        hold_count = int(parts[-1].hold.max(initial=hold_count - 1)) + 1
    return SteadySamples(
        engine_speed_rpm=np.concatenate([part.engine_speed_rpm for part in parts]),
        load_pct=np.concatenate([part.load_pct for part in parts]),
        lambda_=np.concatenate([part.lambda_ for part in parts]),
        hold=np.concatenate([part.hold for part in parts]),
        run=np.concatenate([part.run for part in parts]),
        sample=np.concatenate([part.sample for part in parts]),
        excluded={reason: sum(part.excluded[reason] for part in parts) for reason in ExclusionReason},
    )


def _collect_from_run(
    run: RunChannels, number: int, first_hold: int, delay_ms: float, limits: SteadyLimits | None
) -> SteadySamples:
    lambda_ = _remove_delay(run.time_s, run.lambda_, delay_ms)
    load, speed = np.asarray(run.load_pct, dtype=float), np.asarray(run.engine_speed_rpm, dtype=float)
    _check_lengths(lambda_, load)
    found = find_steady_samples(run.time_s, speed, run.grip_pct, limits)
    measured = np.isfinite(lambda_) & np.isfinite(load)
    at = np.flatnonzero(found.is_steady & measured)
    not_measured = int(np.count_nonzero(found.is_steady & ~measured))
    return SteadySamples(
        engine_speed_rpm=speed[at],
        load_pct=load[at],
        lambda_=lambda_[at],
        hold=found.hold[at] + first_hold,
        run=np.full_like(at, number),
        sample=at,
        excluded={
            **found.excluded,
            ExclusionReason.NOT_MEASURED: found.excluded[ExclusionReason.NOT_MEASURED] + not_measured,
        },
    )


def _remove_delay(time_s: npt.ArrayLike, lambda_: npt.ArrayLike, delay_ms: float) -> FloatArray:
    """Return lambda at the instant the mixture was burnt, NaN if its exhaust never reached the sensor."""
    time, sensed = _check_time(time_s), np.asarray(lambda_, dtype=float)
    require_finite("sensor delay", delay_ms)
    if not 0 <= delay_ms <= MAX_DELAY_MS:
        raise ValueError(
            f"A sensor delay of {delay_ms:g} ms is not plausible. Enter 0 to {MAX_DELAY_MS:g} ms."
        )
    _check_lengths(time, sensed)
    return np.asarray(np.interp(time + delay_ms / 1000, time, sensed, right=np.nan))


def _join_returns(time: FloatArray, speed: FloatArray, grip: FloatArray, stretch: IntArray) -> IntArray:
    """Return the number of the hold that each stretch belongs to, for its samples."""
    at = np.flatnonzero(stretch >= 0)
    if not at.size:
        return stretch
    starts = np.flatnonzero(np.diff(stretch[at], prepend=-1))
    begin, end = time[at[starts]], time[at[np.append(starts[1:], at.size) - 1]]
    bounds = [
        (np.minimum.reduceat(values[at], starts) - near, np.maximum.reduceat(values[at], starts) + near)
        for values, near in ((speed, SAME_SPEED_RPM / 2), (grip, SAME_GRIP_PCT / 2))
    ]
    is_new = np.ones(starts.size, dtype=bool)
    for k in range(1, starts.size):
        recent = slice(int(np.searchsorted(end, begin[k] - RETURN_WITHIN_S)), k)
        back = np.logical_and.reduce(
            [(low[recent] <= high[k]) & (high[recent] >= low[k]) for low, high in bounds]
        )
        if back.any():
            is_new[recent.start + int(back.argmax()) + 1 : k + 1] = False
    number = np.cumsum(is_new) - 1
    return np.where(stretch >= 0, number[np.maximum(stretch, 0)], -1)


def _number_stretches(
    time: FloatArray, is_steady: BoolArray, min_hold_s: float
) -> tuple[BoolArray, IntArray]:
    """Keep unbroken stretches that last long enough, and number them; a hole in the record ends one."""
    steps = np.diff(time)
    usual = float(np.median(steps)) if steps.size else 0.0
    hole = (steps > 3 * usual) & (steps > RATE_WINDOW_S)
    begins = is_steady.copy()
    begins[1:] &= ~is_steady[:-1] | hole
    number = np.where(is_steady, np.cumsum(begins) - 1, -1)
    starts = np.flatnonzero(begins)
    if starts.size == 0:
        return is_steady, number
    ends = np.zeros(starts.size)
    np.maximum.at(ends, number[is_steady], time[is_steady])
    # n samples stand for n steps of time, so the last one counts for a step too.
    durations = ends - time[starts] + usual
    enough = durations >= min_hold_s - 1e-9
    renumbered = np.where(enough, np.cumsum(enough) - 1, -1)
    hold = np.where(is_steady, renumbered[np.maximum(number, 0)], -1)
    return hold >= 0, hold


def _rate(time: FloatArray, values: FloatArray) -> FloatArray:
    """Return the slope at each sample, NaN if a half window holds nothing measured or time stands still.

    The mean of the half window after the sample less that before it, both with the sample itself.
    """
    measured = np.isfinite(values)
    here = np.arange(time.size)
    # A slow logger may have no neighbour in the window: then take the next samples, however far.
    first = np.minimum(np.searchsorted(time, time - RATE_WINDOW_S / 2 - 1e-9), np.maximum(here - 1, 0))
    last = np.searchsorted(time, time + RATE_WINDOW_S / 2 + 1e-9)
    last = np.maximum(last, np.minimum(here + 2, time.size))

    def means(per_sample: FloatArray) -> tuple[FloatArray, FloatArray]:
        total = np.concatenate([[0.0], np.cumsum(np.where(measured, per_sample, 0.0))])
        return (total[here + 1] - total[first]) / before, (total[last] - total[here]) / after

    count = np.concatenate([[0], np.cumsum(measured)])
    before, after = count[here + 1] - count[first], count[last] - count[here]
    with np.errstate(divide="ignore", invalid="ignore"):
        time_before, time_after = means(time - time[0])
        value_before, value_after = means(values)
        return np.asarray((value_after - value_before) / (time_after - time_before))


def _correlation(first: FloatArray, second: FloatArray) -> float:
    a, b = first - first.mean(), second - second.mean()
    size = float(np.sqrt(np.dot(a, a) * np.dot(b, b)))
    return float(np.dot(a, b)) / size if size > 0 else 0.0


def _check_time(time_s: npt.ArrayLike) -> FloatArray:
    time = np.asarray(time_s, dtype=float)
    if time.ndim != 1 or time.size == 0 or not np.all(np.isfinite(time)) or np.any(np.diff(time) < 0):
        raise ValueError("The time of a run must increase from sample to sample, with none missing.")
    return time


def _check_lengths(first: FloatArray, *others: FloatArray) -> None:
    for other in others:
        if other.shape != first.shape:
            raise ValueError(
                f"The channels must have the same number of samples: {first.size} and {other.size}."
            )
