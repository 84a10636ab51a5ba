"""Mixture on the job page."""

from jobs.job.page import JobPage
from jobs.job.section import Section, State
from jobs.mixture.tables import grave_warnings
from jobs.models import MixtureStudy

TEMPLATE = "jobs/mixture/_section.html"


def section(page: JobPage) -> Section:
    latest = page.mixture_studies[-1] if page.mixture_studies else None
    state, why = where_it_stands(latest)
    context = {
        "studies": list(reversed(page.mixture_studies)),
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
