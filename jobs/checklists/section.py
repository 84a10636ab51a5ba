"""Checks on the job page."""

from jobs.checklists.ticks import List, TickList, tick_lists
from jobs.job.page import JobPage
from jobs.job.section import Section, State
from jobs.models import Stage


def section(page: JobPage) -> Section:
    lists = tick_lists(page)
    state, why = where_it_stands(page, lists)
    return Section("checks", "Checks", state, why, "jobs/checklists/_section.html", {"lists": lists})


def where_it_stands(page: JobPage, lists: list[TickList]) -> tuple[State, str]:
    still_open = {each.key: each.open for each in lists if each.needed and each.open}
    if page.runs and List.BEFORE_ROLLER in still_open:
        return State.ATTENTION, f"{still_open[List.BEFORE_ROLLER]} checks before running open, runs were made"
    if still_open and page.job.stage in (Stage.READY, Stage.HANDED_OVER):
        return State.ATTENTION, f"{sum(still_open.values())} open"
    if not any(each.ticked for each in lists):
        return State.EMPTY, "nothing ticked yet"
    if still_open:
        return State.IN_HAND, f"{sum(still_open.values())} open"
    return State.DONE, ""
