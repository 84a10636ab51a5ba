"""Comparisons of runs on the handover sheet."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.comparison import BandComparison, ComparedValue, RunComparison
from jobs.calc.dyno.repeats import RepeatSet
from jobs.comparisons.charts import QUANTITY_OF_UNIT, build_value_row, describe_regions, stored_value
from jobs.comparisons.compare import ComparisonResult, comparison_results
from jobs.comparisons.roll_on import compute_roll_on, default_inputs
from jobs.comparisons.roll_on_tables import RollOnBand, describe_roll_on, lead_chart
from jobs.comparisons.tables import AbsolutePower, absolute_power
from jobs.job.by_job import ByJob, group_by_job
from jobs.job.facts import ChartFacts, Curve, EventFacts
from jobs.job.facts_codec import from_json
from jobs.job.json_values import moment, number, numbers, rounded
from jobs.job.printed import Printed
from jobs.job.results import JobResults, load_job_results
from jobs.models import Job
from jobs.runs.results import RunResult
from workshop.models import Bike, ShopProfile

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class RollOnFacts:
    caption: str
    lead: str
    bands: list[RollOnBand]
    ceiling: str
    notes: list[str]
    assumed: str
    chart: ChartFacts


@dataclass(frozen=True)
class SideFacts:
    """The mean curves of one side of a comparison, with their 95 % bands."""

    runs: int
    power_kw: Curve
    power_kw_low: Curve
    power_kw_high: Curve
    torque_nm: Curve
    torque_nm_low: Curve
    torque_nm_high: Curve
    lambda_: Curve | None


@dataclass(frozen=True)
class DifferenceFacts:
    mean: Curve
    low: Curve
    high: Curve


@dataclass(frozen=True)
class CurvesFacts:
    engine_speed_rpm: list[float]
    before: SideFacts
    after: SideFacts
    power_difference_kw: DifferenceFacts
    torque_difference_nm: DifferenceFacts
    holds_everywhere: bool = False  # older sheets have an interval at each engine speed by itself


@dataclass(frozen=True)
class ComparedValueFacts:
    label: str
    quantity: str
    before: float
    after: float
    difference: float
    low: float
    high: float
    difference_pct: float | None
    verdict: str
    sentence: str


@dataclass(frozen=True)
class BandFacts:
    name: str
    from_rpm: float
    to_rpm: float
    figures: list[ComparedValueFacts]


@dataclass(frozen=True)
class ComparisonFacts:
    title: str
    note: str
    before_runs: list[str]
    after_runs: list[str]
    standard: str
    reason: str
    changes: list[EventFacts]
    claim: str
    flags: list[str]
    left_out: list[str]
    curves: CurvesFacts | None
    bands: list[BandFacts]
    drive_out: RollOnFacts | None = None
    assumed_pct: float | None = None
    contents: str = ""
    where: list[str] = field(default_factory=list)
    differs: bool = False
    again_runs: list[str] = field(default_factory=list)
    undone: list[EventFacts] = field(default_factory=list)
    absolute: AbsolutePower | None = None


def comparison_facts(compared: ComparisonResult, shop: ShopProfile) -> ComparisonFacts:
    corrected = [member.correction for member in (*compared.before, *compared.after) if member.correction]
    result, again = compared.result, compared.again
    return ComparisonFacts(
        title=compared.comparison.title,
        note=compared.comparison.note,
        before_runs=[str(member.run) for member in compared.before if member not in again],
        after_runs=[str(member.run) for member in compared.after],
        standard=corrected[0].standard.name if corrected else "",
        reason=compared.reason,
        changes=[EventFacts(moment(event.at), event.text) for event in compared.changes],
        claim=compared.attribution_sentence if compared.result else "",
        flags=[flag.sentence for flag in compared.flags],
        left_out=list(compared.left_out),
        drive_out=roll_on_facts(compared, shop),
        curves=curves_facts(compared, compared.result) if compared.result else None,
        bands=[band_facts(band, shop) for band in compared.result.bands] if compared.result else [],
        assumed_pct=number(result.assumed_pct) if result else None,
        contents=result.contents if result else "",
        where=describe_regions(result) if result else [],
        differs=bool(result and (result.power.regions or result.torque.regions)),
        again_runs=[str(member.run) for member in again],
        absolute=absolute_power(compared, shop),
        undone=[EventFacts(moment(event.at), event.text) for event in compared.undone],
    )


def roll_on_facts(compared: ComparisonResult, shop: ShopProfile) -> RollOnFacts | None:
    """Return the roll-on from recorded inputs; None if they are not enough."""
    roll_on = compute_roll_on(compared, default_inputs(compared), shop)
    summary = describe_roll_on(roll_on, shop)
    if summary is None or roll_on.result is None:
        return None
    return RollOnFacts(
        caption=summary.caption,
        lead=summary.lead,
        bands=summary.bands,
        ceiling=summary.limit,
        notes=summary.notes,
        assumed=summary.assumed,
        chart=from_json(lead_chart(roll_on.result, shop), ChartFacts),
    )


def curves_facts(compared: ComparisonResult, result: RunComparison) -> CurvesFacts:
    grid = result.engine_speed_rpm
    return CurvesFacts(
        engine_speed_rpm=[rounded(speed, 0) for speed in grid],
        before=side_facts(compared.before, result.before, grid),
        after=side_facts(compared.after, result.after, grid),
        power_difference_kw=difference_facts(result.power),
        torque_difference_nm=difference_facts(result.torque),
        holds_everywhere=True,
    )


def side_facts(members: Sequence[RunResult], side: RepeatSet, grid: FloatArray) -> SideFacts:
    """Return the mean curves of one side with their 95 % bands, at the speeds of the comparison."""
    bands: dict[str, list[float | None]] = {}
    for name, interval in (("power_kw", side.power), ("torque_nm", side.torque)):
        half = interval.half_width
        bands[name] = numbers(align_to_speeds(side.engine_speed_rpm, interval.mean, grid), 2)
        bands[f"{name}_low"] = numbers(align_to_speeds(side.engine_speed_rpm, interval.mean - half, grid), 2)
        bands[f"{name}_high"] = numbers(align_to_speeds(side.engine_speed_rpm, interval.mean + half, grid), 2)
    return SideFacts(runs=side.runs, **bands, lambda_=mean_lambda(members, grid))


def align_to_speeds(from_rpm: FloatArray, values: FloatArray, onto_rpm: FloatArray) -> FloatArray:
    """Return the values at the wanted engine speeds, NaN at those not measured; nothing is interpolated."""
    by_speed = dict(zip(from_rpm.tolist(), values.tolist(), strict=True))
    return np.array([by_speed.get(speed, np.nan) for speed in onto_rpm.tolist()])


def mean_lambda(members: Sequence[RunResult], grid: FloatArray) -> list[float | None] | None:
    """Return the mean over the runs that measured lambda; None if none did."""
    rows = [
        align_to_speeds(member.curve.engine_speed_rpm, member.lambda_, grid)
        for member in members
        if member.curve is not None and member.lambda_ is not None
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
        figures=[compared_value_facts(figure, shop) for figure in figures if figure.measured],
    )


def compared_value_facts(figure: ComparedValue, shop: ShopProfile) -> ComparedValueFacts:
    value = stored_value(figure)
    return ComparedValueFacts(
        label=value.label,
        quantity=QUANTITY_OF_UNIT[value.unit],
        before=value.before,
        after=value.after,
        difference=value.difference,
        low=value.ci_low,
        high=value.ci_high,
        difference_pct=number(value.difference_pct, 1),
        verdict=value.verdict,
        sentence=build_value_row(figure, shop).sentence,
    )


def printed_comparisons(results: JobResults) -> list[ComparisonFacts]:
    return [
        comparison_facts(compared, results.shop)
        for compared in results.get(comparison_results).values()
        if compared.comparison.on_sheet
    ]


def verdicts_by_job(bike: Bike, shop: ShopProfile) -> ByJob:
    """Return the printed comparisons of a bike with mean power by band and what it is credited to."""
    jobs = Job.objects.filter(bike=bike, comparisons__on_sheet=True).distinct()
    shown = [
        (comparison, compared)
        for job in jobs
        for comparison, compared in load_job_results(job, shop).get(comparison_results).items()
        if comparison.on_sheet
    ]
    found = []
    for comparison, compared in shown:
        bands = [band_facts(band, shop) for band in compared.result.bands] if compared.result else []
        verdict = {
            "title": comparison.title,
            "reason": compared.reason,
            "where": describe_regions(compared.result)[:1] if compared.result else [],
            "bands": [
                {
                    "name": band.name,
                    "from_rpm": band.from_rpm,
                    "to_rpm": band.to_rpm,
                    "sentence": band.figures[0].sentence,
                }
                for band in bands
                if band.figures
            ],
            "claim": compared.attribution_sentence if compared.result else "",
            "changes": [event.text for event in compared.changes] if compared.result else [],
        }
        found.append((comparison.job_id, verdict))
    return group_by_job(found)


COMPARISONS = Printed(
    "comparisons",
    printed_comparisons,
    list[ComparisonFacts],
    heading="Comparisons",
    title="comparisons",
    template="jobs/comparisons/_sheet.html",
    absent=[],
)
