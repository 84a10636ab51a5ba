"""Suspension and settings on the job page."""

from jobs.job.page import JobPage
from jobs.job.section import Section, State
from jobs.models import SuspensionSetting
from jobs.suspension.gearing import gear_speeds
from jobs.suspension.settings import side_by_side

When = SuspensionSetting.When


def section(page: JobPage) -> Section:
    state, why = where_it_stands(page)
    context = {
        "settings": page.suspension,
        "groups": side_by_side(page.suspension, page.job.intended_use),
        "gears": gear_speeds(page.job.bike, page.suspension) if page.suspension else None,
        "intended_use": page.job.intended_use,
    }
    return Section(
        "suspension", "Suspension and settings", state, why, "jobs/suspension/_section.html", context
    )


def where_it_stands(page: JobPage) -> tuple[State, str]:
    kinds = {setting.when for setting in page.suspension}
    if not kinds:
        return State.EMPTY, "nothing recorded yet"
    if When.AS_LEFT not in kinds:
        return State.IN_HAND, "as found, not as left yet"
    return State.DONE, "" if When.AS_FOUND in kinds else "as left only"
