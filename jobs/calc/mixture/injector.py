"""Injector duty: the share of the time between two openings for which an injector is open."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import require_positive

MS_PER_MINUTE = 60_000.0
# Above this many injectors no longer close fully between two openings. Rule of thumb, no published source.
MAX_DUTY_PCT = 85.0
BIN_RPM = 250.0
MEDIAN_SAMPLES, MIN_SAMPLES = 5, 5


@dataclass(frozen=True, eq=False)
class InjectorDuty:
    """Highest injector duty of a run by engine speed.

    Attributes
    ----------
    engine_speed_rpm, duty_pct, opening_ms : array, (b,)
        Middle of each bin of 250 rpm [rpm], the highest duty in it [%] and the opening time there [ms].
    """

    engine_speed_rpm: FloatArray
    duty_pct: FloatArray
    opening_ms: FloatArray

    @property
    def highest(self) -> int:
        """Index of the bin with the highest duty."""
        return int(np.argmax(self.duty_pct))


def find_injector_duty(
    engine_speed_rpm: npt.ArrayLike, opening_ms: npt.ArrayLike, turns_per_opening: float
) -> InjectorDuty:
    """Find the highest injector duty of a run at each engine speed.

    Parameters
    ----------
    engine_speed_rpm, opening_ms : array, (n,)
        Engine speed [rpm] and opening time [ms] in the order of time; NaN is not measured.
    turns_per_opening : float
        Turns of the crank from one opening to the next: 2 for one opening a cycle of a four-stroke engine.

    Returns
    -------
    InjectorDuty
        Arrays of (b,), rising in engine speed.

    Raises
    ------
    ValueError
        Channels of different length, too few samples, or turns not above zero.

    Notes
    -----
    duty = 100·t·n/(60,000·turns) in %, from the definition: at 12,000 rpm two turns take 10 ms. The opening
    time has its dead time in it. The highest running median of five samples in each bin counts, so that a
    single wild sample does not; a bin of fewer than five samples is left out. Rules of thumb, no published
    source.
    """
    speed, opening = np.asarray(engine_speed_rpm, dtype=float), np.asarray(opening_ms, dtype=float)
    if speed.shape != opening.shape or speed.ndim != 1:
        raise ValueError("Engine speed and pulse width must have the same number of samples.")
    require_positive("turns from one opening to the next", turns_per_opening)
    duty = 100 * opening * speed / (MS_PER_MINUTE * turns_per_opening)
    measured = np.isfinite(duty) & (speed > 0)
    speed, opening, duty = speed[measured], opening[measured], duty[measured]
    if duty.size < MEDIAN_SAMPLES:
        raise ValueError("The run has too few samples with engine speed and injector pulse width.")
    half = MEDIAN_SAMPLES // 2
    windows = np.lib.stride_tricks.sliding_window_view(duty, MEDIAN_SAMPLES)
    steady, at = np.median(windows, axis=1), slice(half, duty.size - half)
    place = np.floor(speed[at] / BIN_RPM).astype(np.intp)
    order = np.lexsort((steady, place))
    last = np.flatnonzero(np.diff(place[order], append=-1))
    count = np.diff(last, prepend=-1)
    if not (count >= MIN_SAMPLES).any():
        raise ValueError("The run has too few samples with engine speed and injector pulse width.")
    best = order[last[count >= MIN_SAMPLES]]
    return InjectorDuty((place[best] + 0.5) * BIN_RPM, steady[best].astype(float), opening[at][best])
