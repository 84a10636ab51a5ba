"""Parts and other changes of the bike on the job page."""

from jobs.job.page import JobPage
from jobs.job.section import Section, State


def section(page: JobPage) -> Section:
    state, why = where_it_stands(page)
    context = {
        "parts": page.parts,
        "bike_changes": page.bike_changes,
        "any_race_only": any(part.race_only for part in page.parts),
    }
    return Section("parts", "Parts", state, why, "jobs/parts/_section.html", context)


def where_it_stands(page: JobPage) -> tuple[State, str]:
    if not page.parts and not page.bike_changes:
        return State.EMPTY, "no parts fitted"
    on_the_shelf = sum(part.fitted_at is None for part in page.parts)
    if on_the_shelf:
        return State.IN_HAND, f"{on_the_shelf} not fitted yet"
    race_only = sum(part.race_only for part in page.parts)
    return State.DONE, f"{race_only} for racing only" if race_only else ""
