"""The history of a bike over all its jobs: work done, clearance trends, issued sheets.

The bike's owner may receive it, so it leaves out customers, the requests of earlier owners and all prices.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from jobs.clearances.facts import measured_facts, range_facts
from jobs.clearances.trend import ClearanceHistory, clearance_history, next_checks
from jobs.clearances.trend_chart import TrendChart, build_trend_chart
from jobs.job.by_job import ByJob, group_by_job
from jobs.job.json_values import moment, number
from jobs.job.registry import records
from jobs.job.results import load_job_results
from jobs.job.road_use import describe_bike_causes, describe_search
from jobs.models import Job, Stage
from jobs.suspension.facts import group_facts
from jobs.suspension.settings import handover_settings, settings_table
from reports.documents.document import document_pdf
from reports.drawing.clearance_history_chart import clearance_history_pictures
from reports.handover.snapshot.people import bike_facts, engine_facts
from reports.models import HandoverSheet
from workshop.models import Bike, ShopProfile

SETS_PER_TABLE = 5
MAX_SETTINGS = 4


def bike_history_pdf(bike: Bike, shop: ShopProfile, at: datetime) -> bytes:
    clearances = clearance_history(bike, shop)
    chart = build_trend_chart(clearances, shop)
    pictures = clearance_history_pictures(chart) if chart and has_trend(chart) else []
    return document_pdf("bike_history", history_facts(bike, clearances, shop), shop, at, pictures=pictures)


def has_trend(chart: TrendChart) -> bool:
    """Return True if the clearances were measured at more than one distance or hour."""
    valves = [valve for panel in chart.panels for valve in panel.valves]
    return len({point.use for valve in valves for point in valve.points}) > 1


def history_facts(bike: Bike, clearances: ClearanceHistory, shop: ShopProfile) -> dict[str, Any]:
    """Return the content of the history; times in UTC, values in the units of their names."""
    jobs = sorted(Job.objects.filter(bike=bike), key=lambda job: (arrival_date(job), job.pk))
    spec = bike.engine_spec
    settings = handover_settings(bike)[:MAX_SETTINGS]
    trends = {row.gap_trend.sentence for row in clearances.rows}
    return {
        "bike": bike_facts(bike),
        "engine": engine_facts(spec),
        "ranges": [range_facts(spec, limits) for limits in spec.ranges] if spec else [],
        "next_checks": [check.sentence for check in next_checks(spec, clearances.sets, jobs, shop)],
        "jobs": job_facts(bike, jobs, shop),
        "road_use": road_use_facts(jobs, shop),
        "trends": [
            {"label": row.valve_gap.label, "trend": row.gap_trend.sentence} for row in clearances.rows
        ],
        "common_trend": trends.pop() if len(trends) == 1 else "",
        "tables": clearance_tables(clearances),
        "settings": settings_facts(settings),
    }


def road_use_facts(jobs: Sequence[Job], shop: ShopProfile) -> dict[str, Any]:
    """Return the causes of the road-use notice, and what was searched for them; empty without a job."""
    if not jobs:
        return {}
    results = load_job_results(jobs[-1], shop)
    return {"causes": describe_bike_causes(results), "looked_at": describe_search(results)}


def job_facts(bike: Bike, jobs: Sequence[Job], shop: ShopProfile) -> list[dict[str, Any]]:
    """Return the jobs in order of time, with the rows of their records read at once."""
    added = [
        (record.bike_history.template, record.bike_history.rows(bike, shop))
        for record in records()
        if record.bike_history
    ]
    sheets = sheet_facts(bike)
    return [
        {
            "number": job.number,
            "stage": job.get_stage_display(),
            "at": moment(arrival_date(job)),
            "received": job.received_at is not None,
            "cancelled": job.stage == Stage.CANCELLED,
            "handed_over_at": moment(job.handed_over_at),
            "odometer_km": number(job.odometer_km),
            "engine_hours": number(job.engine_hours),
            "intended_use": job.get_intended_use_display(),
            "brief": job.brief if job.customer_id == bike.owner_id else "",
            "earlier_owner": job.customer_id != bike.owner_id,
            "next_service": job.next_service,
            "records": [
                {"template": template, "rows": rows[job.pk]} for template, rows in added if job.pk in rows
            ],
            "sheets": sheets[job.pk],
        }
        for job in jobs
    ]


def arrival_date(job: Job) -> datetime:
    """Return when the bike arrived for a job, or is expected."""
    return job.received_at or job.booked_for or job.created_at


def sheet_facts(bike: Bike) -> ByJob:
    sheets = HandoverSheet.objects.filter(job__bike=bike).defer("snapshot", "signature").select_related("job")
    return group_by_job(
        (
            sheet.job_id,
            {"number": sheet.number, "issued_at": moment(sheet.issued_at), "sha256": sheet.sha256},
        )
        for sheet in sheets.order_by("issued_at", "pk")
    )


def clearance_tables(history: ClearanceHistory) -> list[dict[str, Any]]:
    """Return the measured sets, a few per table so that it fits the page."""
    if not history.rows:
        return []
    return [
        {
            "sets": [
                {
                    "when": measured.get_when_display(),
                    "at": moment(measured.measured_at),
                    "job": measured.job.number,
                    "odometer_km": number(measured.job.odometer_km),
                    "engine_hours": number(measured.job.engine_hours),
                }
                for measured in history.sets[start : start + SETS_PER_TABLE]
            ],
            "rows": [
                {
                    "label": row.valve_gap.label,
                    "cells": [measured_facts(cell) for cell in row.measured[start : start + SETS_PER_TABLE]],
                }
                for row in history.rows
            ],
        }
        for start in range(0, len(history.sets), SETS_PER_TABLE)
    ]


def settings_facts(settings: Sequence[Any]) -> dict[str, Any]:
    """Return the settings at the latest handovers side by side, latest first."""
    return {
        "of": [{"job": setting.job.number, "at": moment(setting.set_at)} for setting in settings],
        "groups": [group_facts(group) for group in settings_table(settings, Job.IntendedUse.ROAD)],
    }
