"""Runs on the handover sheet."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import ngettext

from jobs.job.json_values import moment, number
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.models import DynoSession, Run
from jobs.runs.file_correction import OBSERVED
from jobs.runs.results import RunResult, run_results


@dataclass(frozen=True)
class RunFacts:
    name: str
    kind: str
    made_at: str | None
    made_by: str
    gear: int | None
    tune: str
    temperature_c: float | None
    pressure_kpa: float | None
    humidity_pct: float | None
    standard: str
    factor: float | None
    limits_passed: list[str]
    came_corrected: bool
    peak_power_kw: float | None
    peak_power_rpm: float | None
    peak_torque_nm: float | None
    peak_torque_rpm: float | None
    flags: list[str]
    without_curve: str
    set_aside: str
    note: str
    sha256: str
    smoothing: str = ""
    file_correction_unknown: bool = False
    session: int | None = None  # on the dyno, if the job has several


def run_facts(result: RunResult, session: int | None = None) -> RunFacts:
    run, correction = result.run, result.correction
    # The highest point of a held run says where the grip was held, not what the engine gives.
    curve = result.curve if run.kind == Run.Kind.SWEEP else None
    return RunFacts(
        name=str(run),
        kind=run.get_kind_display(),
        made_at=moment(run.made_at),
        made_by=str(run.made_by),
        gear=run.gear,
        tune=run.tune_revision.label if run.tune_revision else "",
        temperature_c=number(run.temperature_c),
        pressure_kpa=number(run.pressure_kpa),
        humidity_pct=number(run.humidity_pct),
        standard=correction.standard.name if correction else "",
        factor=number(correction.factor, 4) if correction else None,
        limits_passed=list(correction.passed_limits) if correction else [],
        came_corrected=bool(run.corrected_by not in ("", OBSERVED) or run.file_factor),
        peak_power_kw=number(curve.peak_power_kw, 2) if curve else None,
        peak_power_rpm=number(curve.peak_power_rpm, 0) if curve else None,
        peak_torque_nm=number(curve.peak_torque_nm, 2) if curve else None,
        peak_torque_rpm=number(curve.peak_torque_rpm, 0) if curve else None,
        flags=flag_sentences(result),
        without_curve=result.reason if run.kind == Run.Kind.SWEEP else "",
        set_aside=run.set_aside_reason if run.set_aside else "",
        note=run.note,
        sha256=run.sha256,
        smoothing=result.smoothing_sentence if curve else "",
        file_correction_unknown=curve is not None and not result.file_correction.is_known,
        session=session,
    )


def flag_sentences(result: RunResult) -> list[str]:
    """Return what the flags of a sweep say, without the limits of its correction, which are printed apart."""
    passed = " ".join(result.correction.passed_limits) if result.correction else ""
    if result.run.kind != Run.Kind.SWEEP:
        return []
    # What to say of the file's own correction is for the shop; the sheet says whether it is known.
    sentences = [flag.sentence for flag in result.flags if flag.code != "file-correction"]
    return [sentence for sentence in sentences if sentence != passed]


def printed_runs(results: JobResults) -> list[RunFacts]:
    sessions = {session.pk: session.number for session in results.rows(DynoSession)}
    return [
        run_facts(result, sessions.get(result.run.session_id or 0, DynoSession.FIRST) if sessions else None)
        for result in results.get(run_results).values()
    ]


def runs_done(results: JobResults) -> Iterator[str]:
    """Yield how many runs were made."""
    runs = results.rows(Run)
    if runs:
        excluded = sum(run.set_aside for run in runs)
        text = ngettext("%(count)s run made on the dyno", "%(count)s runs made on the dyno", len(runs))
        aside = ngettext(", %(count)s of them excluded", ", %(count)s of them excluded", excluded)
        yield text % {"count": len(runs)} + (aside % {"count": excluded} if excluded else "")


RUNS = Printed(
    "runs",
    printed_runs,
    list[RunFacts],
    heading="Runs",
    title="runs",
    template="jobs/runs/_sheet.html",
    absent=[],
)
