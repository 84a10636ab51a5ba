"""Template filters for the bench."""

from decimal import Decimal
from functools import cache

from django import template
from django.utils.html import format_html, format_html_join

from jobs.calc.clearances.readings import Judgement, Reading
from jobs.calc.units.length_format import format_mm
from jobs.clearances.before_after import ClearancesBeforeAfter
from jobs.clearances.before_after_chart import ChartRow, Tick
from jobs.clearances.engine_map import EngineView, engine_view
from jobs.clearances.valve_gaps import ValveGap, verdict_slug
from jobs.models import ClearanceReading
from workshop.models import EngineSpec, ShopProfile
from workshop.templatetags.units import size
from workshop.units.display import NO_BREAK_SPACE, NOT_MEASURED, length_formatter

register = template.Library()


@register.filter
def shim(thickness_mm: float | Decimal | None) -> str:
    """Format a shim's thickness in mm, in which shims are marked whatever the shop's unit."""
    return NOT_MEASURED if thickness_mm is None else f"{format_mm(thickness_mm)}{NO_BREAK_SPACE}mm"


def span(low_mm: Decimal | None, high_mm: Decimal | None, shop: ShopProfile) -> str:
    return f"{size(low_mm, shop).split(NO_BREAK_SPACE)[0]} to {size(high_mm, shop)}"


@register.filter
def gap_range(valve_gap: ValveGap, shop: ShopProfile) -> str:
    """Format the range that the engine spec gives a gap."""
    return span(valve_gap.low_mm, valve_gap.high_mm, shop) if valve_gap.has_range else NOT_MEASURED


@register.filter
def reading(row: ClearanceReading, shop: ShopProfile) -> str:
    """Format a reading: a value, or the blade that goes to the one that does not."""
    if row.goes_mm is None:
        return size(row.clearance_mm, shop)
    return span(row.goes_mm, row.not_goes_mm, shop)


@register.filter
def predicted(clearance: Reading, shop: ShopProfile) -> str:
    """Format a predicted clearance, as a range if it was measured between two blades."""
    return clearance.describe(length_formatter(shop.length_unit))


@register.filter
def cut_unit(length: str) -> str:
    """Drop the unit of a length, within a drawing that says it once."""
    return length.split(NO_BREAK_SPACE)[0]


@register.filter
def marking(thickness_mm: float | Decimal | None) -> str:
    """Format a shim's thickness as it is marked on most shims: 235 for 2.35 mm, 2355 for 2.355 mm.

    Rule of thumb, no published source.
    """
    return NOT_MEASURED if thickness_mm is None else format_mm(thickness_mm).replace(".", "")


@register.filter
def verdict(judgement: Judgement | str | None) -> str:
    """Show a verdict by word and shape; nothing without a reading or a range."""
    if not isinstance(judgement, Judgement):
        return ""
    return verdict_mark(verdict_slug(judgement), judgement.word)


@cache
def verdict_mark(slug: str, word: str) -> str:
    return format_html('<span class="verdict verdict-{}">{}</span>', slug, word)


@register.filter
def grid_lines(ticks: list[Tick]) -> str:
    """Return the grid behind every row of the chart, built once for all rows."""
    line = '<line class="valves-grid" x1="{0}" x2="{0}" y1="0" y2="100%"/>'
    return format_html_join("", line, ((tick.at,) for tick in ticks))


@register.filter
def row_marks(row: ChartRow) -> str:
    """Return range, target and readings of a valve, which a template would look up one by one."""
    found, left = row.found, row.left
    bracket = '<line class="valves-bracket{}" x1="{}" x2="{}" y1="50%" y2="50%"/>'
    marks: list[tuple[str, tuple[str, ...]]] = []
    if row.range_width:
        shape = '<rect class="valves-range" x="{}" width="{}" y="20%" height="60%"/>'
        marks.append((shape, (row.range_at, row.range_width)))
    if row.target_at:
        shape = '<line class="valves-target" x1="{0}" x2="{0}" y1="20%" y2="80%"/>'
        marks.append((shape, (row.target_at,)))
    if found and left:
        shape = '<line class="valves-moved" x1="{}" x2="{}" y1="50%" y2="50%"/>'
        marks.append((shape, (found.at, left.at)))
    if found and found.is_bracket:
        marks.append((bracket, (" valves-bracket-found", found.low, found.high)))
    if left and left.is_bracket:
        marks.append((bracket, ("", left.low, left.high)))
    if found:
        marks.append(('<circle class="valves-found" cx="{}" cy="50%" r="4.5"/>', (found.at,)))
    if left:
        shape = (
            '<svg x="{}" y="50%" overflow="visible"><path class="valves-left" d="M0-5 5 0 0 5-5 0z"/></svg>'
        )
        marks.append((shape, (left.at,)))
    return format_html_join("", "{}", ((format_html(shape, *values),) for shape, values in marks))


@register.simple_tag
def engine_places(spec: EngineSpec, shop: ShopProfile) -> EngineView:
    """Draw the engine with the name of each valve."""
    return engine_view(spec, shop, lambda valve_gap: valve_gap)


@register.simple_tag
def engine_found_left(
    history: ClearancesBeforeAfter | None, spec: EngineSpec, shop: ShopProfile
) -> EngineView | None:
    """Draw the engine with each valve as found and as left."""
    rows = {row.valve_gap.key: row for row in history.rows} if history else {}
    return engine_view(spec, shop, lambda valve_gap: rows[valve_gap.key]) if rows else None
