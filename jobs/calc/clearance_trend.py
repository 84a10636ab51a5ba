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

from jobs.calc.clearances import Millimetres, check_range, format_mm

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
class Trend:
    """The course of one clearance, as far as its history shows one."""

    course: Course
    count: int  # readings it rests on
    sentence: str
    change_mm: Span | None = None  # over PER_USE of km, mi or h; None where there is too little
    limit_mm: float | None = None  # the limit it moves towards
    reached_at: Span | None = None  # the distance or hours at which it gets there


@dataclass(frozen=True)
class _Line:
    """A common slope through periods of unlike level, and the last period's middle."""

    slope: float
    slope_half_width: float
    middle_use: float
    middle_mm: float
    middle_half_width: float


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
    line = _fit(x, y + np.nan_to_num(shims), _periods(x, shims))
    if line is None:
        points = len(np.unique(x))
        said = (
            f"Not enough history: {len(x)} reading{'' if len(x) == 1 else 's'} at {points} "
            f"point{'' if points == 1 else 's'} do not show how it moves."
        )
        return Trend(Course.TOO_LITTLE, len(x), said)
    per = PER_USE[use_unit]
    slope, half = line.slope * per, line.slope_half_width * per
    change = Span(slope, slope - half, slope + half)
    if abs(slope) <= half:
        said = (
            f"No change shown over {len(x)} readings ({slope:+.3f} ± {half:.3f} mm per {per:,} {use_unit})."
        )
        return Trend(Course.NOTHING_SHOWN, len(x), said, change)
    course, limit_mm = (Course.TIGHTER, float(low_mm)) if slope < 0 else (Course.LOOSER, float(high_mm))
    last_shim = 0.0 if math.isnan(shims[-1]) else float(shims[-1])
    reached = _meets(line, limit_mm + last_shim)
    said = (
        f"{course.value.capitalize()} by {abs(slope):.3f} ± {half:.3f} mm per {per:,} {use_unit}; "
        f"{_when(reached, float(x[-1]), limit_mm, use_unit)}"
    )
    return Trend(course, len(x), said, change, limit_mm, reached)


def _arrays(
    use: Sequence[float], clearance_mm: Sequence[float], shim_mm: Sequence[float] | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    x, y = np.asarray(use, dtype=np.float64), np.asarray(clearance_mm, dtype=np.float64)
    shims = np.full_like(x, np.nan) if shim_mm is None else np.asarray(shim_mm, dtype=np.float64)
    if not x.shape == y.shape == shims.shape:
        raise ValueError("Every clearance needs its distance, and a shim or a gap where it is unknown.")
    measured = np.isfinite(x) & np.isfinite(y)
    x, y, shims = x[measured], y[measured], shims[measured]
    if np.any(np.diff(x) < 0):
        raise ValueError("The distance runs backwards between two readings: check the odometer entries.")
    return x, y, shims


def _periods(use: NDArray[np.float64], shims: NDArray[np.float64]) -> NDArray[np.intp]:
    """Number of the period each reading belongs to: within one, nothing unknown was adjusted."""
    unknown = np.isnan(shims)
    either_unknown = unknown[1:] | unknown[:-1]
    same_job = np.diff(use) == 0
    begins = (either_unknown & same_job) | (unknown[1:] != unknown[:-1])
    return np.concatenate([[0], np.cumsum(begins)]).astype(np.intp)[: len(use)]


def _fit(x: NDArray[np.float64], y: NDArray[np.float64], period: NDArray[np.intp]) -> _Line | None:
    if len(x) == 0:
        return None
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
    return _Line(
        slope,
        reach / math.sqrt(spread),
        float(mean_x[-1]),
        float(mean_y[-1]),
        reach / math.sqrt(sizes[-1]),
    )


def _meets(line: _Line, level_mm: float) -> Span:
    """Where the line meets a level; the slope is known not to be zero, so the interval is bounded."""
    gap = level_mm - line.middle_mm
    a = line.slope**2 - line.slope_half_width**2
    root = math.sqrt(line.middle_half_width**2 * a + line.slope_half_width**2 * gap**2)
    ends = sorted(line.middle_use + (line.slope * gap + sign * root) / a for sign in (-1, 1))
    return Span(line.middle_use + gap / line.slope, ends[0], ends[1])


def _when(reached: Span, last_use: float, limit_mm: float, use_unit: str) -> str:
    limit = f"the limit of {format_mm(limit_mm)} mm"
    if reached.value <= last_use:
        return f"{limit} is reached."
    span = f"{max(reached.low, last_use):,.0f} to {reached.high:,.0f} {use_unit}"
    return f"{limit} is reached at about {reached.value:,.0f} {use_unit} (95 %: {span})."
