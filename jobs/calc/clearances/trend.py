"""How a clearance moves with distance or hours, and when it reaches its limit.

References
----------
.. [1] E. C. Fieller, "Some problems in interval estimation", J. R. Stat. Soc. B 16 (1954), 175-185:
   interval for the place where a fitted line meets a given level.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from jobs.calc.clearances.readings import Millimetres, check_range
from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.calc.units.numbers import format_number

# A reading with blades 0.01 mm apart, anything between them being as likely (JCGM 100:2008, 4.3.7)
READING_UNCERTAINTY_MM = 0.01 / math.sqrt(12)
CONFIDENCE = 0.95
PER_USE = {"km": 10_000, "mi": 10_000, "h": 100}  # over how much use a change is told


class Course(StrEnum):
    """What the history shows, in the words shown."""

    TIGHTER = "getting tighter"
    LOOSER = "getting looser"
    NOTHING_SHOWN = "no change shown"
    TOO_LITTLE = "not enough history"


@dataclass(frozen=True)
class Span:
    """A figure with the ends of its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class TrendLine:
    """The clearance over use as fitted, with the shim or the setting of the last reading.

    One slope through all readings; the level is that of the last period.
    """

    slope_mm: float  # for one km, mile or hour
    slope_half_width_mm: float
    middle_use: float
    middle_mm: float
    middle_half_width_mm: float

    def at(self, use: float) -> Span:
        """The clearance [mm] there, with its 95 % interval."""
        away = use - self.middle_use
        value = self.middle_mm + self.slope_mm * away
        half = math.hypot(self.middle_half_width_mm, self.slope_half_width_mm * away)
        return Span(value, value - half, value + half)


@dataclass(frozen=True)
class Trend:
    """The course of one clearance, as far as its history shows one."""

    course: Course
    count: int  # readings it rests on
    points: int  # distances or hours they were taken at
    use_unit: str
    last_use: float = math.nan
    change_mm: Span | None = None  # over PER_USE of km, mi or h; None where there is too little
    limit_mm: float | None = None  # the limit it moves towards
    reached_at: Span | None = None  # the distance or hours at which it gets there
    line: TrendLine | None = None

    @property
    def sentence(self) -> str:
        return self.told()

    def told(self, lengths: LengthFormatter = IN_MM) -> str:
        """The course in a sentence, its lengths as ``lengths`` writes them."""
        if self.change_mm is None:
            return (
                f"Not enough history: {self.count} reading{'' if self.count == 1 else 's'} at {self.points} "
                f"point{'' if self.points == 1 else 's'} do not show how it moves."
            )
        change, half = self.change_mm.value, self.change_mm.high - self.change_mm.value
        use = f"{format_number(PER_USE[self.use_unit])} {self.use_unit}"
        per = f"± {lengths.format_change(half)} {lengths.unit} per {use}"
        if self.course is Course.NOTHING_SHOWN:
            slope = lengths.format_change(change, signed=True)
            return f"No change shown over {self.count} readings ({slope} {per})."
        slope = lengths.format_change(abs(change))
        return f"{self.course.value.capitalize()} by {slope} {per}; {self._reached(lengths)}"

    def _reached(self, lengths: LengthFormatter) -> str:
        assert self.limit_mm is not None and self.reached_at is not None  # it moves towards one
        limit, reached = f"the limit of {lengths(self.limit_mm)}", self.reached_at
        if reached.value <= self.last_use:
            return f"{limit} is reached."
        at, low, high = map(format_number, (reached.value, max(reached.low, self.last_use), reached.high))
        return f"{limit} is reached at about {at} {self.use_unit} (95 %: {low} to {high} {self.use_unit})."


def trend(
    use: Sequence[float],
    clearance_mm: Sequence[float],
    low_mm: Millimetres,
    high_mm: Millimetres,
    *,
    shim_mm: Sequence[float] | None = None,
    use_unit: str = "km",
) -> Trend:
    """The course of one valve's clearance, adjustments taken out.

    Parameters
    ----------
    use : sequence of n floats
        Distance or engine hours of each reading, in the order of measuring: as found, then as left.
    clearance_mm : sequence of n floats
        NaN was not measured and is left out.
    low_mm, high_mm : float or Decimal
        The range.
    shim_mm : sequence of n floats, optional
        The shim fitted at each reading; NaN where unknown. What wear changes is shim and clearance
        together. Where a shim is unknown, two readings at the same distance are taken to have an
        adjustment between them.
    use_unit : str
        ``'km'``, ``'mi'`` or ``'h'``, for the sentence.

    Returns
    -------
    Trend
        With 95 % intervals by Student's t, the scatter never taken for less than the blades' own
        uncertainty, and that of the limit by Fieller [1]_.

    Raises
    ------
    ValueError
        The sequences differ in length, the distance runs backwards, the range is upside down, or the
        unit of use is another.
    """
    check_range(low_mm, high_mm)
    if use_unit not in PER_USE:
        raise ValueError(f"A clearance is followed over km, mi or h, not over '{use_unit}'.")
    x, y, shims = _arrays(use, clearance_mm, shim_mm)
    line = _fit(x, y, shims)
    count, points = len(x), len(np.unique(x))
    if line is None:
        return Trend(Course.TOO_LITTLE, count, points, use_unit)
    per = PER_USE[use_unit]
    slope, half = line.slope_mm * per, line.slope_half_width_mm * per
    change, last_use = Span(slope, slope - half, slope + half), float(x[-1])
    if abs(slope) <= half:
        return Trend(Course.NOTHING_SHOWN, count, points, use_unit, last_use, change, line=line)
    course, limit_mm = (Course.TIGHTER, float(low_mm)) if slope < 0 else (Course.LOOSER, float(high_mm))
    return Trend(course, count, points, use_unit, last_use, change, limit_mm, _meets(line, limit_mm), line)


def as_set_now(
    use: Sequence[float], clearance_mm: Sequence[float], shim_mm: Sequence[float] | None = None
) -> list[float]:
    """Each reading as it would have been with the shim, or the setting, of the last one.

    Parameters
    ----------
    use, clearance_mm, shim_mm
        As for :func:`trend`.

    Returns
    -------
    list of n floats
        [mm]. Where shims are known, their difference is taken out exactly; else the step from period
        to period that the common slope leaves. NaN was not measured, or can't be told: shims unknown,
        and too little history for a slope.

    Raises
    ------
    ValueError
        As for :func:`trend`.
    """
    x, y, shims = _arrays(use, clearance_mm, shim_mm)
    told = np.full(len(use), np.nan)
    if len(x) == 0:
        return told.tolist()
    total, period = y + np.nan_to_num(shims), _periods(x, shims)
    line = _fit(x, y, shims)
    last = period == period[-1]
    now = np.where(last, total - np.nan_to_num(shims[-1]), np.nan)
    if line is not None:
        sizes = np.bincount(period)
        fitted_mm = line.middle_mm + line.slope_mm * (np.bincount(period, x) / sizes - line.middle_use)
        shifted = total + (fitted_mm - np.bincount(period, total) / sizes)[period]
        now = np.where(last, now, shifted)
    told[_measured(use, clearance_mm)] = now
    return told.tolist()


def _arrays(
    use: Sequence[float], clearance_mm: Sequence[float], shim_mm: Sequence[float] | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    x, y = np.asarray(use, dtype=np.float64), np.asarray(clearance_mm, dtype=np.float64)
    shims = np.full_like(x, np.nan) if shim_mm is None else np.asarray(shim_mm, dtype=np.float64)
    if not x.shape == y.shape == shims.shape:
        raise ValueError("Every clearance needs its distance, and a shim or a gap where it is unknown.")
    measured = _measured(use, clearance_mm)
    x, y, shims = x[measured], y[measured], shims[measured]
    if np.any(np.diff(x) < 0):
        raise ValueError("The distance runs backwards between two readings: check the odometer entries.")
    return x, y, shims


def _measured(use: Sequence[float], clearance_mm: Sequence[float]) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = np.isfinite(np.asarray(use, dtype=float)) & np.isfinite(
        np.asarray(clearance_mm, dtype=float)
    )
    return found


def _periods(use: NDArray[np.float64], shims: NDArray[np.float64]) -> NDArray[np.intp]:
    """Number of the period each reading belongs to: within one, nothing unknown was adjusted."""
    unknown = np.isnan(shims)
    either_unknown = unknown[1:] | unknown[:-1]
    same_job = np.diff(use) == 0
    begins = (either_unknown & same_job) | (unknown[1:] != unknown[:-1])
    return np.concatenate([[0], np.cumsum(begins)]).astype(np.intp)[: len(use)]


def _fit(
    x: NDArray[np.float64], clearance_mm: NDArray[np.float64], shims: NDArray[np.float64]
) -> TrendLine | None:
    if len(x) == 0:
        return None
    y, period = clearance_mm + np.nan_to_num(shims), _periods(x, shims)
    sizes = np.bincount(period)
    mean_x, mean_y = np.bincount(period, x) / sizes, np.bincount(period, y) / sizes
    dx, dy = x - mean_x[period], y - mean_y[period]
    spread = float(dx @ dx)
    free = len(x) - len(sizes) - 1
    if free < 1 or spread == 0:
        return None
    from scipy.stats import t

    slope = float(dx @ dy) / spread
    rest = dy - slope * dx
    scatter = max(math.sqrt(float(rest @ rest) / free), READING_UNCERTAINTY_MM)
    reach = float(t.ppf((1 + CONFIDENCE) / 2, free)) * scatter
    return TrendLine(
        slope,
        reach / math.sqrt(spread),
        float(mean_x[-1]),
        float(mean_y[-1]) - float(np.nan_to_num(shims[-1])),
        reach / math.sqrt(sizes[-1]),
    )


def _meets(line: TrendLine, level_mm: float) -> Span:
    """Where the line meets a level; the slope is known not to be zero, so the interval is bounded."""
    gap = level_mm - line.middle_mm
    a = line.slope_mm**2 - line.slope_half_width_mm**2
    root = math.sqrt(line.middle_half_width_mm**2 * a + line.slope_half_width_mm**2 * gap**2)
    ends = sorted(line.middle_use + (line.slope_mm * gap + sign * root) / a for sign in (-1, 1))
    return Span(line.middle_use + gap / line.slope_mm, ends[0], ends[1])
