"""Throttle tables on the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.job.sentences import counted
from jobs.tunes.revisions import tune_in_bike
from jobs.tunes.throttle_tables import Mode, riding_modes

TEMPLATE = "jobs/throttle/_section.html"


def section(results: JobResults) -> Section:
    modes = results.get(riding_modes)
    state, summary = section_state(modes)
    in_bike = results.get(tune_in_bike)
    return Section(
        "throttle",
        "Throttle tables",
        state,
        summary,
        TEMPLATE,
        lambda: {"modes": modes, "throttle_in_bike": in_bike},
    )


def section_state(modes: list[Mode]) -> tuple[State, str]:
    if not modes:
        return State.EMPTY, "no table recorded"
    flagged = [mode.name for mode in modes if mode.flags]
    if flagged:
        return State.ATTENTION, f"check {', '.join(flagged)}"
    unassigned = [mode.name for mode in modes if not mode.for_whom]
    if unassigned:
        return State.ATTENTION, f"no rider named for {', '.join(unassigned)}"
    names = ", ".join(mode.name for mode in modes)
    return State.DONE, f"{counted(len(modes), 'mode')}: {names}"
