"""Suspension and settings on the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import SuspensionSetting
from jobs.suspension.gearing import gear_speeds
from jobs.suspension.settings import settings_table
from jobs.tunes.set_speeds import rev_limit_in_bike

When = SuspensionSetting.When


def section(results: JobResults) -> Section:
    job, settings = results.job, results.rows(SuspensionSetting)
    state, reason = section_state(settings)
    context = {
        "settings": settings,
        "groups": settings_table(settings, job.intended_use),
        "gears": gear_speeds(job.bike, settings, results.get(rev_limit_in_bike)) if settings else None,
        "intended_use": job.intended_use,
    }
    return Section(
        "suspension", "Suspension and settings", state, reason, "jobs/suspension/_section.html", context
    )


def section_state(settings: list[SuspensionSetting]) -> tuple[State, str]:
    kinds = {setting.when for setting in settings}
    if not kinds:
        return State.EMPTY, "nothing recorded yet"
    if When.AS_LEFT not in kinds:
        return State.IN_HAND, "as found, not as left yet"
    return State.DONE, "" if When.AS_FOUND in kinds else "as left only"
