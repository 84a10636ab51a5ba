"""A bike over all its jobs, on paper: what was done when, where its clearances go, what was issued.

It may be handed to the bike's owner, so it names no customer; what an earlier owner asked for, and what
the work cost anybody, stay out.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from jobs.calc.clearances.shim_plan import Origin
from jobs.clearances.trend import ClearanceHistory, clearance_history, next_checks
from jobs.clearances.trend_chart import TrendChart, build_trend_chart
from jobs.clearances.valve_gaps import key_of, valve_gaps
from jobs.comparisons.compare import comparison_results
from jobs.job.results import results_of
from jobs.models import (
    BikeChange,
    Job,
    Part,
    ShimPlanRow,
    Stage,
    TuneChange,
    TuneRevision,
)
from jobs.suspension.settings import handover_settings, settings_table
from reports.documents.document import paper_pdf
from reports.drawing.clearance_history_chart import clearance_history_pictures
from reports.handover.snapshot.clearances import measured_facts, range_facts
from reports.handover.snapshot.json_values import moment, number
from reports.handover.snapshot.people import bike_facts, engine_facts
from reports.handover.snapshot.runs import band_facts
from reports.handover.snapshot.schema import TuneChangeFacts
from reports.handover.snapshot.work import change_facts, group_facts, part_facts
from reports.models import HandoverSheet
from workshop.models import Bike, ShopProfile

SETS_IN_TABLE = 5
SETTINGS_SHOWN = 4

ByJob = dict[int, list[Any]]


def bike_history_pdf(bike: Bike, shop: ShopProfile, at: datetime) -> bytes:
    clearances = clearance_history(bike, shop)
    chart = build_trend_chart(clearances, shop)
    pictures = clearance_history_pictures(chart) if chart and is_a_line(chart) else []
    return paper_pdf("bike_history", history_facts(bike, clearances, shop), shop, at, pictures=pictures)


def is_a_line(chart: TrendChart) -> bool:
    """Whether it was measured at more than one distance or hour; one alone is told by the table."""
    valves = [valve for panel in chart.panels for valve in panel.valves]
    return len({point.use for valve in valves for point in valve.points}) > 1


def history_facts(bike: Bike, clearances: ClearanceHistory, shop: ShopProfile) -> dict[str, Any]:
    """Everything the paper says; times in UTC, figures in the units of their names."""
    jobs = sorted(Job.objects.filter(bike=bike), key=lambda job: (came_at(job), job.pk))
    spec = bike.engine_spec
    settings = handover_settings(bike)[:SETTINGS_SHOWN]
    courses = {row.gap_trend.sentence for row in clearances.rows}
    return {
        "bike": bike_facts(bike),
        "engine": engine_facts(spec),
        "ranges": [range_facts(spec, each) for each in spec.ranges] if spec else [],
        "next_checks": [each.sentence for each in next_checks(spec, clearances.sets, jobs, shop)],
        "jobs": job_facts(bike, jobs, shop),
        "courses": [
            {"label": row.valve_gap.label, "course": row.gap_trend.sentence} for row in clearances.rows
        ],
        "one_course": courses.pop() if len(courses) == 1 else "",
        "tables": clearance_tables(clearances),
        "settings": settings_facts(settings),
    }


def job_facts(bike: Bike, jobs: Sequence[Job], shop: ShopProfile) -> list[dict[str, Any]]:
    """Each job in the order of time; what hangs on them is read for all jobs at once."""
    parts = by_job((part.job_id, part_facts(part)) for part in Part.objects.filter(job__bike=bike))
    shims, tunes = shims_changed(bike), tunes_of(bike)
    verdicts = verdicts_of(bike, shop)
    changes = by_job(
        (
            change.job_id,
            {"kind": change.get_kind_display(), "description": change.description, "at": moment(change.at)},
        )
        for change in BikeChange.objects.filter(job__bike=bike)
    )
    sheets = sheets_of(bike)
    return [
        {
            "number": job.number,
            "stage": job.get_stage_display(),
            "at": moment(came_at(job)),
            "received": job.received_at is not None,
            "cancelled": job.stage == Stage.CANCELLED,
            "handed_over_at": moment(job.handed_over_at),
            "odometer_km": number(job.odometer_km),
            "engine_hours": number(job.engine_hours),
            "intended_use": job.get_intended_use_display(),
            "brief": job.brief if job.customer_id == bike.owner_id else "",
            "earlier_owner": job.customer_id != bike.owner_id,
            "next_service": job.next_service,
            "parts": parts[job.pk],
            "shims": shims[job.pk],
            "tunes": tunes[job.pk],
            "bike_changes": changes[job.pk],
            "comparisons": verdicts[job.pk],
            "sheets": sheets[job.pk],
        }
        for job in jobs
    ]


def came_at(job: Job) -> datetime:
    """When the bike came for a job, or is to come."""
    return job.received_at or job.booked_for or job.created_at


def by_job(pairs: Iterable[tuple[int, Any]]) -> ByJob:
    found: ByJob = defaultdict(list)
    for job, facts in pairs:
        found[job].append(facts)
    return found


def shims_changed(bike: Bike) -> ByJob:
    """The shims that accepted plans exchange; whether they left the drawer yet is said."""
    labels = (
        {valve_gap.key: valve_gap.label for valve_gap in valve_gaps(bike.engine_spec)}
        if bike.engine_spec
        else {}
    )
    rows = ShimPlanRow.objects.filter(plan__clearance_set__job__bike=bike).exclude(origin=Origin.STAYS)
    rows = rows.select_related("plan__clearance_set").order_by("plan__accepted_at", "plan_id", "pk")
    return by_job(
        (
            row.plan.clearance_set.job_id,
            {
                "label": labels.get(key_of(row), str(row).split(":")[0]),
                "out_mm": number(row.out_mm),
                "in_mm": number(row.in_mm),
                "planned_only": row.plan.stock_booked_out_at is None,
            },
        )
        for row in rows
    )


def tunes_of(bike: Bike) -> ByJob:
    """Every calibration loaded, with its changes; 'as received' only where something is recorded of it."""
    changes: dict[int, list[TuneChangeFacts]] = defaultdict(list)
    for change in TuneChange.objects.filter(revision__job__bike=bike).select_related("kind"):
        changes[change.revision_id].append(change_facts(change))
    revisions = TuneRevision.objects.filter(job__bike=bike).order_by("job", "number")
    return by_job(
        (
            each.job_id,
            {
                "label": each.label,
                "title": each.title,
                "loaded_at": moment(each.loaded_at),
                "calibration_name": each.calibration_name,
                "changes": changes[each.pk],
            },
        )
        for each in revisions
        if each.number or each.title or each.calibration_name or changes[each.pk]
    )


def verdicts_of(bike: Bike, shop: ShopProfile) -> ByJob:
    """What the comparisons show that the shop prints: each band's mean power and what the runs isolate."""
    jobs = Job.objects.filter(bike=bike, comparisons__on_sheet=True).distinct()
    shown = [
        (comparison, compared)
        for job in jobs
        for comparison, compared in results_of(job, shop).get(comparison_results).items()
        if comparison.on_sheet
    ]
    found = []
    for comparison, compared in shown:
        bands = [band_facts(band, shop) for band in compared.result.bands] if compared.result else []
        told = {
            "title": comparison.title,
            "reason": compared.reason,
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
        found.append((comparison.job_id, told))
    return by_job(found)


def sheets_of(bike: Bike) -> ByJob:
    sheets = HandoverSheet.objects.filter(job__bike=bike).defer("snapshot").select_related("job")
    return by_job(
        (
            sheet.job_id,
            {"number": sheet.number, "issued_at": moment(sheet.issued_at), "sha256": sheet.sha256},
        )
        for sheet in sheets.order_by("issued_at", "pk")
    )


def clearance_tables(history: ClearanceHistory) -> list[dict[str, Any]]:
    """What was measured, a few sets a table so that it fits the page's width."""
    if not history.rows:
        return []
    return [
        {
            "sets": [
                {
                    "when": each.get_when_display(),
                    "at": moment(each.measured_at),
                    "job": each.job.number,
                    "odometer_km": number(each.job.odometer_km),
                    "engine_hours": number(each.job.engine_hours),
                }
                for each in history.sets[start : start + SETS_IN_TABLE]
            ],
            "rows": [
                {
                    "label": row.valve_gap.label,
                    "cells": [measured_facts(each) for each in row.measured[start : start + SETS_IN_TABLE]],
                }
                for row in history.rows
            ],
        }
        for start in range(0, len(history.sets), SETS_IN_TABLE)
    ]


def settings_facts(settings: Sequence[Any]) -> dict[str, Any]:
    """The settings that the bike left with last, side by side, the latest first."""
    return {
        "of": [{"job": each.job.number, "at": moment(each.set_at)} for each in settings],
        "groups": [group_facts(group) for group in settings_table(settings, Job.IntendedUse.ROAD)],
    }
