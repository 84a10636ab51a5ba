"""Filters that print the plain values and times of facts."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import template
from django.utils.timezone import localdate
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.calc.units.numbers import format_range
from jobs.clearances.facts import ReadingFacts
from jobs.comparisons.charts import format_difference
from jobs.comparisons.facts import ComparedValueFacts
from jobs.job.sentences import lower_noun, upper_first
from jobs.runs.facts import RunFacts
from jobs.suspension.facts import SettingValueFacts
from workshop.templatetags.units import size
from workshop.units.display import NO_BREAK_SPACE, NOT_MEASURED, format_value, label
from workshop.units.shop_units import UnitChoices, format_for_shop, shop_unit

UNCORRECTED = gettext_noop("The values in the file were corrected. That correction was removed first.")
CORRECTION_UNKNOWN = gettext_noop(
    "It is not known whether the values in the file are already corrected for the air."
)

register = template.Library()
register.filter("lower_noun", lower_noun)


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
    return high if low == high else format_range(low.split(NO_BREAK_SPACE)[0], high)


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
        "interval": format_range(low, high),
    }


@register.filter
def get(items: list[Any], index: int) -> Any:
    """Return an item by index, or None past the end."""
    return items[index] if index < len(items) else None


@register.filter
def lookup(values: dict[str, Any], key: str) -> Any:
    """Return a value by its key; empty if there is none."""
    return values.get(key, "")


@dataclass(frozen=True)
class RunGroup:
    """Runs of one day, session, person, air and correction; ``first`` has what they share."""

    first: RunFacts
    runs: list[RunFacts]


@register.filter
def run_groups(runs: list[RunFacts]) -> list[RunGroup]:
    """Return the runs by what they share; the correction counts only for runs with a peak."""
    groups: dict[tuple[object, object], list[RunFacts]] = {}
    for run in runs:
        at, air = instant(run.made_at), (run.temperature_c, run.pressure_kpa, run.humidity_pct)
        session = (at and localdate(at), run.session, run.made_by, air)
        key: tuple[object, object] = (session, (run.standard, run.factor, run.file_correction_unknown))
        if run.peak_power_kw is None:
            key = next((other for other in reversed(groups) if other[0] == session), key)
        groups.setdefault(key, []).append(run)
    return [RunGroup(first_with_peak(group) or group[0], group) for group in groups.values()]


def first_with_peak(runs: list[RunFacts]) -> RunFacts | None:
    return next((run for run in runs if run.peak_power_kw is not None), None)


@register.filter
def smoothing(runs: list[RunFacts]) -> list[str]:
    """Return how the curves are smoothed, each width once."""
    return list(dict.fromkeys(run.smoothing for run in runs if run.smoothing))


@register.filter
def run_remarks(runs: list[RunFacts]) -> list[dict[str, Any]]:
    """Return the remarks on single runs, each once with the runs it is about."""
    remarks: dict[str, list[str]] = {}
    for run in runs:
        excluded = _("Excluded: %(reason)s.") % {"reason": run.set_aside} if run.set_aside else ""
        came = _(UNCORRECTED) if run.came_corrected else ""
        if run.file_correction_unknown:
            came = _(CORRECTION_UNKNOWN)
        sentences = [excluded, run.without_curve, came, *run.limits_passed, *run.flags, run.note]
        text = " ".join(sentence for sentence in sentences if sentence)
        if text:
            remarks.setdefault(upper_first(text), []).append(run.name)
    return [{"text": text, "runs": names} for text, names in remarks.items()]
