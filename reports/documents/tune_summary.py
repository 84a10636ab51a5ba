"""The tune of a job for whoever tunes the bike next: what is in it, how it got there, what was measured."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from jobs.calc.mixture.fuel import FUELS
from jobs.comparisons.compare import ComparisonResult, comparison_results
from jobs.comparisons.facts import ComparisonFacts, comparison_facts
from jobs.job.json_values import moment, number
from jobs.job.results import JobResults
from jobs.mixture.facts import MixtureFacts, mixture_facts
from jobs.mixture.study import runs_by_study
from jobs.models import BikeChange, MixtureStudy, Part, Run, ThrottleTable, TuneRevision
from jobs.parts.facts import part_facts
from jobs.runs.facts import printed_runs
from jobs.runs.results import standard_name
from jobs.throttle.from_runs import drift_checks, job_idles
from jobs.timeline.events import timeline
from jobs.tunes.facts import RevisionFacts, revision_facts
from jobs.tunes.revisions import changes_by_revision, changes_in_bike, compare_revisions, tune_in_bike
from jobs.tunes.throttle_tables import Mode, plates_csv, riding_modes, table_differences, throttle_tables
from reports.documents.document import paper_pdf
from reports.documents.throttle_tables import grid_facts
from reports.drawing.pictures import mixture_picture
from reports.handover.attachments import fuel_tables, runs_csv
from reports.handover.snapshot import summary_sentences as words
from reports.handover.snapshot.people import bike_facts
from reports.handover.snapshot.schema import UntestedFacts
from workshop.csv_files import csv_text
from workshop.models import ShopProfile

EVENTS_NAMED = 8
CHANGE_COLUMNS = ("tune", "kind", "detail", "from", "to", "unit", "reason")


@dataclass(frozen=True)
class SummaryRevision(RevisionFacts):
    """A tune, and how many runs of each kind were made with it."""

    made_with: list[str]


@dataclass(frozen=True)
class SummaryMixture(MixtureFacts):
    """A mixture study, and whether it tells of the calibration that is in the bike."""

    on_sheet: bool
    made_by: str
    tunes: list[str]
    of_bike: bool


@dataclass(frozen=True, kw_only=True)
class SummaryComparison(ComparisonFacts):
    """A comparison without curves, its drive-out in one sentence, and whether the sheet prints it."""

    drive: str
    on_sheet: bool


def tune_summary_pdf(results: JobResults, at: datetime) -> bytes:
    """The summary as PDF, with its changes, throttle tables, runs and fuel tables attached."""
    facts = tune_summary_facts(results)
    drawn = [mixture_picture(study, order) for order, study in enumerate(facts["mixture"])]
    pictures = [picture for picture in drawn if picture]
    attached = attached_to(facts, results.get(throttle_tables))
    shown = {**facts, "mixture_pictures": drawn}
    return paper_pdf("tune_summary", shown, results.shop, at, pictures=pictures, attached=attached)


def attached_to(facts: dict[str, Any], tables: Sequence[ThrottleTable]) -> dict[str, str]:
    changes = [
        [
            revision.label,
            change.kind,
            change.detail,
            change.from_,
            change.to,
            change.unit,
            change.reason,
        ]
        for revision in facts["revisions"]
        for change in revision.changes
    ]
    return {
        "tune-changes.csv": csv_text(CHANGE_COLUMNS, changes) if changes else "",
        "throttle-tables.csv": plates_csv(tables),
        "runs.csv": runs_csv(facts["runs"]),
        **fuel_tables(facts["mixture"]),
    }


def tune_summary_facts(results: JobResults) -> dict[str, Any]:
    """Everything the summary says; times in UTC, figures in the units of their names."""
    job, shop, all_runs = results.job, results.shop, results.rows(Run)
    in_bike, modes = results.get(tune_in_bike), results.get(riding_modes)
    compared = list(results.get(comparison_results).values())
    studies = results.get(runs_by_study)
    runs = results.get(printed_runs)
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
        "in_bike": revision_facts(in_bike, results) if in_bike else None,
        "runs_with_it": len([run for run in all_runs if in_bike and run.tune_revision_id == in_bike.pk]),
        "net": net_facts(results),
        "tables_changed": table_words(results),
        "revisions": [
            SummaryRevision(**vars(revision_facts(each, results)), made_with=made_with(each, all_runs))
            for each in results.rows(TuneRevision)
        ],
        "modes": [mode_facts(mode) for mode in modes],
        "mixture": [study_facts(study, studied, in_bike) for study, studied in studies.items()],
        "runs": runs,
        "comparisons": [comparison_words(each, shop) for each in compared],
        "held": [
            {"tune": each.label, "sentence": each.result.sentence} for each in results.get(drift_checks)
        ],
        "idle": [
            {"run": str(each.run), "sentence": each.result.sentence if each.result else each.problem}
            for each in results.get(job_idles)
        ],
        "standard": standard_name(shop),
        "fuels": fuels(results),
        "hardware": [part_facts(part) for part in results.rows(Part) if part.changes or part.race_only],
        "bike_changes": [
            {"kind": change.get_kind_display(), "description": change.description, "at": moment(change.at)}
            for change in results.rows(BikeChange)
        ],
        "cautions": cautions(results),
        "not_tested": not_tested(results, compared),
    }


def net_facts(results: JobResults) -> list[dict[str, Any]]:
    """What each setting comes to between the calibration as received and the one in the bike, by kind."""
    received, in_bike = as_received(results), results.get(tune_in_bike)
    changes = results.get(changes_by_revision)
    if received is None or in_bike is None:
        return []
    way = compare_revisions(received, in_bike, results.rows(TuneRevision), changes)
    order = {c.kind.name: (c.kind.order, c.kind.name) for each in changes.values() for c in each}
    return [
        {
            "kind": net.kind,
            "detail": net.detail,
            "from": net.from_value,
            "to": net.to_value,
            "unit": net.unit,
            "steps": net.steps,
            "is_back": net.is_reverted,
        }
        for net in sorted(way.net, key=lambda net: order[net.kind])
    ]


def as_received(results: JobResults) -> TuneRevision | None:
    return next((revision for revision in results.rows(TuneRevision) if revision.number == 0), None)


def table_words(results: JobResults) -> list[dict[str, Any]]:
    received, in_bike = as_received(results), results.get(tune_in_bike)
    if received is None or in_bike is None or in_bike == received:
        return []
    found = table_differences(results, received, in_bike)
    return [{"mode": each.mode, "words": each.sentences} for each in found]


def made_with(revision: TuneRevision, runs: Iterable[Run]) -> list[str]:
    """How many runs of each kind were made with a revision."""
    kinds = Counter(run.get_kind_display() for run in runs if run.tune_revision_id == revision.pk)
    return [f"{count} × {kind}" for kind, count in kinds.items()]


def mode_facts(mode: Mode) -> dict[str, Any]:
    return {
        "mode": mode.name,
        "for_whom": mode.for_whom,
        "words": list(mode.sentences),
        "flags": [flag.sentence for flag in mode.flags],
        "tables": [grid_facts(name, judged.table) for name, judged in mode.tables if judged.throttle_map],
        "also_recorded": [table.revision.label for table in mode.others],
    }


def study_facts(study: MixtureStudy, runs: Sequence[Run], in_bike: TuneRevision | None) -> SummaryMixture:
    """Return a study with its author and the tunes of its runs."""
    facts = mixture_facts(study, runs)
    tunes = [run.tune_revision for run in runs if run.tune_revision]
    return SummaryMixture(
        **vars(facts),
        on_sheet=study.on_sheet,
        made_by=str(study.made_by),
        tunes=list(dict.fromkeys(tune.label for tune in tunes)),
        of_bike=in_bike in tunes,
    )


def comparison_words(compared: ComparisonResult, shop: ShopProfile) -> SummaryComparison:
    """What a comparison shows, band by band, and what it isolates; of a drive-out its outcome alone."""
    facts = comparison_facts(compared, shop)
    # The table says in figures what the sentences say.
    bands = [
        replace(band, figures=[replace(figure, sentence="") for figure in band.figures])
        for band in facts.bands
    ]
    drive = f"{facts.drive_out.caption}: {facts.drive_out.lead}" if facts.drive_out else ""
    shown = replace(facts, bands=bands, curves=None, drive_out=None)
    return SummaryComparison(**vars(shown), drive=drive, on_sheet=compared.comparison.on_sheet)


def fuels(results: JobResults) -> list[str]:
    """The fuels on record: of mixture studies, then what was changed on the bike."""
    studied = [
        FUELS[study.fuel].name if study.fuel in FUELS else study.fuel for study in results.rows(MixtureStudy)
    ]
    filled = [c.description for c in results.rows(BikeChange) if c.kind == BikeChange.Kind.FUEL]
    return list(dict.fromkeys([*studied, *filled]))


def cautions(results: JobResults) -> list[str]:
    """What the next tuner has to look at: of the changes carried, the tables, the runs, the mixture."""
    in_bike, carried = results.get(tune_in_bike), results.get(changes_in_bike)
    said = [
        f"{change.kind.name.capitalize()}: {change.kind.caution}" for change in carried if change.kind.caution
    ]
    said += [
        f"Mode {mode.name}: {flag.sentence}" for mode in results.get(riding_modes) for flag in mode.flags
    ]
    held = [each for each in results.get(drift_checks) if each.needs_attention and each.revision == in_bike]
    said += [f"{each.label.capitalize()}: {each.result.sentence}" for each in held]
    unnamed = [run.original_name for run in results.rows(Run) if run.tune_revision_id is None]
    if unnamed:
        said.append(f"Not said with which tune they were made: {', '.join(unnamed)}.")
    if in_bike is not None and not in_bike.calibration_sha256:
        said.append(f"No calibration file was kept of {in_bike.label}, which is in the bike.")
    return list(dict.fromkeys(said))


def not_tested(results: JobResults, compared: Sequence[ComparisonResult]) -> dict[str, Any]:
    derived = words.not_tested(results.get(timeline), compared, results.rows(Run))
    return {
        "said": results.job.not_tested,
        "derived": [shortened(each.text, each.events) for each in derived],
    }


def shortened(text: str, events: Sequence[str]) -> UntestedFacts:
    """The sentence with its first events; how many more there are is said, the revisions tell of them."""
    more = len(events) - EVENTS_NAMED
    return UntestedFacts(text, [*events[:EVENTS_NAMED], *([f"{more} more"] if more > 0 else [])])
