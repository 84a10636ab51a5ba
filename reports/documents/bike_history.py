"""A bike over all its jobs, on paper: what was done when, where its clearances go, what was issued.

It may be handed to the bike's owner, so it names no customer; what an earlier owner asked for, and what
the work cost anybody, stay out.
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
from jobs.models import (
    Job,
    Stage,
)
from jobs.suspension.facts import group_facts
from jobs.suspension.settings import handover_settings, settings_table
from reports.documents.document import paper_pdf
from reports.drawing.clearance_history_chart import clearance_history_pictures
from reports.handover.snapshot.people import bike_facts, engine_facts
from reports.models import HandoverSheet
from workshop.models import Bike, ShopProfile

SETS_IN_TABLE = 5
SETTINGS_SHOWN = 4


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
    """Return each job in the order of time; what the records add is read for all jobs at once."""
    added = [
        (record.bike_history.template, record.bike_history.rows(bike, shop))
        for record in records()
        if record.bike_history
    ]
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
            "records": [
                {"template": template, "rows": rows[job.pk]} for template, rows in added if job.pk in rows
            ],
            "sheets": sheets[job.pk],
        }
        for job in jobs
    ]


def came_at(job: Job) -> datetime:
    """When the bike came for a job, or is to come."""
    return job.received_at or job.booked_for or job.created_at


def sheets_of(bike: Bike) -> ByJob:
    sheets = HandoverSheet.objects.filter(job__bike=bike).defer("snapshot").select_related("job")
    return group_by_job(
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
