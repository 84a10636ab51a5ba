"""Runs, and comparisons of runs, as the sheet prints them."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.comparison import BandComparison, ComparedValue, RunComparison
from jobs.calc.dyno.repeats import RepeatSet
from jobs.comparisons.charts import build_value_row
from jobs.comparisons.compare import ComparisonResult
from jobs.comparisons.roll_on import compute_roll_on, default_inputs
from jobs.comparisons.roll_on_tables import describe_roll_on, lead_chart
from jobs.models import Run
from jobs.runs.results import RunFigures
from reports.handover.snapshot.codec import structure
from reports.handover.snapshot.json_values import moment, number, numbers, rounded
from reports.handover.snapshot.schema import (
    BandFacts,
    ChartFacts,
    ComparisonFacts,
    CurvesFacts,
    DifferenceFacts,
    DriveBandFacts,
    DriveFacts,
    DriveRowFacts,
    EventFacts,
    FigureFacts,
    RunFacts,
    SideFacts,
)
from workshop.models import ShopProfile

FloatArray = npt.NDArray[np.float64]


def run_facts(figures: RunFigures) -> RunFacts:
    run, correction = figures.run, figures.correction
    # The highest point of a held run says where the grip was held, not what the engine gives.
    curve = figures.curve if run.kind == Run.Kind.SWEEP else None
    return RunFacts(
        name=run.original_name,
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
        came_corrected=bool(run.corrected_by or run.file_factor),
        peak_power_kw=number(curve.peak_power_kw, 2) if curve else None,
        peak_power_rpm=number(curve.peak_power_rpm, 0) if curve else None,
        peak_torque_nm=number(curve.peak_torque_nm, 2) if curve else None,
        peak_torque_rpm=number(curve.peak_torque_rpm, 0) if curve else None,
        flags=flag_sentences(figures),
        without_curve=figures.reason if run.kind == Run.Kind.SWEEP else "",
        set_aside=run.set_aside_reason if run.set_aside else "",
        note=run.note,
        sha256=run.sha256,
    )


def flag_sentences(figures: RunFigures) -> list[str]:
    """What the run's flags say; the limits of its correction stand by themselves."""
    passed = " ".join(figures.correction.passed_limits) if figures.correction else ""
    said = [flag.sentence for flag in figures.flags if figures.run.kind == Run.Kind.SWEEP]
    return [sentence for sentence in said if sentence != passed]


def comparison_facts(compared: ComparisonResult, shop: ShopProfile) -> ComparisonFacts:
    corrected = [each.correction for each in (*compared.before, *compared.after) if each.correction]
    return ComparisonFacts(
        title=compared.comparison.title,
        note=compared.comparison.note,
        before_runs=[str(each.run) for each in compared.before],
        after_runs=[str(each.run) for each in compared.after],
        standard=corrected[0].standard.name if corrected else "",
        reason=compared.reason,
        changes=[EventFacts(moment(event.at), event.text) for event in compared.changes],
        claim=compared.attribution_sentence if compared.result else "",
        flags=[flag.sentence for flag in compared.flags],
        left_out=list(compared.left_out),
        drive_out=drive_facts(compared, shop),
        curves=curves_facts(compared, compared.result) if compared.result else None,
        bands=[band_facts(band, shop) for band in compared.result.bands] if compared.result else [],
        assumed_pct=number(compared.result.assumed_pct) if compared.result else None,
    )


def drive_facts(compared: ComparisonResult, shop: ShopProfile) -> DriveFacts | None:
    """The drive-out by what is on record; None where that does not suffice for one."""
    roll_on = compute_roll_on(compared, default_inputs(compared), shop)
    summary = describe_roll_on(roll_on, shop)
    if summary is None or roll_on.result is None:
        return None
    bands = [
        DriveBandFacts(name, [DriveRowFacts(**vars(row)) for row in rows]) for name, rows in summary.bands
    ]
    return DriveFacts(
        caption=summary.caption,
        lead=summary.lead,
        bands=bands,
        ceiling=summary.limit,
        notes=summary.notes,
        assumed=summary.assumed,
        chart=structure(lead_chart(roll_on.result, shop), ChartFacts),
    )


def curves_facts(compared: ComparisonResult, result: RunComparison) -> CurvesFacts:
    grid = result.engine_speed_rpm
    return CurvesFacts(
        engine_speed_rpm=[rounded(speed, 0) for speed in grid],
        before=side_facts(compared.before, result.before, grid),
        after=side_facts(compared.after, result.after, grid),
        power_difference_kw=difference_facts(result.power),
        torque_difference_nm=difference_facts(result.torque),
    )


def side_facts(members: Sequence[RunFigures], side: RepeatSet, grid: FloatArray) -> SideFacts:
    """The mean curves of one group with their 95 % bands, on the comparison's engine speeds."""
    bands: dict[str, list[float | None]] = {}
    for name, interval in (("power_kw", side.power), ("torque_nm", side.torque)):
        half = interval.half_width
        bands[name] = numbers(placed(side.engine_speed_rpm, interval.mean, grid), 2)
        bands[f"{name}_low"] = numbers(placed(side.engine_speed_rpm, interval.mean - half, grid), 2)
        bands[f"{name}_high"] = numbers(placed(side.engine_speed_rpm, interval.mean + half, grid), 2)
    return SideFacts(runs=side.runs, **bands, lambda_=mean_lambda(members, grid))


def placed(from_rpm: FloatArray, values: FloatArray, onto_rpm: FloatArray) -> FloatArray:
    """The values at the engine speeds wanted, NaN at those not measured; nothing is interpolated."""
    by_speed = dict(zip(from_rpm.tolist(), values.tolist(), strict=True))
    return np.array([by_speed.get(speed, np.nan) for speed in onto_rpm.tolist()])


def mean_lambda(members: Sequence[RunFigures], grid: FloatArray) -> list[float | None] | None:
    """The mean over the runs that measured it; None where none did."""
    rows = [
        placed(each.curve.engine_speed_rpm, each.lambda_, grid)
        for each in members
        if each.curve is not None and each.lambda_ is not None
    ]
    measured = [row for row in rows if np.isfinite(row).any()]
    if not measured:
        return None
    stacked = np.array(measured)
    count = np.isfinite(stacked).sum(axis=0)
    total = np.nansum(stacked, axis=0)
    return numbers(np.divide(total, count, out=np.full(grid.size, np.nan), where=count > 0), 3)


def difference_facts(difference: Any) -> DifferenceFacts:
    return DifferenceFacts(
        mean=numbers(difference.difference, 2),
        low=numbers(difference.ci_low, 2),
        high=numbers(difference.ci_high, 2),
    )


def band_facts(band: BandComparison, shop: ShopProfile) -> BandFacts:
    figures = (band.mean_power, band.peak_power, band.mean_torque, band.peak_torque)
    return BandFacts(
        name=band.name,
        from_rpm=rounded(band.from_rpm, 0),
        to_rpm=rounded(band.to_rpm, 0),
        figures=[figure_facts(figure, shop) for figure in figures if figure.measured],
    )


def figure_facts(figure: ComparedValue, shop: ShopProfile) -> FigureFacts:
    quantity = "power" if figure.unit == "kW" else "torque"
    return FigureFacts(
        label=figure.label,
        quantity=quantity,
        before=rounded(figure.before, 3),
        after=rounded(figure.after, 3),
        difference=rounded(figure.difference, 3),
        low=rounded(figure.ci_low, 3),
        high=rounded(figure.ci_high, 3),
        difference_pct=number(figure.difference_pct, 1),
        verdict=figure.verdict,
        sentence=build_value_row(figure, shop).sentence,
    )
