"""Trend of a valve clearance over distance or engine hours, and when it reaches its limit."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from jobs.calc.clearances.readings import FEELER_STEP_MM, Millimetres, Reading, check_range
from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.calc.units.numbers import format_number
from jobs.calc.wording import gettext as _
from jobs.calc.wording import ngettext

# Readings cannot scatter less than the finest pair of blades allows.
READING_UNCERTAINTY_MM = Reading(goes_mm=0, not_goes_mm=FEELER_STEP_MM[0]).standard_uncertainty_mm
CONFIDENCE = 0.95
PER_USE = {"km": 10_000, "mi": 10_000, "h": 100}  # distance or hours over which a change is stated


class TrendVerdict(StrEnum):
    """Verdict on a trend; the value is the text shown."""

    TIGHTER = "getting tighter"
    LOOSER = "getting looser"
    NO_CHANGE_SHOWN = "no clear change"
    TOO_LITTLE = "not enough history"

    @property
    def is_moving(self) -> bool:
        return self in (TrendVerdict.TIGHTER, TrendVerdict.LOOSER)


@dataclass(frozen=True)
class Interval:
    """A value with the ends of its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class TrendLine:
    """Fitted line of clearance over use, at the level of the last shim or setting.

    Attributes
    ----------
    slope_mm, slope_half_width_mm : float
        Change [mm per km, mi or h] and its 95 % half-width.
    middle_use : float
        Mean use of the last period [km, mi or h].
    middle_mm, middle_half_width_mm : float
        Clearance there and its 95 % half-width [mm].
    """

    slope_mm: float
    slope_half_width_mm: float
    middle_use: float
    middle_mm: float
    middle_half_width_mm: float

    def predict(self, use: float) -> Interval:
        """Return the clearance at this use with its 95 % interval [mm]."""
        distance = use - self.middle_use
        value = self.middle_mm + self.slope_mm * distance
        half = math.hypot(self.middle_half_width_mm, self.slope_half_width_mm * distance)
        return Interval(value, value - half, value + half)


@dataclass(frozen=True)
class Trend:
    """Trend of one clearance, as far as its history shows one.

    Attributes
    ----------
    verdict : TrendVerdict
    count, points : int
        Readings used, and distances or hours they were taken at.
    use_unit : str
        ``'km'``, ``'mi'`` or ``'h'``.
    last_use : float
        Use at the last reading [use_unit].
    change_mm : Interval or None
        Change over 10 000 km or mi, or 100 h [mm]; None if there is too little history.
    limit_mm : float or None
        The limit the clearance moves towards [mm].
    reached_at : Interval or None
        Use at which it reaches that limit [use_unit].
    line : TrendLine or None
    """

    verdict: TrendVerdict
    count: int
    points: int
    use_unit: str
    last_use: float = math.nan
    change_mm: Interval | None = None
    limit_mm: float | None = None
    reached_at: Interval | None = None
    line: TrendLine | None = None

    def describe(self, lengths: LengthFormatter = IN_MM) -> str:
        """Return the trend as a sentence, its lengths written by ``lengths``."""
        if self.change_mm is None:
            readings = ngettext("%(count)s reading", "%(count)s readings", self.count)
            points = ngettext(
                "%(count)s odometer or hour reading", "%(count)s odometer or hour readings", self.points
            )
            text = (
                _("No trend yet: %(readings)s, all at the same odometer or hour reading.")
                if self.points == 1 and self.count > 1
                else _("No trend yet: %(readings)s at %(points)s.")
            )
            return text % {
                "readings": readings % {"count": self.count},
                "points": points % {"count": self.points},
            }
        change, half = self.change_mm.value, self.change_mm.high - self.change_mm.value
        values = {
            "count": self.count,
            "half": lengths.format_change(half),
            "unit": lengths.unit,
            "use": f"{format_number(PER_USE[self.use_unit])} {self.use_unit}",
        }
        if not self.verdict.is_moving:
            values["slope"] = lengths.format_change(change, signed=True)
            text = _("No clear change over %(count)s readings (%(slope)s ± %(half)s %(unit)s per %(use)s).")
            return text % values
        values |= {"slope": lengths.format_change(abs(change)), "limit": self._describe_limit(lengths)}
        if self.verdict is TrendVerdict.TIGHTER:
            text = _("Getting tighter by %(slope)s ± %(half)s %(unit)s per %(use)s; %(limit)s")
        else:
            text = _("Getting looser by %(slope)s ± %(half)s %(unit)s per %(use)s; %(limit)s")
        return text % values

    def _describe_limit(self, lengths: LengthFormatter) -> str:
        assert self.limit_mm is not None and self.reached_at is not None  # it moves towards one
        limit, reached = lengths(self.limit_mm), self.reached_at
        if reached.value <= self.last_use:
            return _("the limit of %(limit)s is reached.") % {"limit": limit}
        at, low, high = map(format_number, (reached.value, max(reached.low, self.last_use), reached.high))
        text = _("reaches %(limit)s at about %(at)s %(unit)s (95 %% interval %(low)s to %(high)s %(unit)s).")
        return text % {"limit": limit, "at": at, "low": low, "high": high, "unit": self.use_unit}


def compute_trend(
    use: Sequence[float],
    clearance_mm: Sequence[float],
    low_mm: Millimetres,
    high_mm: Millimetres,
    *,
    shim_mm: Sequence[float] | None = None,
    half_width_mm: Sequence[float] | None = None,
    use_unit: str = "km",
) -> Trend:
    """Compute the trend of one valve's clearance with adjustments removed.

    Parameters
    ----------
    use : sequence of float, (n,)
        Distance or engine hours of each reading [use_unit], in the order of measuring: as found, then as
        left.
    clearance_mm : sequence of float, (n,)
        Clearances [mm]; NaN is not measured and not used.
    low_mm, high_mm : float or Decimal
        The range [mm].
    shim_mm : sequence of float, (n,), optional
        Shim fitted at each reading [mm]; NaN if unknown.
    half_width_mm : sequence of float, (n,), optional
        Half the width of each bracket of blades [mm]; 0 for a value.
    use_unit : str
        ``'km'``, ``'mi'`` or ``'h'``.

    Returns
    -------
    Trend
        The verdict with 95 % intervals.

    Raises
    ------
    ValueError
        Sequences of different length, use that runs backwards, lower limit above the upper one, or another
        unit of use.

    Notes
    -----
    Wear changes shim and clearance together, so y = clearance + shim is fitted. If a shim is unknown, two
    readings at the same use have an adjustment between them and start a new period. One slope through all
    periods, each with its own level, by least squares: b = Σ dx·dy / Σ dx². Its half-width is t·s/√Σdx² with
    n − periods − 1 degrees of freedom, s never below the uncertainty of a pair of blades 0.01 mm apart
    [2]_, nor below the mean one of the blades that were used. A clearance that has moved by no more than one
    step of the blades is between the same ones again and again: there the half-widths are no smaller than the
    blades can be off all the way, h·Σ|dx|/Σdx² of the slope and h of the level. A change is shown if |b|
    exceeds its half-width. The interval of the use at which the line reaches the limit is Fieller's [1]_.

    References
    ----------
    .. [1] E. C. Fieller, "Some problems in interval estimation", J. R. Stat. Soc. B 16 (1954), 175-185.
    .. [2] JCGM 100:2008, 4.3.7: standard uncertainty of a rectangular distribution.
    """
    check_range(low_mm, high_mm)
    if use_unit not in PER_USE:
        raise ValueError(f"A clearance is followed over km, mi or h, not over '{use_unit}'.")
    x, y, shims = _as_arrays(use, clearance_mm, shim_mm)
    halves = np.zeros(len(use)) if half_width_mm is None else np.asarray(half_width_mm, dtype=float)
    if len(halves) != len(use):
        raise ValueError("Every clearance needs the width of its bracket, 0 for a value.")
    line = _fit(x, y, shims, halves[_is_measured(use, clearance_mm)])
    count, points = len(x), len(np.unique(x))
    if line is None:
        return Trend(TrendVerdict.TOO_LITTLE, count, points, use_unit)
    per = PER_USE[use_unit]
    slope, half = line.slope_mm * per, line.slope_half_width_mm * per
    change, last_use = Interval(slope, slope - half, slope + half), float(x[-1])
    if abs(slope) <= half:
        return Trend(TrendVerdict.NO_CHANGE_SHOWN, count, points, use_unit, last_use, change, line=line)
    verdict, limit_mm = (
        (TrendVerdict.TIGHTER, float(low_mm)) if slope < 0 else (TrendVerdict.LOOSER, float(high_mm))
    )
    reached_at = _find_crossing(line, limit_mm)
    return Trend(verdict, count, points, use_unit, last_use, change, limit_mm, reached_at, line)


def adjust_to_current_setting(
    use: Sequence[float], clearance_mm: Sequence[float], shim_mm: Sequence[float] | None = None
) -> list[float]:
    """Adjust each reading to the shim or setting of the last one.

    Parameters
    ----------
    use : sequence of float, (n,)
        Distance or engine hours of each reading [km, mi or h], in the order of measuring.
    clearance_mm : sequence of float, (n,)
        Clearances [mm]; NaN is not measured.
    shim_mm : sequence of float, (n,), optional
        Shim fitted at each reading [mm]; NaN if unknown.

    Returns
    -------
    list of float, (n,)
        Adjusted clearances [mm]; NaN if not measured, or if shims are unknown and the history is too short
        for a slope.

    Raises
    ------
    ValueError
        Sequences of different length, or use that runs backwards.

    Notes
    -----
    With known shims: clearance + shim − last shim, exact. Otherwise each period is shifted onto the line of
    the common slope (`compute_trend`). Source: geometry of the shim.
    """
    x, y, shims = _as_arrays(use, clearance_mm, shim_mm)
    adjusted = np.full(len(use), np.nan)
    if len(x) == 0:
        return adjusted.tolist()
    total, period = y + np.nan_to_num(shims), _number_periods(x, shims)
    line = _fit(x, y, shims, np.zeros(len(x)))
    in_last = period == period[-1]
    current = np.where(in_last, total - np.nan_to_num(shims[-1]), np.nan)
    if line is not None:
        sizes = np.bincount(period)
        fitted_mm = line.middle_mm + line.slope_mm * (np.bincount(period, x) / sizes - line.middle_use)
        shifted = total + (fitted_mm - np.bincount(period, total) / sizes)[period]
        current = np.where(in_last, current, shifted)
    adjusted[_is_measured(use, clearance_mm)] = current
    return adjusted.tolist()


def _as_arrays(
    use: Sequence[float], clearance_mm: Sequence[float], shim_mm: Sequence[float] | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the measured readings as arrays of use, clearance and shim."""
    x, y = np.asarray(use, dtype=np.float64), np.asarray(clearance_mm, dtype=np.float64)
    shims = np.full_like(x, np.nan) if shim_mm is None else np.asarray(shim_mm, dtype=np.float64)
    if not x.shape == y.shape == shims.shape:
        raise ValueError(
            "Each clearance needs a distance or hours, and its shim (NaN if the shim is unknown)."
        )
    measured = _is_measured(use, clearance_mm)
    x, y, shims = x[measured], y[measured], shims[measured]
    if np.any(np.diff(x) < 0):
        raise ValueError("The odometer goes down between two readings. Check the odometer entries.")
    return x, y, shims


def _is_measured(use: Sequence[float], clearance_mm: Sequence[float]) -> NDArray[np.bool_]:
    measured: NDArray[np.bool_] = np.isfinite(np.asarray(use, dtype=float)) & np.isfinite(
        np.asarray(clearance_mm, dtype=float)
    )
    return measured


def _number_periods(use: NDArray[np.float64], shims: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the number of each reading's period; within one, no unknown adjustment was made."""
    unknown = np.isnan(shims)
    either_unknown = unknown[1:] | unknown[:-1]
    same_job = np.diff(use) == 0
    begins = (either_unknown & same_job) | (unknown[1:] != unknown[:-1])
    return np.concatenate([[0], np.cumsum(begins)]).astype(np.intp)[: len(use)]


def _fit(
    x: NDArray[np.float64],
    clearance_mm: NDArray[np.float64],
    shims: NDArray[np.float64],
    half_widths: NDArray[np.float64],
) -> TrendLine | None:
    """Fit one slope through all periods, or return None if there are too few readings."""
    if len(x) == 0:
        return None
    y, period = clearance_mm + np.nan_to_num(shims), _number_periods(x, shims)
    sizes = np.bincount(period)
    mean_x, mean_y = np.bincount(period, x) / sizes, np.bincount(period, y) / sizes
    dx, dy = x - mean_x[period], y - mean_y[period]
    spread = float(dx @ dx)
    freedom = len(x) - len(sizes) - 1
    if freedom < 1 or spread == 0:
        return None
    from scipy.stats import t

    slope = float(dx @ dy) / spread
    residuals = dy - slope * dx
    of_blades = math.sqrt(float(np.mean(np.square(half_widths))) / 3)
    scatter = max(math.sqrt(float(residuals @ residuals) / freedom), READING_UNCERTAINTY_MM, of_blades)
    half_width = float(t.ppf((1 + CONFIDENCE) / 2, freedom)) * scatter
    of_slope, of_level = half_width / math.sqrt(spread), half_width / math.sqrt(sizes[-1])
    blades = float(np.max(half_widths))
    if float(np.ptp(dy)) <= 2 * blades + 1e-9:
        of_slope = max(of_slope, blades * float(np.abs(dx).sum()) / spread)
        of_level = max(of_level, blades)
    level = float(mean_y[-1]) - float(np.nan_to_num(shims[-1]))
    return TrendLine(slope, of_slope, float(mean_x[-1]), level, of_level)


def _find_crossing(line: TrendLine, level_mm: float) -> Interval:
    """Return the use at which the line meets a level; the interval is bounded as the slope is not zero."""
    gap = level_mm - line.middle_mm
    a = line.slope_mm**2 - line.slope_half_width_mm**2
    root = math.sqrt(line.middle_half_width_mm**2 * a + line.slope_half_width_mm**2 * gap**2)
    ends = sorted(line.middle_use + (line.slope_mm * gap + sign * root) / a for sign in (-1, 1))
    return Interval(line.middle_use + gap / line.slope_mm, ends[0], ends[1])
