"""Throttle tables on the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.tunes.revisions import tune_in_bike
from jobs.tunes.throttle_tables import Mode, riding_modes

TEMPLATE = "jobs/throttle/_section.html"


def section(results: JobResults) -> Section:
    modes = results.get(riding_modes)
    state, reason = section_state(modes)
    context = {"modes": modes, "throttle_in_bike": results.get(tune_in_bike)}
    return Section("throttle", "Throttle tables", state, reason, TEMPLATE, context)


def section_state(modes: list[Mode]) -> tuple[State, str]:
    if not modes:
        return State.EMPTY, "no table recorded"
    flagged = [mode.name for mode in modes if mode.flags]
    if flagged:
        return State.ATTENTION, f"look at {', '.join(flagged)}"
    unassigned = [mode.name for mode in modes if not mode.for_whom]
    if unassigned:
        return State.ATTENTION, f"whom is it for: {', '.join(unassigned)}"
    return State.DONE, "1 mode" if len(modes) == 1 else f"{len(modes)} modes"
