"""The sections of the job page in the printed order."""

from jobs.page import JobPage
from jobs.sections import (
    brief,
    checks,
    clearances,
    comparisons,
    mixture,
    parts,
    runs,
    suspension,
    throttle,
    tunes,
)
from jobs.sections.base import Builder, Section, State

PRINTED_ORDER: list[Builder] = [
    brief.section,
    clearances.section,
    parts.section,
    tunes.section,
    runs.section,
    comparisons.section,
    mixture.section,
    throttle.section,
    suspension.section,
    checks.section,
]

# What stands above jobs in the import order (the handover) adds its section from its AppConfig.ready.
added_sections: list[Builder] = []


def job_sections(page: JobPage) -> list[Section]:
    return [build(page) for build in (*PRINTED_ORDER, *added_sections)]


__all__ = ["Builder", "Section", "State", "added_sections", "job_sections"]
