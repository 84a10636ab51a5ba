"""Checks on the job page."""

from jobs.checklists.questions import last_measured, run_sessions
from jobs.checklists.ticks import JobChecklist, List, job_checklists
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.job.sentences import counted
from jobs.job.small_pictures import draw_boxes
from jobs.models import Check, Stage


def section(results: JobResults) -> Section:
    lists = results.get(job_checklists)
    state, summary = section_state(results, lists)
    latest = max(results.rows(Check), key=lambda check: check.at, default=None)
    shown = [entry for checklist in lists if checklist.needed for entry in checklist.items]
    return Section(
        "checks",
        "Checks",
        state,
        summary,
        "jobs/checklists/_section.html",
        lambda: {"lists": lists},
        who=str(latest.by) if latest else "",
        at=latest.at if latest else None,
        picture=draw_boxes([entry.check is not None for entry in shown]) if shown else "",
    )


def section_state(results: JobResults, lists: list[JobChecklist]) -> tuple[State, str]:
    needed = [checklist for checklist in lists if checklist.needed and checklist.open]
    still_open = sum(checklist.open for checklist in needed)
    before_running = sum(checklist.open for checklist in needed if checklist.key == List.BEFORE_ROLLER)
    if before_running:
        checks = counted(before_running, "check")
        return State.ATTENTION, f"{checks} before the dyno open, although runs were made"
    if still_open and results.job.stage in (Stage.READY, Stage.HANDED_OVER):
        return State.ATTENTION, describe_counts(lists)
    if outdated := sum(checklist.outdated for checklist in lists):
        return State.ATTENTION, f"{counted(outdated, 'check')} ticked before a later change, tick again"
    after_valves = sum(checklist.open for checklist in needed if checklist.key == List.AFTER_VALVES)
    if after_valves and has_run_since_valves(results):
        return (
            State.ATTENTION,
            f"{counted(after_valves, 'check')} after valve work open, although the engine has run",
        )
    if not any(checklist.is_answered for checklist in lists):
        return State.EMPTY, f"none of {counted(still_open, 'check')} ticked yet"
    if questioned := sum(checklist.questioned for checklist in lists):
        return State.ATTENTION, f"{questioned} questioned"
    if still_open:
        return State.IN_HAND, describe_counts(lists)
    return State.DONE, describe_counts(lists)


def has_run_since_valves(results: JobResults) -> bool:
    """Return True if a run is on record after the clearances as left."""
    measured = last_measured(results)
    return measured is not None and any(at > measured.measured_at for at, _ in results.get(run_sessions))


def describe_counts(lists: list[JobChecklist]) -> str:
    """Return how far each needed list is, such as '10 of 23: after valve work 6 of 6, ...'."""
    needed = [checklist for checklist in lists if checklist.needed and not checklist.is_former]
    answered = sum(checklist.answered for checklist in needed)
    total = sum(len(checklist.items) for checklist in needed)
    each = ", ".join(
        f"{checklist.short_title.lower()} {checklist.answered} of {len(checklist.items)}"
        for checklist in needed
    )
    return f"{answered} of {total} ticked: {each}"
