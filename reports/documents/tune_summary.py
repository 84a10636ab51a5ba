"""The tune of a job for whoever tunes the bike next: what is in it, how it got there, what was measured."""

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from jobs.calc.mixture.fuel import FUELS
from jobs.comparisons.compare import Compared, compare_runs
from jobs.job.page import JobPage
from jobs.models import BikeChange, MixtureStudy, Run, TuneRevision
from jobs.runs.results import figures_of, standard_name
from jobs.throttle.from_runs import held_grip, idle_runs
from jobs.timeline.events import Event, events
from jobs.tunes.revisions import carried_changes, difference, in_the_bike
from jobs.tunes.throttle_tables import Mode, modes_of, table_differences
from reports.documents.document import paper_pdf
from reports.documents.throttle_tables import grid_facts, plates_csv
from reports.drawing.pictures import Picture, mixture_picture
from reports.handover.attachments import RUN_COLUMNS
from reports.handover.sheet import run_remarks
from reports.handover.snapshot import summary_sentences as words
from reports.handover.snapshot.json_values import moment, number
from reports.handover.snapshot.mixture import mixture_facts
from reports.handover.snapshot.people import bike_facts
from reports.handover.snapshot.runs import comparison_facts, run_facts
from reports.handover.snapshot.work import part_facts, revision_facts
from workshop.csv_files import csv_text
from workshop.models import ShopProfile

EVENTS_NAMED = 8
CHANGE_COLUMNS = ("tune", "kind", "detail", "from", "to", "unit", "reason")


def tune_summary_pdf(page: JobPage, shop: ShopProfile, at: datetime) -> bytes:
    """The summary as PDF, with its changes, throttle tables, runs and fuel tables attached."""
    facts = tune_summary_facts(page, shop)
    pictures: list[Picture] = []
    for order, study in enumerate(facts["mixture"]):
        drawn = mixture_picture(study, order)
        study["picture"] = drawn.address if drawn else ""
        study["alt"] = drawn.alt if drawn else ""
        pictures += [drawn] if drawn else []
    attached = attached_to(facts, page)
    return paper_pdf("tune_summary", facts, shop, at, pictures=pictures, attached=attached)


def attached_to(facts: dict[str, Any], page: JobPage) -> dict[str, str]:
    changes = [
        [revision["label"], *(change[name] for name in CHANGE_COLUMNS[1:])]
        for revision in facts["revisions"]
        for change in revision["changes"]
    ]
    runs = [[run[name] for name in RUN_COLUMNS] for run in facts["runs"]]
    fuel_tables = {
        f"fuel-table-{order}-{when}.txt": study[f"fuel_table_{when}"]["text"]
        for order, study in enumerate(facts["mixture"], start=1)
        for when in ("before", "after")
        if study[f"fuel_table_{when}"]
    }
    return {
        "tune-changes.csv": csv_text(CHANGE_COLUMNS, changes) if changes else "",
        "throttle-tables.csv": plates_csv(page.throttle_tables),
        "runs.csv": csv_text(RUN_COLUMNS, runs) if runs else "",
        **fuel_tables,
    }


def tune_summary_facts(page: JobPage, shop: ShopProfile) -> dict[str, Any]:
    """Everything the summary says; times in UTC, figures in the units of their names."""
    job, found = page.job, events(page.job, shop)
    in_bike = in_the_bike(page.revisions, page.runs)
    modes = modes_of(page.revisions, page.throttle_tables, in_bike)
    compared = [compare_runs(each, members, shop, found) for each, members in page.comparisons.items()]
    studies = [mixture_facts(study) for study in page.mixture_studies]
    runs = [run_facts(figures_of(run, shop)) for run in page.runs]
    spec = job.bike.engine_spec
    return {
        "job": job.number,
        "bike": bike_facts(job.bike),
        "engine": str(spec or ""),
        "intended_use": job.get_intended_use_display(),
        "track_only": job.intended_use == job.IntendedUse.TRACK_ONLY,
        "odometer_km": number(job.odometer_km),
        "handed_over_at": moment(job.handed_over_at),
        "stage": job.get_stage_display(),
        "in_bike": revision_facts(in_bike, page, in_bike) if in_bike else None,
        "runs_with_it": len([run for run in page.runs if in_bike and run.tune_revision_id == in_bike.pk]),
        "net": net_facts(page, in_bike),
        "tables_changed": table_words(page, in_bike),
        "revisions": [
            {**revision_facts(each, page, in_bike), "made_with": made_with(each, page.runs)}
            for each in page.revisions
        ],
        "modes": [mode_facts(mode) for mode in modes],
        "mixture": [
            {**facts, **study_facts(study, facts["runs"], page.runs, in_bike)}
            for facts, study in zip(studies, page.mixture_studies, strict=True)
        ],
        "runs": runs,
        "run_remarks": run_remarks(runs),
        "comparisons": [comparison_words(each, shop) for each in compared],
        "held": [{"tune": each.label, "sentence": each.result.sentence} for each in held_grip(page.runs)],
        "idle": [
            {"run": str(each.run), "sentence": each.result.sentence if each.result else each.problem}
            for each in idle_runs(page.runs, spec.idle_rpm if spec else None)
        ],
        "standard": standard_name(shop),
        "fuels": fuels(page),
        "hardware": [part_facts(part) for part in page.parts if part.changes or part.race_only],
        "bike_changes": [
            {"kind": change.get_kind_display(), "description": change.description, "at": moment(change.at)}
            for change in page.bike_changes
        ],
        "cautions": cautions(page, in_bike, modes),
        "not_tested": not_tested(page, found, compared),
    }


def net_facts(page: JobPage, in_bike: TuneRevision | None) -> list[dict[str, Any]]:
    """What each setting comes to between the calibration as received and the one in the bike, by kind."""
    received = as_received(page)
    if received is None or in_bike is None:
        return []
    way = difference(received, in_bike, page.revisions, page.changes)
    order = {c.kind.name: (c.kind.order, c.kind.name) for each in page.changes.values() for c in each}
    return [
        {
            "kind": net.kind,
            "detail": net.detail,
            "from": net.from_value,
            "to": net.to_value,
            "unit": net.unit,
            "steps": net.steps,
            "is_back": net.is_back,
        }
        for net in sorted(way.net, key=lambda net: order[net.kind])
    ]


def as_received(page: JobPage) -> TuneRevision | None:
    return next((revision for revision in page.revisions if revision.number == 0), None)


def table_words(page: JobPage, in_bike: TuneRevision | None) -> list[dict[str, Any]]:
    received = as_received(page)
    if received is None or in_bike is None or in_bike == received:
        return []
    found = table_differences(page.job, page.revisions, received, in_bike)
    return [{"mode": each.mode, "words": each.words} for each in found]


def made_with(revision: TuneRevision, runs: Iterable[Run]) -> list[str]:
    """How many runs of each kind were made with a revision."""
    kinds = Counter(run.get_kind_display() for run in runs if run.tune_revision_id == revision.pk)
    return [f"{count} × {kind}" for kind, count in kinds.items()]


def mode_facts(mode: Mode) -> dict[str, Any]:
    return {
        "mode": mode.name,
        "for_whom": mode.for_whom,
        "words": list(mode.words),
        "flags": [flag.sentence for flag in mode.flags],
        "tables": [grid_facts(name, judged.table) for name, judged in mode.tables if judged.read],
        "also_recorded": [table.revision.label for table in mode.others],
    }


def study_facts(
    study: MixtureStudy, names: Sequence[str], runs: Iterable[Run], in_bike: TuneRevision | None
) -> dict[str, Any]:
    """Whose study it is, and whether it tells of the calibration that is in the bike."""
    tunes = [run.tune_revision for run in runs if str(run) in names and run.tune_revision]
    return {
        "on_sheet": study.on_sheet,
        "made_by": str(study.made_by),
        "tunes": list(dict.fromkeys(tune.label for tune in tunes)),
        "of_bike": in_bike in tunes,
    }


def comparison_words(compared: Compared, shop: ShopProfile) -> dict[str, Any]:
    """What a comparison shows, band by band, and what it isolates; of a drive-out its outcome alone."""
    facts = comparison_facts(compared, shop)
    for figure in (figure for band in facts["bands"] for figure in band["figures"]):
        del figure["sentence"]  # the table says the same in figures
    drive = facts["drive_out"]
    told = {name: drive[name] for name in ("caption", "lead")} if drive else None
    return {**facts, "curves": None, "drive_out": told, "on_sheet": compared.comparison.on_sheet}


def fuels(page: JobPage) -> list[str]:
    """The fuels on record: of mixture studies, then what was changed on the bike."""
    studied = [
        FUELS[study.fuel].name if study.fuel in FUELS else study.fuel for study in page.mixture_studies
    ]
    filled = [c.description for c in page.bike_changes if c.kind == BikeChange.Kind.FUEL]
    return list(dict.fromkeys([*studied, *filled]))


def cautions(page: JobPage, in_bike: TuneRevision | None, modes: Sequence[Mode]) -> list[str]:
    """What the next tuner has to look at: of the changes carried, the tables, the runs, the mixture."""
    carried = carried_changes(in_bike, page.revisions, page.changes)
    said = [
        f"{change.kind.name.capitalize()}: {change.kind.caution}" for change in carried if change.kind.caution
    ]
    said += [f"Mode {mode.name}: {flag.sentence}" for mode in modes for flag in mode.flags]
    held = [each for each in held_grip(page.runs) if each.needs_attention and each.revision == in_bike]
    said += [f"{each.label.capitalize()}: {each.result.sentence}" for each in held]
    unnamed = [run.original_name for run in page.runs if run.tune_revision_id is None]
    if unnamed:
        said.append(f"Not said with which tune they were made: {', '.join(unnamed)}.")
    if in_bike is not None and not in_bike.calibration_sha256:
        said.append(f"No calibration file was kept of {in_bike.label}, which is in the bike.")
    return list(dict.fromkeys(said))


def not_tested(page: JobPage, found: Sequence[Event], compared: Sequence[Compared]) -> dict[str, Any]:
    derived = words.not_tested(found, compared, page.runs)
    return {
        "said": page.job.not_tested,
        "derived": [shortened(each["text"], each["events"]) for each in derived],
    }


def shortened(text: str, events: Sequence[str]) -> dict[str, Any]:
    """The sentence with its first events; how many more there are is said, the revisions tell of them."""
    more = len(events) - EVENTS_NAMED
    return {"text": text, "events": [*events[:EVENTS_NAMED], *([f"{more} more"] if more > 0 else [])]}
