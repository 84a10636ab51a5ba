"""Mixture section of the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.mixture.tables import severe_warnings
from jobs.models import MixtureStudy

TEMPLATE = "jobs/mixture/_section.html"


def section(results: JobResults) -> Section:
    studies = results.rows(MixtureStudy)
    latest = studies[-1] if studies else None
    state, reason = section_state(latest)
    context = {
        "studies": list(reversed(studies)),
        "severe_warnings": severe_warnings(latest) if latest else [],
    }
    return Section("mixture", "Mixture", state, reason, TEMPLATE, context)


def section_state(latest: MixtureStudy | None) -> tuple[State, str]:
    if latest is None:
        return State.EMPTY, "no study yet"
    if not latest.result:
        return State.IN_HAND, "not worked out yet"
    on_target, measured = latest.result["cells_on_target"], latest.result["cells_measured"]
    if severe_warnings(latest):
        return State.ATTENTION, f"{on_target} of {measured} cells on target, with warnings"
    state = State.DONE if on_target == measured else State.IN_HAND
    return state, f"{on_target} of {measured} cells on target"
