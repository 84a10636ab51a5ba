"""Mixture section of the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.mixture.sentences import describe_answer, describe_standing, severe_warnings
from jobs.models import MixtureStudy

TEMPLATE = "jobs/mixture/_section.html"


def section(results: JobResults) -> Section:
    studies = results.rows(MixtureStudy)
    latest = studies[-1] if studies else None
    state, summary = section_state(latest)
    return Section(
        "mixture",
        "Mixture",
        state,
        summary,
        TEMPLATE,
        lambda: {
            "studies": [(one, describe_answer(one), describe_standing(one)) for one in reversed(studies)],
            "severe_warnings": severe_warnings(latest) if latest else [],
        },
        who=str(latest.made_by) if latest else "",
        at=latest.created_at if latest else None,
    )


def section_state(latest: MixtureStudy | None) -> tuple[State, str]:
    if latest is None:
        return State.EMPTY, "no study yet"
    if not latest.result:
        return State.IN_HAND, "not calculated yet"
    if severe_warnings(latest):
        return State.ATTENTION, describe_answer(latest)
    on_target, measured = latest.result["cells_on_target"], latest.result["cells_measured"]
    state = State.DONE if on_target == measured else State.IN_HAND
    return state, f"{on_target} of {measured} cells on target"
