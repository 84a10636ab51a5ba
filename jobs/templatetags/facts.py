"""Filters that print the plain values and times of facts."""

from datetime import datetime
from typing import Any

from django import template

from jobs.clearances.facts import ReadingFacts
from jobs.comparisons.charts import format_difference
from jobs.comparisons.facts import ComparedValueFacts
from jobs.runs.facts import RunFacts
from jobs.suspension.facts import SettingValueFacts
from workshop.templatetags.units import size
from workshop.units.display import NO_BREAK_SPACE, NOT_MEASURED, format_value, label
from workshop.units.shop_units import UnitChoices, format_for_shop, shop_unit

UNCORRECTED = "The file's figures came corrected and were taken back to the observed ones first."
CORRECTION_UNKNOWN = "It is not known whether the file's figures came corrected for the air already."

register = template.Library()


@register.filter
def instant(text: str | None) -> datetime | None:
    """Return a stored time for the date filter."""
    return datetime.fromisoformat(text) if text else None


@register.filter
def gap(reading: ReadingFacts | None, units: UnitChoices) -> str:
    """Return a clearance as read: its value, or the two blades it lies between."""
    if reading is None:
        return NOT_MEASURED
    low, high = (size(end, units) for end in (reading.low_mm, reading.high_mm))
    return high if low == high else f"{low.split(NO_BREAK_SPACE)[0]} to {high}"


@register.filter
def quantity(figure: SettingValueFacts, units: UnitChoices) -> str:
    """Return a setting, in the unit of the shop if it has one."""
    value, kind = figure.value, figure.quantity
    if value in ("", None):
        return NOT_MEASURED
    if not kind or isinstance(value, str):
        return str(value)
    return format_for_shop(value, kind, units)


@register.filter
def measured(figure: ComparedValueFacts, units: UnitChoices) -> dict[str, str]:
    """Return a compared value: before, after, difference and its interval, as printed."""
    kind = figure.quantity
    unit = shop_unit(units, kind)
    low, high = (format_difference(end, kind, unit) for end in (figure.low, figure.high))
    return {
        "unit": label(unit),
        "before": format_value(figure.before, kind, unit, with_unit=False),
        "after": format_value(figure.after, kind, unit, with_unit=False),
        "difference": format_difference(figure.difference, kind, unit),
        "interval": f"{low} to {high}",
    }


@register.filter
def get(items: list[Any], index: int) -> Any:
    """Return an item by index, or None past the end."""
    return items[index] if index < len(items) else None


@register.filter
def any_corrected(runs: list[RunFacts]) -> bool:
    """Return True if a run was corrected to a standard."""
    return any(run.factor for run in runs)


@register.filter
def run_remarks(runs: list[RunFacts]) -> list[dict[str, Any]]:
    """Return the remarks on single runs, each once with the runs it is about."""
    remarks: dict[str, list[str]] = {}
    for run in runs:
        excluded = f"set aside, {run.set_aside}." if run.set_aside else ""
        came = UNCORRECTED if run.came_corrected else ""
        if run.file_correction_unknown:
            came = CORRECTION_UNKNOWN
        sentences = [excluded, run.without_curve, came, *run.limits_passed, *run.flags, run.note]
        text = " ".join(sentence for sentence in sentences if sentence)
        if text:
            remarks.setdefault(text[0].upper() + text[1:], []).append(run.name)
    return [{"text": text, "runs": names} for text, names in remarks.items()]
