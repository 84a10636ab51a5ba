"""Checks on the job page."""

from jobs.checklists.ticks import JobChecklist, List, job_checklists
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import Run, Stage


def section(results: JobResults) -> Section:
    lists = results.get(job_checklists)
    state, reason = section_state(results, lists)
    return Section("checks", "Checks", state, reason, "jobs/checklists/_section.html", {"lists": lists})


def section_state(results: JobResults, lists: list[JobChecklist]) -> tuple[State, str]:
    still_open = {checklist.key: checklist.open for checklist in lists if checklist.needed and checklist.open}
    if results.page.has(Run) and List.BEFORE_ROLLER in still_open:
        return State.ATTENTION, f"{still_open[List.BEFORE_ROLLER]} checks before running open, runs were made"
    if still_open and results.job.stage in (Stage.READY, Stage.HANDED_OVER):
        return State.ATTENTION, f"{sum(still_open.values())} open"
    if not any(checklist.ticked for checklist in lists):
        return State.EMPTY, "nothing ticked yet"
    if still_open:
        return State.IN_HAND, f"{sum(still_open.values())} open"
    return State.DONE, ""
