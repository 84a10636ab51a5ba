"""The customer's wishes on the job page."""

from functools import partial
from typing import Any

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import Wish
from jobs.wishes.evidence import evidence_of_wishes

Result = Wish.Result


def section(results: JobResults) -> Section:
    wishes = results.rows(Wish)
    state, summary = section_state(wishes)
    latest = max(wishes, key=lambda wish: wish.updated_at, default=None)
    return Section(
        "wishes",
        "Wishes",
        state,
        summary,
        "jobs/wishes/_section.html",
        partial(section_context, results),
        who=str(latest.answered_by or "") if latest else "",
        at=latest.updated_at if latest else None,
    )


def section_context(results: JobResults) -> dict[str, Any]:
    evidence = results.get(evidence_of_wishes)
    return {"wishes": [(wish, evidence[wish.pk]) for wish in results.rows(Wish)]}


def section_state(wishes: list[Wish]) -> tuple[State, str]:
    if not wishes:
        return State.EMPTY, "the request is not split into wishes"
    asking = sum(wish.result == Result.ASK_FIRST for wish in wishes)
    if asking:
        return State.ATTENTION, f"{asking} to ask the customer about"
    answered = sum(wish.result != Result.OPEN for wish in wishes)
    state = State.DONE if answered == len(wishes) else State.IN_HAND
    return state, f"{answered} of {len(wishes)} answered"
