"""Checks on the job page."""

from jobs.checklists.ticks import JobChecklist, List, job_checklists
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import Stage


def section(results: JobResults) -> Section:
    lists = results.get(job_checklists)
    state, reason = section_state(results, lists)
    return Section("checks", "Checks", state, reason, "jobs/checklists/_section.html", {"lists": lists})


def section_state(results: JobResults, lists: list[JobChecklist]) -> tuple[State, str]:
    needed = [checklist for checklist in lists if checklist.needed and checklist.open]
    still_open = sum(checklist.open for checklist in needed)
    before_running = sum(checklist.open for checklist in needed if checklist.key == List.BEFORE_ROLLER)
    if before_running:
        return State.ATTENTION, f"{before_running} checks before running open, runs were made"
    if still_open and results.job.stage in (Stage.READY, Stage.HANDED_OVER):
        return State.ATTENTION, f"{still_open} open"
    if not any(checklist.is_answered for checklist in lists):
        return State.EMPTY, "nothing ticked yet"
    if questioned := sum(checklist.questioned for checklist in lists):
        return State.ATTENTION, f"{questioned} questioned"
    if still_open:
        return State.IN_HAND, f"{still_open} open"
    return State.DONE, ""
