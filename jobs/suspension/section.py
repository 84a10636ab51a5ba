"""Suspension and settings on the job page."""

from functools import partial
from typing import Any

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import SuspensionSetting
from jobs.suspension.gearing import gear_speeds
from jobs.suspension.settings import settings_table
from jobs.tunes.set_speeds import rev_limit_in_bike

When = SuspensionSetting.When


def section(results: JobResults) -> Section:
    settings = results.rows(SuspensionSetting)
    state, summary = section_state(settings)
    latest = settings[-1] if settings else None
    return Section(
        "suspension",
        "Suspension and settings",
        state,
        summary,
        "jobs/suspension/_section.html",
        partial(section_context, results),
        who=str(latest.by) if latest else "",
        at=latest.set_at if latest else None,
    )


def section_context(results: JobResults) -> dict[str, Any]:
    job, settings = results.job, results.rows(SuspensionSetting)
    return {
        "settings": settings,
        "groups": settings_table(settings, job.intended_use),
        "gears": gear_speeds(job.bike, settings, results.get(rev_limit_in_bike)) if settings else None,
        "intended_use": job.intended_use,
    }


def section_state(settings: list[SuspensionSetting]) -> tuple[State, str]:
    kinds = {setting.when for setting in settings}
    if not kinds:
        return State.EMPTY, "not recorded"
    if When.AS_LEFT not in kinds:
        return State.IN_HAND, "recorded as found, not yet as left"
    return State.DONE, "recorded as found and as left" if When.AS_FOUND in kinds else "recorded as left only"
