"""Chart of a bike's clearances over distance or engine hours, in the shop's units.

Every reading is drawn as it would be with the present shim or setting, so that a line shows wear
alone and the limits beside it are those that count today.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from jobs.calc.clearances.trend import adjust_to_current_setting
from jobs.clearances.trend import ClearanceHistory, GapHistory, GapTrend, UsageReading
from jobs.clearances.valve_gaps import ValveGap
from workshop.models import ClearanceKind, ShopProfile, Side
from workshop.units.display import convert, label

LINE_POINTS = 25
SAME_MM = 1e-6
DIGITS = {"mm": 3, "in": 4}
ROOM = 0.12  # of a panel's height, above and below
SIDE_ROOM = 0.03  # of its width, before the first reading and after the last
MIN_HEIGHT_MM = 0.05
MARGIN = 0.05  # of the history's length, beyond the last crossing


@dataclass(frozen=True)
class TrendPoint:
    """One reading with the present shim or setting; ``as_measured`` if it was fitted already."""

    use: float
    value: float
    low: float  # of two blades, the one that goes
    high: float
    as_measured: bool


@dataclass(frozen=True)
class LinePoint:
    """The fitted line and its 95 % interval."""

    use: float
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class LimitCrossing:
    """95 % interval of the use at which a line meets its limit."""

    use: float
    low: float
    high: float
    limit: float


@dataclass(frozen=True)
class ValveTrend:
    """One valve in a panel: its readings, its line if there is enough history, and its description."""

    name: str  # 'left'; 'valve' if a side has only one
    label: str  # 'cylinder 1, intake left'
    points: Sequence[TrendPoint]
    line: Sequence[LinePoint]
    crossing: LimitCrossing | None  # also None if it lies too far ahead
    sentence: str


@dataclass(frozen=True)
class TrendPanel:
    """The valves of one side of one cylinder; limits None if the engine spec has none."""

    title: str
    low: float | None
    high: float | None
    target: float | None
    valves: Sequence[ValveTrend]
    shown_from: float  # of the clearance; the same for this side of all cylinders, so that they compare
    shown_to: float


@dataclass(frozen=True)
class TrendChart:
    """The chart of a bike's clearances."""

    use_label: str  # 'odometer' or 'engine hours'
    use_unit: str  # as printed
    clearance_unit: str  # as printed
    digits: int
    panels: Sequence[TrendPanel]  # intake and exhaust of a cylinder one after the other
    shown_from: float  # of the use
    shown_to: float
    not_drawn: int  # readings whose value at the present setting is unknown


@dataclass(frozen=True)
class _Curve:
    """One gap with its readings as they would be with the present shim or setting, in mm."""

    valve_gap: ValveGap
    gap_trend: GapTrend
    now_mm: list[float]


def build_trend_chart(history: ClearanceHistory, shop: ShopProfile) -> TrendChart | None:
    """Build the chart of a bike's clearances, or None without a reading at a known distance or hour."""
    units = [row.gap_trend.unit for row in history.rows if row.gap_trend.unit]
    unit = shop.distance_unit if shop.distance_unit in units else "h"
    curves = [_build_curve(row) for row in history.rows if row.gap_trend.unit == unit]
    drawn = [reading.use for curve in curves for reading, _ in _drawn_readings(curve)]
    if not drawn:
        return None
    until = _find_end(curves, min(drawn), max(drawn))
    room = SIDE_ROOM * (until - min(drawn)) or 1.0
    heights = _heights(curves, until)
    panels = [_panel(group, until, heights[_side(group[0])], shop.length_unit) for group in _groups(curves)]
    return TrendChart(
        use_label="engine hours" if unit == "h" else "odometer",
        use_unit=label(unit),
        clearance_unit=label(shop.length_unit),
        digits=DIGITS[shop.length_unit],
        panels=panels,
        shown_from=min(drawn) - room,
        shown_to=max(until, max(drawn) + room),
        not_drawn=sum(len(curve.now_mm) for curve in curves) - len(drawn),
    )


def _build_curve(row: GapHistory) -> _Curve:
    readings = row.gap_trend.readings
    try:
        now_mm = adjust_to_current_setting(
            [reading.use for reading in readings],
            [reading.measured.reading.best_mm for reading in readings],
            [reading.shim_mm for reading in readings],
        )
    except ValueError:  # the trend's sentence gives the reason
        now_mm = [math.nan] * len(readings)
    return _Curve(row.valve_gap, row.gap_trend, now_mm)


def _drawn_readings(curve: _Curve) -> list[tuple[UsageReading, float]]:
    pairs = zip(curve.gap_trend.readings, curve.now_mm, strict=True)
    return [(reading, now_mm) for reading, now_mm in pairs if math.isfinite(now_mm)]


def _find_end(curves: Iterable[_Curve], first: float, last: float) -> float:
    """Return how far the lines go: past the crossings, but no further ahead than the history is long."""
    length = last - first
    trends = [curve.gap_trend.trend for curve in curves]
    crossed = [trend.reached_at.value for trend in trends if trend and trend.reached_at]
    return max([last, *(use + MARGIN * length for use in crossed if use <= last + length)])


def _side(curve: _Curve) -> tuple[str, str]:
    return curve.valve_gap.valve.side, curve.valve_gap.gap.value


def _groups(curves: Iterable[_Curve]) -> list[list[_Curve]]:
    """Group the valves by panel, cylinder by cylinder, intake beside exhaust."""
    groups: dict[tuple[int, str, str], list[_Curve]] = {}
    for curve in curves:
        side, gap = _side(curve)
        groups.setdefault((curve.valve_gap.valve.cylinder, gap, side), []).append(curve)
    order = {side: at for at, side in enumerate((*ClearanceKind.values, *Side.values))}
    keys = sorted(groups, key=lambda key: (key[0], order[key[1]], order[key[2]]))
    return [groups[key] for key in keys]


def _heights(curves: Iterable[_Curve], until: float) -> dict[tuple[str, str], tuple[float, float]]:
    """Return each side's axis limits [mm]: all readings, limits and lines, with some room."""
    lengths: dict[tuple[str, str], list[float]] = {}
    for curve in curves:
        limits = [float(end) for end in (curve.valve_gap.low_mm, curve.valve_gap.high_mm) if end is not None]
        line = [point.value for point in _line(curve, until, "mm")]
        lengths.setdefault(_side(curve), []).extend(
            [*limits, *line, *(now_mm for _, now_mm in _drawn_readings(curve))]
        )
    found = {}
    for side, all_mm in lengths.items():
        low, high = min(all_mm, default=0.0), max(all_mm, default=MIN_HEIGHT_MM)
        room = ROOM * max(high - low, MIN_HEIGHT_MM)
        found[side] = (low - room, high + room)
    return found


def _panel(group: Sequence[_Curve], until: float, height_mm: tuple[float, float], unit: str) -> TrendPanel:
    valve_gap = group[0].valve_gap
    low, high, target = (
        None if limit is None else _shown(float(limit), unit)
        for limit in (valve_gap.low_mm, valve_gap.high_mm, valve_gap.target_mm)
    )
    bottom, top = (_shown(end, unit) for end in height_mm)
    valves = [_valve(curve, until, unit) for curve in group]
    return TrendPanel(_title(valve_gap), low, high, target, valves, bottom, top)


def _title(valve_gap: ValveGap) -> str:
    gap = f", {valve_gap.gap.value}" if valve_gap.names_gap else ""
    return f"cylinder {valve_gap.valve.cylinder}, {valve_gap.valve.side}{gap}"


def _valve(curve: _Curve, until: float, unit: str) -> ValveTrend:
    valve = curve.valve_gap.valve
    return ValveTrend(
        name=valve.label.rpartition(valve.side)[2].strip() or "valve",
        label=curve.valve_gap.label,
        points=_points(curve, unit),
        line=_line(curve, until, unit),
        crossing=_crossing(curve, until, unit),
        sentence=curve.gap_trend.sentence,
    )


def _points(curve: _Curve, unit: str) -> list[TrendPoint]:
    points = []
    for used, now_mm in _drawn_readings(curve):
        reading = used.measured.reading
        moved = now_mm - reading.best_mm
        value, low, high = (
            _shown(end, unit) for end in (now_mm, reading.low_mm + moved, reading.high_mm + moved)
        )
        points.append(TrendPoint(used.use, value, low, high, abs(moved) < SAME_MM))
    return points


def _line(curve: _Curve, until: float, unit: str) -> list[LinePoint]:
    trend = curve.gap_trend.trend
    if trend is None or trend.line is None:
        return []
    uses = [reading.use for reading, _ in _drawn_readings(curve)]
    end = until if trend.reached_at else uses[-1]
    spots = sorted({*np.linspace(uses[0], end, LINE_POINTS).tolist(), *uses})
    spans = [(use, trend.line.predict(use)) for use in spots]
    return [
        LinePoint(use, *(_shown(part, unit) for part in (span.value, span.low, span.high)))
        for use, span in spans
    ]


def _crossing(curve: _Curve, until: float, unit: str) -> LimitCrossing | None:
    trend = curve.gap_trend.trend
    if trend is None or trend.reached_at is None or trend.limit_mm is None:
        return None
    at, first = trend.reached_at, curve.gap_trend.readings[0].use
    if not first <= at.value <= until:
        return None
    return LimitCrossing(at.value, max(at.low, first), min(at.high, until), _shown(trend.limit_mm, unit))


def _shown(length_mm: float, unit: str) -> float:
    return float(convert(length_mm, "mm", unit))


# As js/charts.js and js/chart_limits.js draw it

MARKS = ("circle", "square", "triangle")


def page_chart(chart: TrendChart) -> dict[str, Any]:
    """Return the chart as the page's scripts draw it."""
    names = list(dict.fromkeys(valve.name for panel in chart.panels for valve in panel.valves))
    return {
        "small": True,
        "x_label": chart.use_label,
        "x_unit": chart.use_unit,
        "x_digits": 1 if chart.use_unit == "h" else 0,
        "x_range": [chart.shown_from, chart.shown_to],
        "panels": [_page_panel(panel, names, chart) for panel in chart.panels],
    }


def _page_panel(panel: TrendPanel, names: Sequence[str], chart: TrendChart) -> dict[str, Any]:
    crossed = [(valve.name, valve.crossing) for valve in panel.valves if valve.crossing]
    return {
        "title": panel.title[:1].upper() + panel.title[1:],
        "y_label": "clearance",
        "y_unit": chart.clearance_unit,
        "digits": chart.digits,
        "y_range": [panel.shown_from, panel.shown_to],
        "range": None if panel.low is None or panel.high is None else [panel.low, panel.high],
        "level": panel.target,
        "series": [
            series for valve in panel.valves for series in _page_series(valve, names, chart.digits + 2)
        ],
        "crossings": [
            {"label": trend_label(name), "x": at.use, "low": at.low, "high": at.high, "y": at.limit}
            for name, at in crossed
        ],
    }


def _page_series(valve: ValveTrend, names: Sequence[str], digits: int) -> list[dict[str, Any]]:
    order = names.index(valve.name)
    read: dict[str, Any] = {
        "label": valve.name,
        "state": "other" if order else "after",
        "points": MARKS[order % len(MARKS)],
        "x": [point.use for point in valve.points],
        "y": [round(point.value, digits) for point in valve.points],
        "bars": [[round(point.low, digits), round(point.high, digits)] for point in valve.points],
        "hollow": [not point.as_measured for point in valve.points],
    }
    if not valve.line:
        return [read]
    line = {
        "label": trend_label(valve.name),
        "state": read["state"],
        "like": valve.name,
        "x": [point.use for point in valve.line],
        "y": [round(point.value, digits) for point in valve.line],
        "low": [round(point.low, digits) for point in valve.line],
        "high": [round(point.high, digits) for point in valve.line],
    }
    return [read, line]


def trend_label(name: str) -> str:
    return f"{name}, trend"
