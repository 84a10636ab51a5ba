"""Mixture studies and throttle tables as the sheet prints them."""

from typing import Any

from jobs.models import MixtureStudy, ThrottleTable, TuneRevision
from jobs.page import JobPage
from reports.snapshot.plain import number

LOAD_WORDS = {"grip_pct": "grip", "plate_pct": "throttle plate"}


def mixture_facts(study: MixtureStudy) -> dict[str, Any]:
    return {
        "title": study.title,
        "runs": [str(run) for run in study.runs.order_by("made_at", "pk")],
        "engine_speed_rpm": study.rpm_axis,
        "load_pct": study.load_axis,
        "load": LOAD_WORDS.get(study.load_channel, study.load_channel),
        "target": study.target,
        "fuel": study.fuel,
        "delay_ms": number(study.delay_ms),
        "settings": study.settings_used,
        "result": study.result,
        "fuel_table_before": study.fuel_table_before,
        "fuel_table_after": study.fuel_table_after,
    }


def throttle_facts(page: JobPage, in_bike: TuneRevision | None) -> list[dict[str, Any]]:
    """Each riding mode: its first table, and the one last recorded up to the calibration in the bike."""
    newest = in_bike.number if in_bike else 0
    by_mode: dict[str, list[ThrottleTable]] = {}
    for table in page.throttle_tables:
        by_mode.setdefault(table.mode, []).append(table)
    return [mode_facts(mode, tables, newest) for mode, tables in by_mode.items()]


def mode_facts(mode: str, tables: list[ThrottleTable], newest: int) -> dict[str, Any]:
    """Tables come by revision; what was tried and is not in the bike is named, not printed."""
    loaded = [table for table in tables if table.revision.number <= newest] or tables
    first, last = loaded[0], loaded[-1]
    others = [table.revision.label for table in tables if table not in (first, last)]
    return {
        "mode": mode,
        "for_whom": last.for_whom or first.for_whom,
        "before": table_facts(first),
        "after": table_facts(last) if last is not first else None,
        "also_recorded": others,
        "words": difference_words(first, last) if last is not first else [],
    }


def table_facts(table: ThrottleTable) -> dict[str, Any]:
    return {
        "revision": table.revision.label,
        "grip_pct": table.grip_pct,
        "engine_speed_rpm": table.engine_speed_rpm,
        "plate_pct": table.plate_pct,
    }


def difference_words(before: ThrottleTable, after: ThrottleTable) -> list[str]:
    return []
