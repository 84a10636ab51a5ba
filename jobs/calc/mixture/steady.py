"""Samples fit for a mixture grid: the lambda sensor's delay taken out, the unsteady left out and counted.

Samples of one dwell are not independent of one another, so each kept sample carries the number of its
dwell; the grid counts dwells.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import require_finite

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]

LONGEST_DELAY_MS = 1000.0  # gas run and sensor together; beyond it something else is wrong
WEAKEST_STEP_CORRELATION = 0.6
# Rates are slopes over this long, so that neither a fast logger nor a shaking needle makes them.
RATE_WINDOW_S = 0.3


class LeftOut(StrEnum):
    """Why a sample is not used."""

    NOT_MEASURED = "not measured"
    OVERRUN = "closed throttle on the over-run"
    GRIP_MOVING = "grip moving"
    SPEED_MOVING = "engine speed moving"
    TOO_SHORT = "held too short"


@dataclass(frozen=True)
class SteadyLimits:
    """What counts as steady. The defaults are common practice, no source.

    Attributes
    ----------
    grip_rate_pct_s, speed_rate_rpm_s : float
        Faster changes of grip [%/s] or engine speed [1/min per s] are left out.
    min_dwell_s : float
        A steady stretch shorter than this is left out [s].
    closed_grip_pct, overrun_above_rpm : float
        At or below this grip and above this engine speed the engine is on the over-run; below that speed
        it idles, which is kept.
    """

    grip_rate_pct_s: float = 5.0
    speed_rate_rpm_s: float = 400.0
    min_dwell_s: float = 0.5
    closed_grip_pct: float = 2.0
    overrun_above_rpm: float = 2000.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            require_finite(name, value)
            if value < 0:
                raise ValueError(f"A limit of the steady filter cannot be below zero; {value:g} was given.")


@dataclass(frozen=True, eq=False)
class Steady:
    """Which samples of a run are steady.

    Attributes
    ----------
    kept : array of bool, (n,)
    dwell : array of int, (n,)
        Number of the steady stretch from 0; -1 where not kept.
    left_out : mapping
        Samples left out by reason; each is counted once, under the first reason that fits.
    """

    kept: BoolArray
    dwell: IntArray
    left_out: Mapping[LeftOut, int]


@dataclass(frozen=True)
class Delay:
    """A sensor's delay [ms] found from a fuel step, and how well the two courses match (0 to 1)."""

    delay_ms: float
    correlation: float


@dataclass(frozen=True, eq=False)
class HeldChannels:
    """What a mixture study needs of one run: arrays of one length; NaN is not measured.

    ``load_pct`` is whatever the tables are laid out by: grip, plate or another measure of load.
    """

    time_s: npt.ArrayLike
    engine_speed_rpm: npt.ArrayLike
    grip_pct: npt.ArrayLike
    load_pct: npt.ArrayLike
    lambda_: npt.ArrayLike


@dataclass(frozen=True, eq=False)
class SteadySamples:
    """The steady samples of several runs in a row, ready for `jobs.calc.mixture.mixture_grid`.

    ``run`` and ``sample`` say where each came from: which run of those given, which of its samples.
    """

    engine_speed_rpm: FloatArray
    load_pct: FloatArray
    lambda_: FloatArray
    dwell: IntArray
    run: IntArray
    sample: IntArray
    left_out: Mapping[LeftOut, int]


def shift_back(time_s: npt.ArrayLike, lambda_: npt.ArrayLike, delay_ms: float) -> FloatArray:
    """Lambda at the instant the mixture was burnt: each sample reads what the sensor shows a delay later.

    Parameters
    ----------
    time_s, lambda_ : array, (n,)
        Time rising [s], evenly spaced or not.
    delay_ms : float
        0 to 1,000 ms.

    Returns
    -------
    array, (n,)
        NaN for the last samples, whose exhaust never reached the sensor, and beside a gap.

    Raises
    ------
    ValueError
        A delay that cannot be, times that run back, or channels of different length.
    """
    time, sensed = _rising_time(time_s), np.asarray(lambda_, dtype=float)
    require_finite("sensor delay", delay_ms)
    if not 0 <= delay_ms <= LONGEST_DELAY_MS:
        raise ValueError(
            f"A sensor delay of {delay_ms:g} ms is not believable; 0 to {LONGEST_DELAY_MS:g} ms is."
        )
    _same_length(time, sensed)
    return np.asarray(np.interp(time + delay_ms / 1000, time, sensed, right=np.nan))


def estimate_delay(
    time_s: npt.ArrayLike,
    fuel: npt.ArrayLike,
    lambda_: npt.ArrayLike,
    longest_ms: float = 600.0,
) -> Delay:
    """The sensor's delay from a deliberate step of the fuel, by cross-correlation.

    Parameters
    ----------
    time_s, fuel, lambda_ : array, (n,)
        A held run in which the fuel was stepped up or down, once or several times; ``fuel`` is what was
        asked for, in any unit that grows with it (opening time, % of correction).
    longest_ms : float
        Delays up to this are looked at.

    Returns
    -------
    Delay
        The shift at which lambda falls with rising fuel most closely (a sensor's own lag is part of it).

    Raises
    ------
    ValueError
        No step, too short a run, or a lambda that does not follow the fuel.
    """
    time = _rising_time(time_s)
    asked, sensed = np.asarray(fuel, dtype=float), np.asarray(lambda_, dtype=float)
    _same_length(time, asked, sensed)
    good = np.isfinite(asked) & np.isfinite(sensed)
    if good.sum() < 20 or np.ptp(time[good]) < 3 * longest_ms / 1000:
        raise ValueError("The run with the fuel step is too short to find the sensor's delay in it.")
    if np.ptp(asked[good]) == 0 or np.ptp(sensed[good]) == 0:
        raise ValueError("There is no step in the fuel or none in lambda: the delay cannot be found from it.")

    step_s = 0.005
    even = np.arange(time[good][0], time[good][-1], step_s)
    asked_even = np.interp(even, time[good], asked[good])
    sensed_even = np.interp(even, time[good], sensed[good])
    shifts = np.arange(0, int(longest_ms / 1000 / step_s) + 1)
    match = np.array([-_correlation(asked_even[: even.size - k], sensed_even[k:]) for k in shifts])
    best = int(np.argmax(match))
    if match[best] < WEAKEST_STEP_CORRELATION:
        raise ValueError(
            "Lambda does not follow the step in the fuel: make the step larger, or give the delay in ms."
        )
    if best == shifts[-1]:
        raise ValueError(
            f"Lambda follows the fuel later than {longest_ms:g} ms: give the delay in ms, or allow longer."
        )
    return Delay(delay_ms=float(best * step_s * 1000), correlation=float(match[best]))


def steady(
    time_s: npt.ArrayLike,
    engine_speed_rpm: npt.ArrayLike,
    grip_pct: npt.ArrayLike,
    limits: SteadyLimits | None = None,
) -> Steady:
    """Which samples of one run stand still enough to judge the mixture by.

    Parameters
    ----------
    time_s, engine_speed_rpm, grip_pct : array, (n,)
        One run; NaN is not measured.

    Raises
    ------
    ValueError
        Times that run back, or channels of different length.
    """
    limits = limits or SteadyLimits()
    time = _rising_time(time_s)
    speed, grip = np.asarray(engine_speed_rpm, dtype=float), np.asarray(grip_pct, dtype=float)
    _same_length(time, speed, grip)
    closed = (grip <= limits.closed_grip_pct) & (speed > limits.overrun_above_rpm)
    reasons = {
        LeftOut.NOT_MEASURED: ~(np.isfinite(speed) & np.isfinite(grip)),
        LeftOut.OVERRUN: closed,
        LeftOut.GRIP_MOVING: np.abs(_rate(time, grip)) > limits.grip_rate_pct_s,
        LeftOut.SPEED_MOVING: np.abs(_rate(time, speed)) > limits.speed_rate_rpm_s,
    }
    kept = np.ones(time.size, dtype=bool)
    left_out: dict[LeftOut, int] = {}
    for reason, fits in reasons.items():
        left_out[reason] = int(np.count_nonzero(kept & fits))
        kept &= ~fits
    kept, dwell = _dwells(time, kept, limits.min_dwell_s)
    left_out[LeftOut.TOO_SHORT] = time.size - sum(left_out.values()) - int(np.count_nonzero(kept))
    return Steady(kept, dwell, left_out)


def gather(
    runs: Sequence[HeldChannels], delay_ms: float, limits: SteadyLimits | None = None
) -> SteadySamples:
    """The steady samples of several runs, lambda brought back by the sensor's delay.

    Raises
    ------
    ValueError
        No run at all, or what `shift_back` and `steady` raise.
    """
    if not runs:
        raise ValueError("Choose at least one run for the mixture study.")
    parts: list[SteadySamples] = []
    dwells = 0
    for number, run in enumerate(runs):
        parts.append(_one_run(run, number, dwells, delay_ms, limits))
        dwells = int(parts[-1].dwell.max(initial=dwells - 1)) + 1
    return SteadySamples(
        engine_speed_rpm=np.concatenate([part.engine_speed_rpm for part in parts]),
        load_pct=np.concatenate([part.load_pct for part in parts]),
        lambda_=np.concatenate([part.lambda_ for part in parts]),
        dwell=np.concatenate([part.dwell for part in parts]),
        run=np.concatenate([part.run for part in parts]),
        sample=np.concatenate([part.sample for part in parts]),
        left_out={reason: sum(part.left_out[reason] for part in parts) for reason in LeftOut},
    )


def _one_run(
    run: HeldChannels, number: int, first_dwell: int, delay_ms: float, limits: SteadyLimits | None
) -> SteadySamples:
    lambda_ = shift_back(run.time_s, run.lambda_, delay_ms)
    load, speed = np.asarray(run.load_pct, dtype=float), np.asarray(run.engine_speed_rpm, dtype=float)
    _same_length(lambda_, load)
    found = steady(run.time_s, speed, run.grip_pct, limits)
    measured = np.isfinite(lambda_) & np.isfinite(load)
    at = np.flatnonzero(found.kept & measured)
    unmeasured = int(np.count_nonzero(found.kept & ~measured))
    return SteadySamples(
        engine_speed_rpm=speed[at],
        load_pct=load[at],
        lambda_=lambda_[at],
        dwell=found.dwell[at] + first_dwell,
        run=np.full_like(at, number),
        sample=at,
        left_out={
            **found.left_out,
            LeftOut.NOT_MEASURED: found.left_out[LeftOut.NOT_MEASURED] + unmeasured,
        },
    )


def _dwells(time: FloatArray, kept: BoolArray, min_dwell_s: float) -> tuple[BoolArray, IntArray]:
    """Numbers of the unbroken stretches that last long enough; a hole in the record breaks a stretch."""
    steps = np.diff(time)
    usual = float(np.median(steps)) if steps.size else 0.0
    hole = (steps > 3 * usual) & (steps > RATE_WINDOW_S)
    begins = kept.copy()
    begins[1:] &= ~kept[:-1] | hole
    number = np.where(kept, np.cumsum(begins) - 1, -1)
    starts = np.flatnonzero(begins)
    if starts.size == 0:
        return kept, number
    ends = np.zeros(starts.size)
    np.maximum.at(ends, number[kept], time[kept])
    # n samples stand for n steps of time, so the last one counts for a step too.
    lasts = ends - time[starts] + usual
    enough = lasts >= min_dwell_s - 1e-9
    renumbered = np.where(enough, np.cumsum(enough) - 1, -1)
    dwell = np.where(kept, renumbered[np.maximum(number, 0)], -1)
    return dwell >= 0, dwell


def _rate(time: FloatArray, values: FloatArray) -> FloatArray:
    """Slope at each sample: mean of the half window after it less that before, both with the sample itself.

    NaN where a half holds nothing measured or time stands still.
    """
    measured = np.isfinite(values)
    here = np.arange(time.size)
    # A slow logger may have no neighbour in the window: then the next samples, however far.
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


def _rising_time(time_s: npt.ArrayLike) -> FloatArray:
    time = np.asarray(time_s, dtype=float)
    if time.ndim != 1 or time.size == 0 or not np.all(np.isfinite(time)) or np.any(np.diff(time) < 0):
        raise ValueError("The time of a run has to go on from each sample to the next, with none missing.")
    return time


def _same_length(first: FloatArray, *others: FloatArray) -> None:
    for other in others:
        if other.shape != first.shape:
            raise ValueError(
                f"One channel has {first.size} samples, another {other.size}: they do not belong together."
            )
