"""Suspension and settings: what was set, what was read, and how they moved from as found to as left."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from jobs.calc.chassis.sag import SAG_GUIDES, Sag, compute_sag, sag_hints, static_sag_mm
from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.models import Job, SuspensionSetting
from workshop.models import Bike, ShopProfile
from workshop.units.display import NOT_MEASURED, format_value
from workshop.units.shop_units import shop_unit

ENDS = ("front", "rear")
LAID_OUT = (
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


def fields_of(end: str) -> list[tuple[str, str]]:
    """Fields of one end in the order shown, each with the quantity that it measures ('' for words)."""
    return [
        (f"{end}_{name}", quantity) for name, quantity in LAID_OUT if end == "front" or name not in FRONT_ONLY
    ]


MEASURES = {name: quantity for end in ENDS for name, quantity in fields_of(end)}
# What a hand sets; the readings of the sag follow from it.
SET_BY_HAND = [
    *(name for end in ENDS for name, _ in fields_of(end) if name.split("_", 1)[1] not in READINGS),
    *SPROCKETS,
]


def name_of(field_name: str) -> str:
    return str(SuspensionSetting._meta.get_field(field_name).verbose_name)  # type: ignore[union-attr]  # no relation is asked


@dataclass(frozen=True)
class Figure:
    """A value and what it measures; words measure nothing."""

    value: Any
    quantity: str = ""

    def told(self, shop: ShopProfile | None = None) -> str:
        """In the shop's unit, or where no shop is given in the one that is kept."""
        if self.value in ("", None):
            return NOT_MEASURED
        if not self.quantity:
            return str(self.value)
        return format_value(self.value, self.quantity, shop_unit(shop, self.quantity) if shop else None)


def changed_settings(
    before: SuspensionSetting | None, after: SuspensionSetting, shop: ShopProfile | None = None
) -> list[str]:
    """What was set otherwise than before, in words; a setting that nobody read before is named too."""
    changed = []
    for name in SET_BY_HAND:
        was, now = (Figure(getattr(each, name, None), MEASURES.get(name, "")) for each in (before, after))
        if now.value in ("", None) or now == was:
            continue
        came_from = "not read before" if was.value in ("", None) else f"{was.told(shop)} before"
        title = name_of(name).split(" (")[0] if now.quantity else name_of(name)
        changed.append(f"{title} {now.told(shop)} ({came_from})")
    return changed


@dataclass(frozen=True)
class EndSag:
    """Sag of one end as far as its readings go; ``problem`` says why they make no sense together."""

    with_rider: Sag | None = None
    bike_alone_mm: float | None = None
    hints: list[str] = field(default_factory=list)
    problem: str = ""


def sag_of(
    setting: SuspensionSetting, end: str, intended_use: str, lengths: LengthFormatter = IN_MM
) -> EndSag:
    """Sag at the front or rear from the readings of one setting."""
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


def guide_in_words(end: str, intended_use: str) -> str:
    use = "track" if intended_use == Job.IntendedUse.TRACK_ONLY else "road"
    guide = SAG_GUIDES[(use, end)]
    return (
        f"{end}: sag with the rider of {guide.low_pct:g} to {guide.high_pct:g} % of the travel for the {use}"
    )


@dataclass(frozen=True)
class SettingRow:
    name: str
    figures: list[Figure]


@dataclass(frozen=True)
class SettingGroup:
    title: str
    rows: list[SettingRow]


def row_of(settings: Sequence[SuspensionSetting], field_name: str, quantity: str, title: str) -> SettingRow:
    name = name_of(field_name).split(" (")[0]
    short = name.removeprefix(f"{title.lower()},").removeprefix(title.lower()).strip()
    return SettingRow(short, [Figure(getattr(setting, field_name), quantity) for setting in settings])


def sag_rows(sags: Sequence[EndSag]) -> list[SettingRow]:
    with_rider = [each.with_rider for each in sags]
    return [
        SettingRow("sag, bike alone", [Figure(each.bike_alone_mm, "length") for each in sags]),
        SettingRow("sag with rider", [Figure(each and each.sag_mm, "length") for each in with_rider]),
        SettingRow("stiction", [Figure(each and each.stiction_mm, "length") for each in with_rider]),
        SettingRow("sag of the travel", [Figure(share_of(each), "share") for each in with_rider]),
    ]


def share_of(measured: Sag | None) -> float | None:
    if measured is None or math.isnan(measured.percent_of_travel):
        return None
    return measured.percent_of_travel


def filled(rows: Sequence[SettingRow]) -> list[SettingRow]:
    return [row for row in rows if any(figure.value not in ("", None) for figure in row.figures)]


def side_by_side(settings: Sequence[SuspensionSetting], intended_use: str) -> list[SettingGroup]:
    """Everything recorded, row by row, one column a setting; what nobody recorded is left out."""
    groups = []
    for end in ENDS:
        rows = [row_of(settings, name, quantity, end) for name, quantity in fields_of(end)]
        rows += sag_rows([sag_of(setting, end, intended_use) for setting in settings])
        groups.append(SettingGroup(end, filled(rows)))
    teeth = [row_of(settings, name, "", "gearing") for name in SPROCKETS]
    groups.append(SettingGroup("gearing", filled(teeth)))
    return [group for group in groups if group.rows]


def hints(
    settings: Sequence[SuspensionSetting], intended_use: str, lengths: LengthFormatter = IN_MM
) -> list[str]:
    """What the latest sag of each end suggests, and what makes no sense in its readings."""
    said = []
    for end in ENDS:
        sags = [(setting, sag_of(setting, end, intended_use, lengths)) for setting in settings]
        for setting, measured in [each for each in sags if each[1].with_rider or each[1].problem][-1:]:
            where = f"{end.capitalize()} {setting.get_when_display()}"
            said += [f"{where}: {hint}" for hint in (*measured.hints, measured.problem) if hint]
    return said


def settings_left(bike: Bike) -> list[SuspensionSetting]:
    """The settings that the bike left with, job by job, the latest first."""
    left: dict[Any, SuspensionSetting] = {}
    rows = SuspensionSetting.objects.filter(job__bike=bike).select_related("job").order_by("set_at", "pk")
    for setting in rows:
        left[setting.job_id] = setting
    return list(reversed(left.values()))
