"""Pictures of a sheet, drawn from its snapshot in the shop's units, with a description of each."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from jobs.calc.units.numbers import format_number
from jobs.clearances.facts import ClearanceFacts, JudgedReadingFacts, ValveFacts
from jobs.comparisons.facts import ComparedValueFacts, ComparisonFacts, CurvesFacts
from jobs.job.facts import ChartFacts
from jobs.job.sentences import lower_first, lower_noun, upper_first
from jobs.throttle.facts import BrakingFacts, ModeFacts, ThrottleTableFacts, TorqueFacts
from reports.drawing.paper import (
    ALERT,
    BEFORE_STYLE,
    INK,
    MORE_STYLES,
    NOW,
    NOW_STYLE,
    RULE,
    SOFT,
    TINT,
    WAS,
    Drawing,
    Scale,
    thinned,
)
from reports.handover.snapshot.schema import UnitFacts
from workshop.units.display import convert, label

WIDTH_MM, HALF_MM = 178.0, 86.0
MAX_MARKS = 24  # valves in one picture
ROW_MM = 4.3
WORDS_MM = 9.0  # for "too tight" or "too loose"
LETTER_MM, LINE_MM = 1.2, 2.6  # about the width of a letter of 6.6 pt, and the height of its line
MODES_IN_ROW = 3
MODE_MM = 40.0
LAMBDA_MARGIN = 0.02
VALVE = re.compile(r"cylinder (\S+), (\w+)(?: (\w+))?(?:, (opening|closing))?")


@dataclass(frozen=True)
class Picture:
    """An SVG with the name that the sheet refers to, its caption and its description."""

    name: str
    svg: str
    caption: str
    alt: str

    @property
    def address(self) -> str:
        return f"sheet:{self.name}.svg"


def in_unit(values: Sequence[float | None] | None, stored_unit: str, unit: str) -> list[float | None]:
    return [None if value is None else float(convert(value, stored_unit, unit)) for value in values or ()]


def limits(*curves: Sequence[float], margin: float = 0.06) -> tuple[float, float]:
    """Return the lowest and highest value of some curves with a margin."""
    values = [value for curve in curves for value in curve if math.isfinite(value)]
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    edge = margin * ((high - low) or abs(high) or 1.0)
    return low - edge, high + edge


# --- torque before and now


def torque_picture(
    comparison: ComparisonFacts,
    curves: CurvesFacts,
    order: int,
    units: UnitFacts,
    height_mm: float,
    *,
    now: str = "",
    shown: tuple[float, float, str] | None = None,
) -> Picture:
    """Draw torque before and now, and their difference beneath.

    Parameters
    ----------
    now : str
        What the second curve is called; by default that it is the bike now.
    shown : tuple, optional
        Band to mark [rpm] and what the difference is there, in words.
    """
    unit, now = units.torque_unit, now or _("Now")
    drawing = Drawing(WIDTH_MM, height_mm)
    strip_mm, head_mm, foot_mm, left, right = max(10.0, 0.24 * height_mm), 5.5, 5.0, 9.0, WIDTH_MM - 2
    difference = curves.torque_difference_nm
    given = (
        curves.before.torque_nm,
        curves.after.torque_nm,
        difference.mean,
        difference.low,
        difference.high,
    )
    rpm, before, after, mean, low, high = thinned(
        curves.engine_speed_rpm, *(in_unit(values, "nm", unit) for values in given), span_mm=right - left
    )
    x = Scale(min(rpm), max(rpm), left, right)
    y = Scale(*limits(before, after, margin=0.12), height_mm - foot_mm - strip_mm - 4, head_mm)
    under = Scale(*limits(low, high, mean, [0.0]), height_mm - foot_mm, height_mm - foot_mm - strip_mm)
    if shown:
        start, end, words = x(max(shown[0], min(rpm))), x(min(shown[1], max(rpm))), shown[2]
        drawing.box(start, head_mm, end - start, height_mm - head_mm - foot_mm, facecolor=TINT)
        middle = min(max((start + end) / 2, left + 40), right - 30)
        title = format_speeds(shown[0], shown[1])
        drawing.text(middle, head_mm - 1.2, title, size=7.5, bold=True, colour=INK, anchor="middle")
        drawing.text(middle, under.to_mm + 1.4, words, size=7.5, bold=True, colour=NOW, anchor="middle")
    places = [x(value) for value in rpm]
    drawing.y_axis(y, left)
    drawing.text(0, head_mm - 1.2, f"{label(unit)}")
    drawing.line(places, [y(value) for value in before], **BEFORE_STYLE)
    drawing.line(places, [y(value) for value in after], **NOW_STYLE)
    name_curves(drawing, places, [y(v) for v in before], [y(v) for v in after], now)
    drawing.band(places, [under(v) for v in low], [under(v) for v in high])
    drawing.line([left, right], [under(0), under(0)], color=INK, linewidth=0.7)
    drawing.line(places, [under(value) for value in mean], color=NOW, linewidth=1.3)
    drawing.y_axis(under, left, 3, signed=True)
    if not shown or x(shown[0]) > left + 36:
        drawing.text(left + 1, under.to_mm + 1.4, _("%(now)s less before") % {"now": now})
    drawing.x_axis(x, height_mm - foot_mm, 10, unit=_("rpm"))
    values = {"now": lower_first(now), "ends": format_speeds(min(rpm), max(rpm))}
    caption = (
        _("The lower strip is %(now)s less before, with its 95 %% band.")
        if curves.holds_everywhere
        else _("The lower strip is %(now)s less before, with its 95 %% interval.")
    )
    alt = _("Torque over engine speed, %(ends)s: before dashed, %(now)s solid, the difference beneath.")
    return Picture(
        f"torque-{order}",
        drawing.svg(),
        caption % values,
        f"{alt % values} {describe_bands(comparison)}".strip(),
    )


def format_speeds(from_rpm: float, to_rpm: float) -> str:
    ends = {"low": format_number(from_rpm), "high": format_number(to_rpm)}
    return _("%(low)s to %(high)s rpm") % ends


def blank_picture(height_mm: float) -> Picture:
    """Return an empty picture of a height, for a trial layout."""
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM}mm" height="{height_mm}mm"/>'
    return Picture("blank", svg, "", _("Torque before and now"))


def comparison_pictures(
    comparison: ComparisonFacts, order: int, units: UnitFacts, *, with_torque: bool
) -> list[Picture]:
    """Draw torque and lambda of a comparison, as far as it has them."""
    if comparison.curves is None:
        return []
    torque = (
        [torque_picture(comparison, comparison.curves, order, units, 56, now=_("After"))]
        if with_torque
        else []
    )
    mixture = lambda_picture(comparison, order, _("After"))
    return [*torque, *([mixture] if mixture else [])]


def name_curves(
    drawing: Drawing, x: list[float], before: list[float], now: list[float], label_now: str
) -> None:
    """Write the names beside the curves where these lie furthest apart, away from the edges."""
    inner = [
        at
        for at in range(len(x) // 6, len(x) * 5 // 6)
        if math.isfinite(before[at]) and math.isfinite(now[at])
    ] or [at for at in range(len(x)) if math.isfinite(before[at]) and math.isfinite(now[at])]
    if not inner:
        return
    at = max(inner, key=lambda place: abs(before[place] - now[place]))
    near = [place for place in inner if abs(x[place] - x[at]) < 9]
    tops = min(min(before[place], now[place]) for place in near)
    feet = max(max(before[place], now[place]) for place in near)
    now_is_above = now[at] <= before[at]
    above, below = tops - 1.6, feet + 4.2
    drawing.text(
        x[at], above if now_is_above else below, label_now, size=9, bold=True, colour=NOW, anchor="middle"
    )
    drawing.text(x[at], below if now_is_above else above, _("Before"), size=9, colour=SOFT, anchor="middle")


def describe_bands(comparison: ComparisonFacts) -> str:
    """Return the mean torque of each band as one sentence."""
    means: list[tuple[str, ComparedValueFacts]] = [
        (band.name, figure)
        for band in comparison.bands
        for figure in band.figures
        if figure.quantity == "torque" and figure.label.startswith("Mean")
    ]
    return " ".join(f"{upper_first(_(name))}. {figure.sentence}" for name, figure in means[:2] if name)


def lambda_picture(comparison: ComparisonFacts, order: int, now: str = "") -> Picture | None:
    """Draw lambda before and now over engine speed; None if it was not measured."""
    curves, was, now = comparison.curves, _("Before"), now or _("Now")
    if curves is None or not (curves.before.lambda_ or curves.after.lambda_):
        return None
    rpm, before, after = thinned(
        curves.engine_speed_rpm, curves.before.lambda_, curves.after.lambda_, span_mm=160
    )
    values = sorted(value for value in (*before, *after) if math.isfinite(value))
    if not values:
        return None
    edge = len(values) // 40  # so that values of the overrun do not flatten the curve
    low, high = values[edge] - LAMBDA_MARGIN, values[-1 - edge] + LAMBDA_MARGIN
    drawing = Drawing(WIDTH_MM, 34)
    x, y = Scale(min(rpm), max(rpm), 9, WIDTH_MM - 18), Scale(low, high, 29, 5)
    inside = [
        [value if low <= value <= high else float("nan") for value in curve] for curve in (before, after)
    ]
    drawing.y_axis(y, 9, 4)
    drawing.text(0, 3.4, _("lambda"))
    ends = []
    for name, curve, style in ((was, inside[0], BEFORE_STYLE), (now, inside[1], NOW_STYLE)):
        drawing.line([x(value) for value in rpm], [y(value) for value in curve], **style)
        measured = [at for at, value in enumerate(curve) if math.isfinite(value)]
        if measured:
            colour = NOW if name == now else SOFT
            ends.append((y(curve[measured[-1]]), x(rpm[measured[-1]]), name, colour))
    name_ends(drawing, ends, 34)
    drawing.x_axis(x, 29, unit=_("rpm"))
    return Picture(
        f"lambda-{order}",
        drawing.svg(),
        _("%(title)s: mean lambda over engine speed.") % {"title": comparison.title},
        _("Mean lambda over engine speed of “%(title)s”, before dashed, %(now)s solid.")
        % {"title": comparison.title, "now": lower_first(now)},
    )


def change_mark(figure: ComparedValueFacts, order: str, span: tuple[float, float]) -> Picture:
    """Draw the change of a value in percent with its interval: filled if it is clear of zero."""
    share = 100 / figure.before if figure.before else 0.0
    low, middle, high = (value * share for value in (figure.low, figure.difference, figure.high))
    x = Scale(*span, 1.0, 43.0)
    is_clear = low > 0 or high < 0
    colour = NOW if is_clear else SOFT
    left, right = (max(1.0, min(43.0, x(value))) for value in (low, high))
    fill = NOW if is_clear else "#fff"
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="44mm" height="4mm" viewBox="0 0 44 4">'
        f'<path d="M{x(0):.2f} 0V4" stroke="{INK}" stroke-width="0.25" fill="none"/>'
        f'<path d="M{left:.2f} 2H{right:.2f}" stroke="{colour}" stroke-width="0.55" fill="none"/>'
        f'<rect x="{x(middle) - 0.8:.2f}" y="1.2" width="1.6" height="1.6" fill="{fill}" '
        f'stroke="{colour}" stroke-width="0.35"/></svg>'
    )
    change, from_, to = (format_number(value, 1, signed=True) for value in (middle, low, high))
    alt = _("%(change)s %%, from %(from)s to %(to)s %%") % {"change": change, "from": from_, "to": to}
    return Picture(f"change-{order}", svg, "", alt)


def change_axis(span: tuple[float, float]) -> Picture:
    """Draw the scale over the changes in percent."""
    x = Scale(*span, 1.0, 43.0)
    ticks = x.ticks(4)
    texts = "".join(
        f'<text x="{min(x(tick), 43.5):.2f}" y="2.9" font-size="2.5" fill="{SOFT}" '
        f'text-anchor="{"end" if tick == ticks[-1] else "middle"}">'
        f"{format_number(tick, 1 if tick % 1 else 0, signed=True)}{' %' if tick == ticks[-1] else ''}</text>"
        for tick in ticks
    )
    ends = {"from": format_number(span[0]), "to": format_number(span[1])}
    alt = _("Scale from %(from)s to %(to)s percent") % ends
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="44mm" height="3.4mm" viewBox="0 0 44 3.4">'
        f'<g font-family="Sheet Sans">{texts}</g></svg>'
    )
    return Picture("change-axis", svg, "", alt)


def change_span(comparison: ComparisonFacts) -> tuple[float, float]:
    """Return one scale for all changes of a comparison [%]."""
    shares = [
        100 * value / figure.before
        for band in comparison.bands
        for figure in band.figures
        if figure.before
        for value in (figure.low, figure.high)
    ]
    return math.floor(min([*shares, -1.0])), math.ceil(max([*shares, 1.0]))


# --- valve clearances


def clearance_pictures(clearances: ClearanceFacts | None, unit: str) -> list[Picture]:
    """Draw each valve on a line against its range, before hollow and now filled; intake beside exhaust."""
    if clearances is None:
        return []
    rows = [row for row in clearances.rows if row.low_mm is not None and row.high_mm]
    parts = [rows[start : start + MAX_MARKS] for start in range(0, len(rows), MAX_MARKS)]
    return [
        clearance_picture(
            part,
            number,
            _(" (%(number)s of %(count)s)") % {"number": number, "count": len(parts)}
            if len(parts) > 1
            else "",
            clearances,
            unit,
        )
        for number, part in enumerate(parts, 1)
    ]


def clearance_picture(
    rows: Sequence[ValveFacts], number: int, which: str, clearances: ClearanceFacts, unit: str
) -> Picture:
    panels = [(title, [*found]) for title, found in groupby(sorted(rows, key=panel_title), key=panel_title)]
    panels.sort(key=lambda panel: [row.label for row in rows].index(panel[1][0].label))
    lines = [panels[at : at + 2] for at in range(0, len(panels), 2)]
    heights = [9.5 + ROW_MM * max(len(found) for _, found in line) + 5.5 for line in lines]
    drawing = Drawing(WIDTH_MM, sum(heights))
    top = 0.0
    for line, height in zip(lines, heights, strict=True):
        for place, (title, found) in enumerate(line):
            draw_valves(drawing, place * (WIDTH_MM - HALF_MM), top, title, found, unit)
        top += height
    return Picture(
        f"clearances-{number}",
        drawing.svg(),
        "",
        (
            _("Each valve's clearance against its range%(which)s: hollow as found, filled now.")
            % {"which": which}
            + f" {clearances.summary}"
        ).strip(),
    )


def panel_title(row: ValveFacts) -> str:
    """Return what the valves of a panel have in common: side, gap and limits."""
    side = row.side
    if not side:  # of a sheet from before it was stored
        found = VALVE.fullmatch(row.label)
        side = " ".join(part for part in (found[2], found[4]) if part) if found else _("valves")
    return f"{side[0].upper()}{side[1:]}|{row.low_mm}|{row.high_mm}|{row.target_mm}"


def short_label(row: ValveFacts) -> str:
    if row.place:
        return row.place
    found = VALVE.fullmatch(row.label)
    return f"{found[1]} {found[3] or ''}".strip() if found else row.label


def draw_valves(
    drawing: Drawing, left: float, top: float, title: str, rows: Sequence[ValveFacts], unit: str
) -> None:
    """Draw one panel of valves that have the same range."""
    name = title.split("|")[0]
    (low, high, target) = in_unit([rows[0].low_mm, rows[0].high_mm, rows[0].target_mm], "mm", unit)
    assert low is not None and high is not None  # the caller omits rows without a range
    ends = [
        value
        for row in rows
        for reading in (row.found, row.left)
        if reading
        for value in in_unit([reading.low_mm, reading.high_mm], "mm", unit)
        if value is not None
    ]
    room = 0.35 * (high - low)
    # Words beside a reading out of range need room between the scale's end and the labels.
    before = WORDS_MM if min([*ends, low]) < low else 0
    after = WORDS_MM if max([*ends, high]) > high else 0
    x = Scale(
        min([*ends, low]) - room, max([*ends, high]) + room, left + 17 + before, left + HALF_MM - 2 - after
    )
    first = top + 10.5
    foot = first + ROW_MM * (len(rows) - 1) + 2.6
    drawing.box(x(low), first - 2.6, x(high) - x(low), foot - first + 2.6, facecolor=TINT)
    for limit in (low, high):
        drawing.line([x(limit)] * 2, [first - 2.6, foot], color=INK, linewidth=0.8)
    drawing.text(left, top + 3.6, name, size=8, bold=True, colour=INK)
    words, line = pgettext("picture", "in range"), first - 3.6
    if target is not None:
        # Above the word for the target where both do not fit beside each other.
        free = x(target) - x(low) - LETTER_MM * len(_("target")) / 2
        line -= LINE_MM if LETTER_MM * len(words) > free else 0
        drawing.line([x(target)] * 2, [first - 2.6, foot], color=SOFT, linewidth=0.8, linestyle=(0, (1, 1.6)))
        drawing.text(x(target), first - 3.6, _("target"), size=6.6, anchor="middle")
    drawing.text(x(low), line, words, size=6.6)
    for place, row in enumerate(rows):
        y = first + place * ROW_MM
        drawing.text(left + 15, y + 0.9, short_label(row), size=6.8, colour=INK, anchor="end")
        draw_valve(drawing, x, y, row, unit)
    drawing.x_axis(x, foot, 5, label(unit))


def draw_valve(drawing: Drawing, x: Scale, y: float, row: ValveFacts, unit: str) -> None:
    """Draw the readings of one valve: hollow as found, filled now; a bracket as a bar between the blades."""
    found, left = place_of(row.found, x, unit), place_of(row.left, x, unit)
    if found and left:
        drawing.line([found[1], left[1]], [y, y], color=WAS, linewidth=0.7, zorder=1)
    is_latest = row.left is None
    for ends, reading, is_now in ((found, row.found, is_latest), (left, row.left, True)):
        if ends is None or reading is None:
            continue
        is_out = bool(reading.verdict) and not reading.in_range
        colour = ALERT if is_out else NOW if is_now else WAS
        if ends[0] != ends[2]:
            drawing.line(
                [ends[0], ends[2]], [y, y], color=colour, linewidth=2.2, solid_capstyle="butt", zorder=2
            )
        hollow = reading is row.found
        drawing.marks(
            [ends[1]], [y], markersize=4.6, markerfacecolor="white" if hollow else colour,
            markeredgecolor=colour, markeredgewidth=1.6 if is_out else 1.1, zorder=3,
        )  # fmt: skip
        if is_out:
            is_tight = reading.best_mm is not None and row.low_mm is not None and reading.best_mm < row.low_mm
            is_loose = (
                reading.best_mm is not None and row.high_mm is not None and reading.best_mm > row.high_mm
            )
            words = _("too tight") if is_tight else _("too loose") if is_loose else _("not certain")
            drawing.text(
                ends[0] - 1.6 if is_tight or not is_loose else ends[2] + 1.6, y + 0.9, words,
                size=6.4, colour=ALERT, anchor="end" if is_tight or not is_loose else "start",
            )  # fmt: skip


def place_of(reading: JudgedReadingFacts | None, x: Scale, unit: str) -> tuple[float, float, float] | None:
    """Return where the low end, the value and the high end of a reading are."""
    if reading is None or reading.best_mm is None:
        return None
    low, best, high = in_unit([reading.low_mm, reading.best_mm, reading.high_mm], "mm", unit)
    assert best is not None
    return x(best if low is None else low), x(best), x(best if high is None else high)


# --- riding modes


def modes_picture(modes: Sequence[ModeFacts]) -> Picture | None:
    """Draw plate over grip, a panel for each mode with the others faint behind it."""
    drawn = [mode for mode in modes if mode.tables]
    if not drawn:
        return None
    rows = -(-len(drawn) // MODES_IN_ROW)
    drawing = Drawing(WIDTH_MM, MODE_MM * rows)
    lines = {mode.mode: mean_plate(latest_table(mode)) for mode in drawn}
    for place, mode in enumerate(drawn):
        left, top = 8.0 + 60.5 * (place % MODES_IN_ROW), MODE_MM * (place // MODES_IN_ROW)
        x, y = Scale(0, 100, left, left + 48), Scale(0, 100, top + 34, top + 6)
        drawing.text(left, top + 3.8, mode.mode[:34], size=8, bold=True, colour=INK)
        for other, (grip, plate) in lines.items():
            if other != mode.mode:
                drawing.line([x(v) for v in grip], [y(v) for v in plate], color=RULE, linewidth=0.8)
        table = latest_table(mode)
        low, high = spread_plate(table)
        drawing.band([x(v) for v in table.grip_pct], [y(v) for v in low], [y(v) for v in high])
        before = next((table for table in mode.tables if table.before), None)
        if before:
            grip, plate = mean_plate(before)
            drawing.line([x(v) for v in grip], [y(v) for v in plate], **BEFORE_STYLE)
            drawing.text(left + 1.5, top + 9, _("dashed: before"), size=6.6)
        grip, plate = lines[mode.mode]
        drawing.line([x(v) for v in grip], [y(v) for v in plate], **NOW_STYLE)
        drawing.text(left + 47, top + 32.6, _("solid: now") if before else _("not changed"), size=6.6,
                     bold=bool(before), colour=NOW if before else SOFT, anchor="end")  # fmt: skip
        drawing.x_axis(x, top + 34, 2, _("% grip"))
        drawing.y_axis(y, left, 2)
    drawing.text(0, 9, pgettext("picture", "plate"), size=6.4)
    drawing.text(0, 11.6, "%", size=6.4)
    return Picture(
        "modes",
        drawing.svg(),
        _("Mean over engine speed; a shaded band is the spread over engine speed."),
        _("Throttle plate over grip, a panel for each riding mode.")
        + "".join(
            f" {mode.mode}: {mode.sentences[0] if mode.sentences else _('not changed.')}" for mode in drawn
        ),
    )


def latest_table(mode: ModeFacts) -> ThrottleTableFacts:
    return next((table for table in mode.tables if not table.before), mode.tables[0])


def mean_plate(table: ThrottleTableFacts) -> tuple[list[float], list[float]]:
    """Return grip and plate, the mean over engine speed."""
    rows = [[value for value in row if value is not None] for row in table.plate_pct]
    return list(table.grip_pct), [sum(row) / len(row) if row else float("nan") for row in rows]


def spread_plate(table: ThrottleTableFacts) -> tuple[list[float], list[float]]:
    """Return the lowest and the highest plate over engine speed at each grip."""
    rows = [[value for value in row if value is not None] or [float("nan")] for row in table.plate_pct]
    return [min(row) for row in rows], [max(row) for row in rows]


# --- charts of single records


def chart_picture(
    name: str, chart: ChartFacts | None, caption: str, alt: str, height_mm: float = 42
) -> Picture | None:
    """Draw the first panel of a page's chart, with names beside its lines; None if it has none."""
    if not chart or not chart.panels or not chart.panels[0].series:
        return None
    shown = chart.panels[0]
    drawing = Drawing(WIDTH_MM, height_mm)
    right = WIDTH_MM - 46
    lines = [
        (series, thinned(series.x, series.y, series.low, series.high, span_mm=right - 10))
        for series in shown.series
    ]
    x = Scale(*limits(*(curves[0] for _, curves in lines), margin=0.0), 10, right)
    y = Scale(*limits(*(curve for _, curves in lines for curve in curves[1:])), height_mm - 5, 6)
    y_label = _(shown.y_label)
    drawing.text(0, 3.6, f"{y_label}, {shown.y_unit}" if shown.y_unit else y_label)
    drawing.y_axis(y, 10, 5, signed=y.low < 0 < y.high)
    if y.low < 0 < y.high:
        drawing.line([10, right], [y(0), y(0)], color=INK, linewidth=0.7)
    ends = []
    styles = iter_styles()
    for series, (xs, ys, low, high) in lines:
        style = BEFORE_STYLE if series.state == "before" else next(styles)
        if series.low and series.high:
            drawing.band([x(v) for v in xs], [y(v) for v in low], [y(v) for v in high])
        drawing.line([x(v) for v in xs], [y(v) for v in ys], **style)
        last = max((at for at, value in enumerate(ys) if math.isfinite(value)), default=None)
        if last is not None:
            ends.append((y(ys[last]), x(xs[last]), _(series.label), str(style["color"])))
    name_ends(drawing, ends, height_mm)
    x_label = _(chart.x_label)
    drawing.x_axis(
        x,
        height_mm - 5,
        unit=f"{chart.x_unit} {lower_noun(x_label)}" if chart.x_unit == "%" else _(chart.x_unit),
    )
    return Picture(name, drawing.svg(), caption, alt)


def iter_styles() -> Iterator[dict[str, Any]]:
    while True:
        yield from MORE_STYLES


def name_ends(drawing: Drawing, ends: list[tuple[float, float, str, str]], height_mm: float) -> None:
    """Write the names of lines behind their ends, moved apart so that none covers another."""
    floor = 4.0
    for y, x, name, colour in sorted(ends):
        floor = max(y + 0.9, floor)
        drawing.text(x + 1.5, min(floor, height_mm - 1), name[:40], size=6.8, colour=colour)
        floor += 3.2


def drive_picture(comparison: ComparisonFacts, order: int) -> Picture | None:
    """Draw the lead in metres over the time of a roll-on."""
    drive = comparison.drive_out
    if not drive:
        return None
    text = _("%(title)s: how far ahead the bike is after the work, from the same start.")
    caption = text % {"title": comparison.title}
    return chart_picture(f"drive-{order}", drive.chart, caption, f"{caption} {drive.lead}", 34)


def torque_by_grip_picture(torque: TorqueFacts | None) -> Picture | None:
    if not torque:
        return None
    caption = _("Torque over grip at %(speed)s rpm.") % {"speed": format_number(torque.at_rpm)}
    return chart_picture("torque-by-grip", torque.chart, caption, f"{caption} {', '.join(torque.modes)}.", 50)


def braking_picture(braking: BrakingFacts | None) -> Picture | None:
    if not braking:
        return None
    caption = _("Torque at a closed throttle over engine speed.")
    return chart_picture(
        "braking", braking.chart, caption, f"{caption} {', '.join(braking.tunes)}. {braking.change}"
    )
