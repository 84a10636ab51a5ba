"""Mixture on the job page."""

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.mixture.tables import grave_warnings
from jobs.models import MixtureStudy

TEMPLATE = "jobs/mixture/_section.html"


def section(results: JobResults) -> Section:
    studies = results.rows(MixtureStudy)
    latest = studies[-1] if studies else None
    state, why = where_it_stands(latest)
    context = {
        "studies": list(reversed(studies)),
        "grave_warnings": grave_warnings(latest) if latest else [],
    }
    return Section("mixture", "Mixture", state, why, TEMPLATE, context)


def where_it_stands(latest: MixtureStudy | None) -> tuple[State, str]:
    if latest is None:
        return State.EMPTY, "no study yet"
    if not latest.result:
        return State.IN_HAND, "not worked out yet"
    on, of = latest.result["cells_on_target"], latest.result["cells_measured"]
    if grave_warnings(latest):
        return State.ATTENTION, f"{on} of {of} cells on target, with warnings"
    return State.DONE if on == of else State.IN_HAND, f"{on} of {of} cells on target"
