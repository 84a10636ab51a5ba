"""Checks on the job page."""

from jobs.checklists.ticks import List, TickList, job_checklists
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import Run, Stage


def section(results: JobResults) -> Section:
    lists = results.get(job_checklists)
    state, why = where_it_stands(results, lists)
    return Section("checks", "Checks", state, why, "jobs/checklists/_section.html", {"lists": lists})


def where_it_stands(results: JobResults, lists: list[TickList]) -> tuple[State, str]:
    still_open = {each.key: each.open for each in lists if each.needed and each.open}
    if results.page.has(Run) and List.BEFORE_ROLLER in still_open:
        return State.ATTENTION, f"{still_open[List.BEFORE_ROLLER]} checks before running open, runs were made"
    if still_open and results.job.stage in (Stage.READY, Stage.HANDED_OVER):
        return State.ATTENTION, f"{sum(still_open.values())} open"
    if not any(each.ticked for each in lists):
        return State.EMPTY, "nothing ticked yet"
    if still_open:
        return State.IN_HAND, f"{sum(still_open.values())} open"
    return State.DONE, ""
