"""Suspension settings and sag, and their changes from as found to as left."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from jobs.calc.chassis.sag import SAG_GUIDES, Sag, compute_sag, sag_hints, static_sag_mm
from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.calc.units.numbers import format_digits
from jobs.job.sentences import upper_first
from jobs.models import Job, SuspensionSetting
from workshop.models import Bike, ShopProfile
from workshop.units.display import NOT_MEASURED, format_value
from workshop.units.shop_units import shop_unit

ENDS = ("front", "rear")
FIELD_ORDER = (
    ("preload", ""),
    ("compression", ""),
    ("rebound", ""),
    ("rate_n_per_mm", "spring_rate"),
    ("oil", ""),
    ("height", ""),
    ("travel_mm", "length"),
    ("unloaded_mm", "length"),
    ("bike_only_mm", "length"),
    ("pushed_mm", "length"),
    ("lifted_mm", "length"),
    ("pressure_kpa", "tyre_pressure"),
)
READINGS = ("unloaded_mm", "bike_only_mm", "pushed_mm", "lifted_mm", "travel_mm")
SPROCKETS = ("front_sprocket", "rear_sprocket")
FRONT_ONLY = ("oil",)


def end_fields(end: str) -> list[tuple[str, str]]:
    """Return the fields of one end in display order, with their quantities ('' for text)."""
    return [
        (f"{end}_{name}", quantity)
        for name, quantity in FIELD_ORDER
        if end == "front" or name not in FRONT_ONLY
    ]


QUANTITIES = {name: quantity for end in ENDS for name, quantity in end_fields(end)}
# Adjusted by hand; the sag readings follow from these.
ADJUSTABLE_FIELDS = [
    *(name for end in ENDS for name, _ in end_fields(end) if name.split("_", 1)[1] not in READINGS),
    *SPROCKETS,
]


def field_label(field_name: str) -> str:
    return str(SuspensionSetting._meta.get_field(field_name).verbose_name)  # type: ignore[union-attr]  # no name of a relation is passed


@dataclass(frozen=True)
class SettingValue:
    """A value and the quantity it measures; text measures none."""

    value: Any
    quantity: str = ""

    def display(self, shop: ShopProfile | None = None) -> str:
        """Format the value in the shop's unit, or in the storage unit without a shop."""
        if self.value in ("", None):
            return NOT_MEASURED
        if not self.quantity:
            return str(self.value)
        return format_value(self.value, self.quantity, shop_unit(shop, self.quantity) if shop else None)


def changed_settings(
    before: SuspensionSetting | None, after: SuspensionSetting, shop: ShopProfile | None = None
) -> list[str]:
    """Describe the settings that changed or were recorded for the first time."""
    changed = []
    for name in ADJUSTABLE_FIELDS:
        quantity = QUANTITIES.get(name, "")
        was, now = (SettingValue(getattr(setting, name, None), quantity) for setting in (before, after))
        if now.value in ("", None) or now == was:
            continue
        label = _(field_label(name).split(" (")[0] if quantity else field_label(name))
        if any(map(str.isalpha, str(now.value))):  # "6 clicks out" says its unit itself
            label = label.split(" (")[0]
        values = {
            "setting": label,
            "now": now.display(shop),
            "before": was.display(shop),
        }
        is_new = was.value in ("", None)
        text = (
            _("%(setting)s %(now)s (not recorded before)")
            if is_new
            else _("%(setting)s %(now)s (%(before)s before)")
        )
        changed.append(text % values)
    return changed


@dataclass(frozen=True)
class EndSag:
    """Sag of one end as far as it was measured; ``problem`` says why readings are inconsistent."""

    with_rider: Sag | None = None
    bike_alone_mm: float | None = None
    hints: list[str] = field(default_factory=list)
    problem: str = ""


def compute_end_sag(
    setting: SuspensionSetting, end: str, intended_use: str, lengths: LengthFormatter = IN_MM
) -> EndSag:
    """Compute the sag at the front or rear from the readings of one setting."""
    unloaded, alone, pushed, lifted, travel = (getattr(setting, f"{end}_{name}") for name in READINGS)
    guide = SAG_GUIDES[("track" if intended_use == Job.IntendedUse.TRACK_ONLY else "road", end)]
    if unloaded is None:
        return EndSag()
    try:
        bike_alone = None if alone is None else static_sag_mm(unloaded, alone)
        if pushed is None or lifted is None:
            return EndSag(bike_alone_mm=bike_alone)
        with_rider = compute_sag(unloaded, pushed, lifted, travel, lengths)
    except ValueError as problem:
        return EndSag(problem=str(problem))
    return EndSag(with_rider, bike_alone, sag_hints(with_rider, guide, lengths))


def describe_sag_guide(end: str, intended_use: str) -> str:
    is_track = intended_use == Job.IntendedUse.TRACK_ONLY
    guide = SAG_GUIDES[("track" if is_track else "road", end)]
    values = {
        "end": _(end),
        "low": format_digits(guide.low_pct),
        "high": format_digits(guide.high_pct),
    }
    if is_track:
        return _("%(end)s: sag with the rider of %(low)s to %(high)s %% of the travel for the track") % values
    return _("%(end)s: sag with the rider of %(low)s to %(high)s %% of the travel for the road") % values


@dataclass(frozen=True)
class SettingRow:
    name: str
    values: list[SettingValue]


@dataclass(frozen=True)
class SettingGroup:
    title: str
    rows: list[SettingRow]


def build_row(
    settings: Sequence[SuspensionSetting], field_name: str, quantity: str, title: str
) -> SettingRow:
    name = field_label(field_name).split(" (")[0]
    short = name.removeprefix(f"{title.lower()},").removeprefix(title.lower()).strip()
    return SettingRow(short, [SettingValue(getattr(setting, field_name), quantity) for setting in settings])


def sag_rows(sags: Sequence[EndSag]) -> list[SettingRow]:
    with_rider = [end_sag.with_rider for end_sag in sags]
    return [
        SettingRow("sag, bike alone", [SettingValue(end_sag.bike_alone_mm, "length") for end_sag in sags]),
        SettingRow("sag with rider", [SettingValue(sag and sag.sag_mm, "length") for sag in with_rider]),
        SettingRow("stiction", [SettingValue(sag and sag.stiction_mm, "length") for sag in with_rider]),
        SettingRow("sag of the travel", [SettingValue(travel_share(sag), "share") for sag in with_rider]),
    ]


def travel_share(sag: Sag | None) -> float | None:
    if sag is None or math.isnan(sag.percent_of_travel):
        return None
    return sag.percent_of_travel


def without_empty_rows(rows: Sequence[SettingRow]) -> list[SettingRow]:
    return [row for row in rows if any(shown.value not in ("", None) for shown in row.values)]


def settings_table(settings: Sequence[SuspensionSetting], intended_use: str) -> list[SettingGroup]:
    """Return all recorded values by row, one column per setting, without empty rows."""
    groups = []
    for end in ENDS:
        rows = [build_row(settings, name, quantity, end) for name, quantity in end_fields(end)]
        rows += sag_rows([compute_end_sag(setting, end, intended_use) for setting in settings])
        groups.append(SettingGroup(end, without_empty_rows(rows)))
    teeth = [build_row(settings, name, "", "gearing") for name in SPROCKETS]
    groups.append(SettingGroup("gearing", without_empty_rows(teeth)))
    return [group for group in groups if group.rows]


def hints(
    settings: Sequence[SuspensionSetting], intended_use: str, lengths: LengthFormatter = IN_MM
) -> list[str]:
    """Return hints on the latest sag at front and rear, or why its readings are inconsistent."""
    sentences = []
    for end in ENDS:
        sags = [(setting, compute_end_sag(setting, end, intended_use, lengths)) for setting in settings]
        measured = [(setting, sag) for setting, sag in sags if sag.with_rider or sag.problem]
        for setting, sag in measured[-1:]:
            values = {"end": upper_first(_(end)), "when": _(setting.get_when_display())}
            where = _("%(end)s %(when)s") % values
            sentences += [f"{where}: {hint}" for hint in (*sag.hints, sag.problem) if hint]
    return sentences


def handover_settings(bike: Bike) -> list[SuspensionSetting]:
    """Return the settings at handover of the bike's jobs, the latest first."""
    left: dict[Any, SuspensionSetting] = {}
    rows = SuspensionSetting.objects.filter(job__bike=bike).select_related("job").order_by("set_at", "pk")
    for setting in rows:
        left[setting.job_id] = setting
    return list(reversed(left.values()))
