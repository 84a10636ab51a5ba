"""Parts, tune, throttle, settings, other changes and checks as the sheet prints them."""

from collections.abc import Sequence

from jobs.checklists.ticks import job_checklists
from jobs.job.results import JobResults
from jobs.models import BikeChange, Job, Part, SuspensionSetting, TuneChange, TuneRevision
from jobs.suspension.gearing import GearSpeeds, gear_speeds
from jobs.suspension.settings import SettingGroup, describe_sag_guide, hints, settings_table
from jobs.tunes.revisions import changes_by_revision
from reports.handover.snapshot.json_values import moment, number
from reports.handover.snapshot.schema import (
    BikeChangeFacts,
    CheckFacts,
    ChecklistFacts,
    GearFacts,
    GearsFacts,
    PartFacts,
    RevisionFacts,
    SettingFacts,
    SettingFigureFacts,
    SettingGroupFacts,
    SettingRowFacts,
    SuspensionFacts,
    TuneChangeFacts,
    TuneFacts,
)
from workshop.models import ShopProfile
from workshop.units.display import length_formatter


def part_facts(part: Part) -> PartFacts:
    return PartFacts(
        name=part.name,
        maker=part.maker,
        number=part.part_number,
        serial=part.serial,
        quantity=number(part.quantity),
        fitted_at=moment(part.fitted_at),
        replaces=part.replaces,
        race_only=part.race_only,
        changes=part.changes,
        note=part.note,
    )


def tune_facts(results: JobResults, in_bike: TuneRevision | None) -> TuneFacts | None:
    """Every revision that says something, with its changes; None where nobody recorded a tune."""
    changes = results.get(changes_by_revision)
    told = [each for each in results.rows(TuneRevision) if says_something(each, changes)]
    if not told:
        return None
    return TuneFacts(
        in_bike=in_bike.label if in_bike else "",
        revisions=[revision_facts(revision, results, in_bike) for revision in told],
    )


def says_something(revision: TuneRevision, changes: dict[int, list[TuneChange]]) -> bool:
    return bool(
        revision.number or revision.title or revision.calibration or revision.note or changes.get(revision.pk)
    )


def revision_facts(
    revision: TuneRevision, results: JobResults, in_bike: TuneRevision | None
) -> RevisionFacts:
    changes = results.get(changes_by_revision).get(revision.pk, [])
    made_from = next((r.label for r in results.rows(TuneRevision) if r.pk == revision.made_from_id), "")
    return RevisionFacts(
        label=revision.label,
        title=revision.title,
        made_from=made_from,
        loaded_at=moment(revision.loaded_at),
        loaded_by=str(revision.loaded_by),
        in_bike=revision == in_bike,
        calibration_name=revision.calibration_name,
        calibration_sha256=revision.calibration_sha256,
        note=revision.note,
        changes=[change_facts(change) for change in changes],
    )


def change_facts(change: TuneChange) -> TuneChangeFacts:
    return TuneChangeFacts(
        kind=change.kind.name,
        detail=change.detail,
        from_=change.from_value,
        to=change.to_value,
        unit=change.unit,
        reason=change.reason,
        affects_road_use=change.kind.affects_road_use,
    )


def suspension_facts(
    settings: Sequence[SuspensionSetting], job: Job, shop: ShopProfile
) -> SuspensionFacts | None:
    intended_use = job.intended_use
    groups = settings_table(settings, intended_use)
    if not groups and not any(setting.note for setting in settings):
        return None
    measured = any(row.name == "sag of the travel" for group in groups for row in group.rows)
    return SuspensionFacts(
        settings=[
            SettingFacts(
                when=each.get_when_display(),
                at=moment(each.set_at),
                by=str(each.by),
                note=each.note,
            )
            for each in settings
        ],
        groups=[group_facts(group) for group in groups],
        gears=gear_facts(gear_speeds(job.bike, settings)),
        hints=hints(settings, intended_use, length_formatter(shop.length_unit)),
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
            SettingRowFacts(row.name, [SettingFigureFacts(each.value, each.quantity) for each in row.figures])
            for row in group.rows
        ],
    )


def bike_change_facts(change: BikeChange) -> BikeChangeFacts:
    return BikeChangeFacts(
        kind=change.get_kind_display(),
        description=change.description,
        at=moment(change.at),
        by=str(change.by),
    )


def check_facts(results: JobResults) -> list[ChecklistFacts]:
    """The lists that the job needed or somebody ticked in."""
    return [
        ChecklistFacts(
            title=each.title,
            items=[
                CheckFacts(
                    text=item.item.text,
                    by=str(item.check.by) if item.check else "",
                    at=moment(item.check.at) if item.check else None,
                    note=item.check.note if item.check else "",
                )
                for item in each.items
            ],
            open=each.open,
        )
        for each in results.get(job_checklists)
        if each.needed or each.ticked
    ]
