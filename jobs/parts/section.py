"""Parts and other changes of the bike on the job page."""

from functools import partial
from typing import Any

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import BikeChange, Part
from jobs.parts.on_bike import change_causes, items_on_bike, part_causes


def section(results: JobResults) -> Section:
    parts, bike_changes = results.rows(Part), results.rows(BikeChange)
    state, summary = section_state(parts, bike_changes)
    times = [part.fitted_at for part in parts if part.fitted_at] + [change.at for change in bike_changes]
    return Section(
        "parts",
        "Parts",
        state,
        summary,
        "jobs/parts/_section.html",
        partial(section_context, results),
        at=max(times, default=None),
    )


def section_context(results: JobResults) -> dict[str, Any]:
    parts, on_bike = results.rows(Part), results.get(items_on_bike)
    causes = [*results.get(part_causes), *results.get(change_causes)]
    return {
        "parts": parts,
        "bike_changes": results.rows(BikeChange),
        "any_race_only": any(cause.race_only for cause in causes),
        "carried": [
            cause.describe(results.shop, results.job) for cause in causes if cause.job != results.job
        ],
        "off_again": [part.pk for part in parts if part not in on_bike],
    }


def section_state(parts: list[Part], bike_changes: list[BikeChange]) -> tuple[State, str]:
    if not parts and not bike_changes:
        return State.EMPTY, "none fitted"
    on_the_shelf = sum(part.fitted_at is None for part in parts)
    if on_the_shelf:
        return State.IN_HAND, f"{on_the_shelf} of {len(parts)} not fitted yet"
    fitted = name_a_few([part.name for part in parts] + [str(change) for change in bike_changes])
    race_only = sum(part.race_only for part in parts)
    return State.DONE, f"{fitted}; {race_only} for race use only" if race_only else fitted


def name_a_few(names: list[str]) -> str:
    more = f" and {len(names) - 2} more" if len(names) > 2 else ""
    return ", ".join(names[:2]) + more
