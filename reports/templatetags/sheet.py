"""Template filters that format the snapshot's values and times."""

from datetime import datetime
from typing import Any

from django import template

from jobs.comparisons.charts import format_difference
from reports.handover.snapshot.schema import FigureFacts, ReadingFacts, SettingFigureFacts
from workshop.templatetags.units import size
from workshop.units.display import NO_BREAK_SPACE, NOT_MEASURED, format_value, label
from workshop.units.shop_units import UnitChoices, format_for_shop, shop_unit

register = template.Library()


@register.filter
def instant(text: str | None) -> datetime | None:
    """Convert a time of the snapshot for the date filter."""
    return datetime.fromisoformat(text) if text else None


@register.filter
def gap(reading: ReadingFacts | None, units: UnitChoices) -> str:
    """Format a clearance as read: its value, or the two blades it lies between."""
    if reading is None:
        return NOT_MEASURED
    low, high = (size(end, units) for end in (reading.low_mm, reading.high_mm))
    return high if low == high else f"{low.split(NO_BREAK_SPACE)[0]} to {high}"


@register.filter
def quantity(figure: SettingFigureFacts, units: UnitChoices) -> str:
    """Format a value of the settings, in the shop's unit if it has one."""
    value, kind = figure.value, figure.quantity
    if value in ("", None):
        return NOT_MEASURED
    if not kind or isinstance(value, str):
        return str(value)
    return format_for_shop(value, kind, units)


@register.filter
def measured(figure: FigureFacts, units: UnitChoices) -> dict[str, str]:
    """Format a compared value: before, after, difference and its interval."""
    kind = figure.quantity
    unit = shop_unit(units, kind)
    low, high = (format_difference(end, kind, unit, signed=True) for end in (figure.low, figure.high))
    return {
        "unit": label(unit),
        "before": format_value(figure.before, kind, unit, with_unit=False),
        "after": format_value(figure.after, kind, unit, with_unit=False),
        "difference": format_difference(figure.difference, kind, unit, signed=True),
        "interval": f"{low} to {high}",
    }


@register.filter
def get(items: list[Any], index: int) -> Any:
    """Return the item at an index, or None past the end."""
    return items[index] if index < len(items) else None
