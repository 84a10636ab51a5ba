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
from jobs.clearances.places import Place
from jobs.clearances.trend import ClearanceHistory, FollowedReading, PlaceCourse, PlaceHistory
from workshop.models import ClearanceKind, ShopProfile, Side
from workshop.units.display import convert, label

LINE_POINTS = 25
SAME_MM = 1e-6
DIGITS = {"mm": 3, "in": 4}
ROOM = 0.12  # of a panel's height, above and below
SIDE_ROOM = 0.03  # of its width, before the first reading and after the last
LEAST_HEIGHT_MM = 0.05
MARGIN = 0.05  # of the history's length, beyond the last crossing


@dataclass(frozen=True)
class CoursePoint:
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
class Crossing:
    """Where a line meets its limit: the ends of its 95 % interval."""

    use: float
    low: float
    high: float
    limit: float


@dataclass(frozen=True)
class ValveCourse:
    """One valve in a panel: its readings, its line if there is enough history, and its description."""

    name: str  # 'left'; 'valve' where a side has but one
    label: str  # 'cylinder 1, intake left'
    points: Sequence[CoursePoint]
    line: Sequence[LinePoint]
    crossing: Crossing | None  # None too where it lies further ahead than the history is long
    sentence: str


@dataclass(frozen=True)
class CoursePanel:
    """The valves of one side of one cylinder; limits None if the engine spec has none."""

    title: str
    low: float | None
    high: float | None
    target: float | None
    valves: Sequence[ValveCourse]
    shown_from: float  # of the clearance; the same for this side of all cylinders, so that they compare
    shown_to: float


@dataclass(frozen=True)
class CourseChart:
    """The chart of a bike's clearances."""

    use_label: str  # 'odometer' or 'engine hours'
    use_unit: str  # as printed
    clearance_unit: str  # as printed
    digits: int
    panels: Sequence[CoursePanel]  # intake and exhaust of a cylinder one after the other
    shown_from: float  # of the use
    shown_to: float
    left_out: int  # readings of which it can't be told what they would be with the setting of now


@dataclass(frozen=True)
class _Follows:
    """One gap with its readings as they would be with the present shim or setting, in mm."""

    place: Place
    course: PlaceCourse
    now_mm: list[float]


def courses_of(history: ClearanceHistory, shop: ShopProfile) -> CourseChart | None:
    """Build the chart of a bike's clearances, or None without a reading at a known distance or hour."""
    units = [row.course.unit for row in history.rows if row.course.unit]
    unit = shop.distance_unit if shop.distance_unit in units else "h"
    followed = [_followed(row) for row in history.rows if row.course.unit == unit]
    drawn = [reading.use for each in followed for reading, _ in _drawn(each)]
    if not drawn:
        return None
    until = _until(followed, min(drawn), max(drawn))
    room = SIDE_ROOM * (until - min(drawn)) or 1.0
    heights = _heights(followed, until)
    panels = [_panel(group, until, heights[_side(group[0])], shop.length_unit) for group in _groups(followed)]
    return CourseChart(
        use_label="engine hours" if unit == "h" else "odometer",
        use_unit=label(unit),
        clearance_unit=label(shop.length_unit),
        digits=DIGITS[shop.length_unit],
        panels=panels,
        shown_from=min(drawn) - room,
        shown_to=max(until, max(drawn) + room),
        left_out=sum(len(each.now_mm) for each in followed) - len(drawn),
    )


def _followed(row: PlaceHistory) -> _Follows:
    readings = row.course.readings
    try:
        now_mm = adjust_to_current_setting(
            [each.use for each in readings],
            [each.measured.reading.best_mm for each in readings],
            [each.shim_mm for each in readings],
        )
    except ValueError:  # the course says why in its sentence
        now_mm = [math.nan] * len(readings)
    return _Follows(row.place, row.course, now_mm)


def _drawn(each: _Follows) -> list[tuple[FollowedReading, float]]:
    pairs = zip(each.course.readings, each.now_mm, strict=True)
    return [(reading, now_mm) for reading, now_mm in pairs if math.isfinite(now_mm)]


def _until(followed: Iterable[_Follows], first: float, last: float) -> float:
    """Return how far the lines go: past the crossings, but no further ahead than the history is long."""
    length = last - first
    trends = [each.course.trend for each in followed]
    crossed = [each.reached_at.value for each in trends if each and each.reached_at]
    return max([last, *(use + MARGIN * length for use in crossed if use <= last + length)])


def _side(each: _Follows) -> tuple[str, str]:
    return each.place.valve.side, each.place.gap.value


def _groups(followed: Iterable[_Follows]) -> list[list[_Follows]]:
    """Group the valves by panel, cylinder by cylinder, intake beside exhaust."""
    groups: dict[tuple[int, str, str], list[_Follows]] = {}
    for each in followed:
        side, gap = _side(each)
        groups.setdefault((each.place.valve.cylinder, gap, side), []).append(each)
    order = {side: at for at, side in enumerate((*ClearanceKind.values, *Side.values))}
    keys = sorted(groups, key=lambda key: (key[0], order[key[1]], order[key[2]]))
    return [groups[key] for key in keys]


def _heights(followed: Iterable[_Follows], until: float) -> dict[tuple[str, str], tuple[float, float]]:
    """Return each side's axis limits [mm]: all readings, limits and lines, with some room."""
    lengths: dict[tuple[str, str], list[float]] = {}
    for each in followed:
        limits = [float(end) for end in (each.place.low_mm, each.place.high_mm) if end is not None]
        line = [point.value for point in _line(each, until, "mm")]
        lengths.setdefault(_side(each), []).extend([*limits, *line, *(now_mm for _, now_mm in _drawn(each))])
    found = {}
    for side, all_mm in lengths.items():
        low, high = min(all_mm, default=0.0), max(all_mm, default=LEAST_HEIGHT_MM)
        room = ROOM * max(high - low, LEAST_HEIGHT_MM)
        found[side] = (low - room, high + room)
    return found


def _panel(group: Sequence[_Follows], until: float, height_mm: tuple[float, float], unit: str) -> CoursePanel:
    place = group[0].place
    low, high, target = (
        None if limit is None else _shown(float(limit), unit)
        for limit in (place.low_mm, place.high_mm, place.target_mm)
    )
    bottom, top = (_shown(end, unit) for end in height_mm)
    valves = [_valve(each, until, unit) for each in group]
    return CoursePanel(_title(place), low, high, target, valves, bottom, top)


def _title(place: Place) -> str:
    gap = f", {place.gap.value}" if place.names_gap else ""
    return f"cylinder {place.valve.cylinder}, {place.valve.side}{gap}"


def _valve(each: _Follows, until: float, unit: str) -> ValveCourse:
    valve = each.place.valve
    return ValveCourse(
        name=valve.label.rpartition(valve.side)[2].strip() or "valve",
        label=each.place.label,
        points=_points(each, unit),
        line=_line(each, until, unit),
        crossing=_crossing(each, until, unit),
        sentence=each.course.sentence,
    )


def _points(each: _Follows, unit: str) -> list[CoursePoint]:
    points = []
    for followed, now_mm in _drawn(each):
        reading = followed.measured.reading
        moved = now_mm - reading.best_mm
        value, low, high = (
            _shown(end, unit) for end in (now_mm, reading.low_mm + moved, reading.high_mm + moved)
        )
        points.append(CoursePoint(followed.use, value, low, high, abs(moved) < SAME_MM))
    return points


def _line(each: _Follows, until: float, unit: str) -> list[LinePoint]:
    trend = each.course.trend
    if trend is None or trend.line is None:
        return []
    uses = [reading.use for reading, _ in _drawn(each)]
    end = until if trend.reached_at else uses[-1]
    spots = sorted({*np.linspace(uses[0], end, LINE_POINTS).tolist(), *uses})
    spans = [(use, trend.line.predict(use)) for use in spots]
    return [
        LinePoint(use, *(_shown(part, unit) for part in (span.value, span.low, span.high)))
        for use, span in spans
    ]


def _crossing(each: _Follows, until: float, unit: str) -> Crossing | None:
    trend = each.course.trend
    if trend is None or trend.reached_at is None or trend.limit_mm is None:
        return None
    at, first = trend.reached_at, each.course.readings[0].use
    if not first <= at.value <= until:
        return None
    return Crossing(at.value, max(at.low, first), min(at.high, until), _shown(trend.limit_mm, unit))


def _shown(length_mm: float, unit: str) -> float:
    return float(convert(length_mm, "mm", unit))


# As js/charts.js and js/chart_limits.js draw it

MARKS = ("circle", "square", "triangle")


def page_chart(chart: CourseChart) -> dict[str, Any]:
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


def _page_panel(panel: CoursePanel, names: Sequence[str], chart: CourseChart) -> dict[str, Any]:
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


def _page_series(valve: ValveCourse, names: Sequence[str], digits: int) -> list[dict[str, Any]]:
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
