"""The tune summary for the next tuner: settings in the bike, their history, measured results."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from jobs.calc.mixture.fuel import FUELS
from jobs.comparisons.compare import ComparisonResult, comparison_results
from jobs.comparisons.facts import ComparisonFacts, comparison_facts
from jobs.handing_over.facts import open_when_handed_over
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
from reports.documents.document import document_pdf
from reports.documents.throttle_tables import grid_facts
from reports.handover.attachments import RUNS_DESCRIPTION, fuel_tables, runs_csv
from reports.handover.evidence import measured_map
from reports.handover.snapshot import summary_sentences
from reports.handover.snapshot.people import bike_facts
from reports.handover.snapshot.schema import UntestedFacts
from reports.typesetting.pdf import AttachedText
from workshop.csv_files import csv_text
from workshop.models import ShopProfile

MAX_EVENTS_NAMED = 8
CHANGE_COLUMNS = ("tune", "kind", "detail", "from", "to", "unit", "reason")


@dataclass(frozen=True, kw_only=True)
class SummaryRevision(RevisionFacts):
    """A tune with the number of its runs by kind."""

    made_with: list[str]


@dataclass(frozen=True)
class SummaryMixture(MixtureFacts):
    """A mixture study with its tunes; ``of_bike`` if one of them is in the bike."""

    on_sheet: bool
    made_by: str
    tunes: list[str]
    of_bike: bool


@dataclass(frozen=True, kw_only=True)
class SummaryComparison(ComparisonFacts):
    """A comparison without curves, with its roll-on as one sentence."""

    drive: str
    on_sheet: bool


def tune_summary_pdf(results: JobResults, at: datetime) -> bytes:
    """Return the summary as PDF, with changes, throttle tables, runs and fuel tables attached."""
    facts = tune_summary_facts(results)
    attached = attached_texts(facts, results.get(throttle_tables))
    shown = {**facts, "measured_maps": [measured_map(study) for study in facts["mixture"]]}
    return document_pdf("tune_summary", shown, results.shop, at, attached=attached)


def attached_texts(facts: dict[str, Any], tables: Sequence[ThrottleTable]) -> dict[str, AttachedText]:
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
    changed = csv_text(CHANGE_COLUMNS, changes) if changes else ""
    return {
        "tune-changes.csv": AttachedText(changed, "Every change of the tunes with its reason"),
        "throttle-tables.csv": AttachedText(plates_csv(tables), "Plate by grip and engine speed"),
        "runs.csv": AttachedText(runs_csv(facts["runs"]), RUNS_DESCRIPTION),
        **fuel_tables(facts["mixture"]),
    }


def tune_summary_facts(results: JobResults) -> dict[str, Any]:
    """Return the content of the summary; times in UTC, values in the units of their names."""
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
        "open_points": results.get(open_when_handed_over),
        "stage": job.get_stage_display(),
        "in_bike": revision_facts(in_bike, results) if in_bike else None,
        "runs_with_it": len([run for run in all_runs if in_bike and run.tune_revision_id == in_bike.pk]),
        "net": net_facts(results),
        "tables_changed": changed_tables(results),
        "revisions": [
            SummaryRevision(
                **vars(revision_facts(tune, results)), made_with=count_runs_by_kind(tune, all_runs)
            )
            for tune in results.rows(TuneRevision)
        ],
        "modes": [mode_facts(mode) for mode in modes],
        "mixture": [summary_mixture(study, studied, in_bike) for study, studied in studies.items()],
        "runs": runs,
        "comparisons": [summary_comparison(result, shop) for result in compared],
        "held": [
            {"tune": check.label, "sentence": check.result.sentence} for check in results.get(drift_checks)
        ],
        "idle": [
            {"run": str(idle.run), "sentence": idle.result.sentence if idle.result else idle.problem}
            for idle in results.get(job_idles)
        ],
        "standard": standard_name(shop),
        "fuels": fuels(results),
        "hardware": [part_facts(part) for part in results.rows(Part) if part.changes or part.race_only],
        "bike_changes": [
            {"kind": str(change.kind), "description": change.description, "at": moment(change.at)}
            for change in results.rows(BikeChange)
        ],
        "cautions": cautions(results),
        "not_tested": not_tested(results, compared),
    }


def net_facts(results: JobResults) -> list[dict[str, Any]]:
    """Return the net change of each setting between the as-received tune and the one in the bike."""
    received, in_bike = as_received(results), results.get(tune_in_bike)
    changes = results.get(changes_by_revision)
    if received is None or in_bike is None:
        return []
    compared = compare_revisions(received, in_bike, results.rows(TuneRevision), changes)
    order = {c.kind.name: (c.kind.order, c.kind.name) for made in changes.values() for c in made}
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
        for net in sorted(compared.net, key=lambda net: order[net.kind])
    ]


def as_received(results: JobResults) -> TuneRevision | None:
    return next((revision for revision in results.rows(TuneRevision) if revision.number == 0), None)


def changed_tables(results: JobResults) -> list[dict[str, Any]]:
    received, in_bike = as_received(results), results.get(tune_in_bike)
    if received is None or in_bike is None or in_bike == received:
        return []
    differences = table_differences(results, received, in_bike)
    return [{"mode": table.mode, "sentences": table.sentences} for table in differences]


def count_runs_by_kind(revision: TuneRevision, runs: Iterable[Run]) -> list[str]:
    """Return the number of runs of each kind made with a tune."""
    kinds = Counter(run.get_kind_display() for run in runs if run.tune_revision_id == revision.pk)
    return [f"{count} × {kind}" for kind, count in kinds.items()]


def mode_facts(mode: Mode) -> dict[str, Any]:
    return {
        "mode": mode.name,
        "for_whom": mode.for_whom,
        "sentences": list(mode.sentences),
        "flags": [flag.sentence for flag in mode.flags],
        "tables": [grid_facts(name, judged.table) for name, judged in mode.tables if judged.throttle_map],
        "also_recorded": [table.revision.label for table in mode.others],
    }


def summary_mixture(study: MixtureStudy, runs: Sequence[Run], in_bike: TuneRevision | None) -> SummaryMixture:
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


def summary_comparison(compared: ComparisonResult, shop: ShopProfile) -> SummaryComparison:
    """Return a comparison without curves, with its roll-on as one sentence."""
    facts = comparison_facts(compared, shop)
    # The table shows the same values as the sentences.
    bands = [
        replace(band, figures=[replace(figure, sentence="") for figure in band.figures])
        for band in facts.bands
    ]
    drive = f"{facts.drive_out.caption}: {facts.drive_out.lead}" if facts.drive_out else ""
    shown = replace(facts, bands=bands, curves=None, drive_out=None)
    return SummaryComparison(**vars(shown), drive=drive, on_sheet=compared.comparison.on_sheet)


def fuels(results: JobResults) -> list[str]:
    """Return the recorded fuels: of mixture studies, then of changes of the bike."""
    studied = [
        FUELS[study.fuel].name if study.fuel in FUELS else study.fuel for study in results.rows(MixtureStudy)
    ]
    filled = [c.description for c in results.rows(BikeChange) if c.kind.is_fuel]
    return list(dict.fromkeys([*studied, *filled]))


def cautions(results: JobResults) -> list[str]:
    """Return what the next tuner has to check in the changes, tables and runs."""
    in_bike, changes = results.get(tune_in_bike), results.get(changes_in_bike)
    found = [
        f"{change.kind.name.capitalize()}: {change.kind.caution}" for change in changes if change.kind.caution
    ]
    found += [
        f"Mode {mode.name}: {flag.sentence}" for mode in results.get(riding_modes) for flag in mode.flags
    ]
    checks = [check for check in results.get(drift_checks) if check.needs_attention]
    found += [f"{c.label.capitalize()}: {c.result.sentence}" for c in checks if c.revision == in_bike]
    unnamed = [str(run) for run in results.rows(Run) if run.tune_revision_id is None]
    if unnamed:
        found.append(f"Tune not recorded for: {', '.join(unnamed)}.")
    if in_bike is not None and not in_bike.calibration_sha256:
        found.append(f"No calibration file was stored of {in_bike.label}, which is in the bike.")
    return list(dict.fromkeys(found))


def not_tested(results: JobResults, compared: Sequence[ComparisonResult]) -> dict[str, Any]:
    derived = summary_sentences.not_tested(results.get(timeline), compared, results.rows(Run))
    return {
        "note": results.job.not_tested,
        "derived": [shorten_events(untested.text, untested.events) for untested in derived],
    }


def shorten_events(text: str, events: Sequence[str]) -> UntestedFacts:
    """Return a sentence with its first events and the number of the others."""
    more = len(events) - MAX_EVENTS_NAMED
    return UntestedFacts(text, [*events[:MAX_EVENTS_NAMED], *([f"{more} more"] if more > 0 else [])])
