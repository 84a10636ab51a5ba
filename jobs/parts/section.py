"""Parts and other changes of the bike on the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import BikeChange, Part
from jobs.parts.on_bike import change_causes, items_on_bike, part_causes


def section(results: JobResults) -> Section:
    parts, bike_changes = results.rows(Part), results.rows(BikeChange)
    state, reason = section_state(parts, bike_changes)
    on_bike = results.get(items_on_bike)
    causes = [*results.get(part_causes), *results.get(change_causes)]
    context = {
        "parts": parts,
        "bike_changes": bike_changes,
        "any_race_only": any(cause.race_only for cause in causes),
        "carried": [
            cause.describe(results.shop, results.job) for cause in causes if cause.job != results.job
        ],
        "off_again": [part.pk for part in parts if part not in on_bike],
    }
    return Section("parts", "Parts", state, reason, "jobs/parts/_section.html", context)


def section_state(parts: list[Part], bike_changes: list[BikeChange]) -> tuple[State, str]:
    if not parts and not bike_changes:
        return State.EMPTY, "no parts fitted"
    on_the_shelf = sum(part.fitted_at is None for part in parts)
    if on_the_shelf:
        return State.IN_HAND, f"{on_the_shelf} not fitted yet"
    race_only = sum(part.race_only for part in parts)
    return State.DONE, f"{race_only} for racing only" if race_only else ""
