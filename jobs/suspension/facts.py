"""Suspension and settings on the handover sheet."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.job.json_values import moment, number
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.job.sentences import listed
from jobs.models import SuspensionSetting
from jobs.suspension.gearing import GearSpeeds, gear_speeds
from jobs.suspension.settings import SettingGroup, changed_settings, describe_sag_guide, hints, settings_table
from jobs.tunes.set_speeds import rev_limit_in_bike
from workshop.units.display import length_formatter


@dataclass(frozen=True)
class SettingFacts:
    when: str
    at: str | None
    by: str
    note: str


@dataclass(frozen=True)
class SettingValueFacts:
    value: str | float | None
    quantity: str


@dataclass(frozen=True)
class SettingRowFacts:
    name: str
    figures: list[SettingValueFacts]


@dataclass(frozen=True)
class SettingGroupFacts:
    title: str
    rows: list[SettingRowFacts]


@dataclass(frozen=True)
class GearFacts:
    number: int
    speeds_kmh: list[float]


@dataclass(frozen=True)
class GearsFacts:
    engine_speed_rpm: float
    change_pct: float | None
    sprockets: list[list[int]]
    gears: list[GearFacts]


@dataclass(frozen=True)
class SuspensionFacts:
    settings: list[SettingFacts]
    groups: list[SettingGroupFacts]
    gears: GearsFacts | None
    hints: list[str]
    guides: list[str]


def suspension_facts(results: JobResults) -> SuspensionFacts | None:
    """Return the settings side by side with hints and speeds by gear; None if nothing is recorded."""
    settings, job = results.rows(SuspensionSetting), results.job
    intended_use = job.intended_use
    groups = settings_table(settings, intended_use)
    if not groups and not any(setting.note for setting in settings):
        return None
    measured = any(row.name == "sag of the travel" for group in groups for row in group.rows)
    return SuspensionFacts(
        settings=[
            SettingFacts(
                when=setting.get_when_display(),
                at=moment(setting.set_at),
                by=str(setting.by),
                note=setting.note,
            )
            for setting in settings
        ],
        groups=[group_facts(group) for group in groups],
        gears=gear_facts(gear_speeds(job.bike, settings, results.get(rev_limit_in_bike))),
        hints=hints(settings, intended_use, length_formatter(results.shop.length_unit)),
        guides=[describe_sag_guide(end, intended_use) for end in ("front", "rear")] if measured else [],
    )


def gear_facts(speeds: GearSpeeds | None) -> GearsFacts | None:
    if speeds is None:
        return None
    return GearsFacts(
        engine_speed_rpm=speeds.engine_speed_rpm,
        change_pct=number(speeds.change_pct),
        sprockets=[list(pair) for pair in speeds.sprockets],
        gears=[GearFacts(gear.number, gear.speeds_kmh) for gear in speeds.gears],
    )


def group_facts(group: SettingGroup) -> SettingGroupFacts:
    return SettingGroupFacts(
        title=group.title,
        rows=[
            SettingRowFacts(
                row.name, [SettingValueFacts(figure.value, figure.quantity) for figure in row.values]
            )
            for row in group.rows
        ],
    )


def suspension_done(results: JobResults) -> Iterator[str]:
    """Yield which settings were changed."""
    before: SuspensionSetting | None = None
    changed: list[str] = []
    for setting in results.rows(SuspensionSetting):
        if setting.when == SuspensionSetting.When.AS_LEFT:
            changed += changed_settings(before, setting, results.shop)
        before = setting
    if changed:
        yield _("Suspension and settings changed: %(settings)s") % {"settings": listed(changed, 4)}


SUSPENSION: Printed[SuspensionFacts | None] = Printed(
    "suspension",
    suspension_facts,
    SuspensionFacts | None,
    heading="Suspension and settings",
    title="suspension and settings",
    template="jobs/suspension/_sheet.html",
)
