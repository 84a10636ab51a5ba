"""The sections of the job page in the printed order."""

from jobs.checklists import section as checks
from jobs.clearances import section as clearances
from jobs.comparisons import section as comparisons
from jobs.job.page import JobPage
from jobs.job.section import Builder, Section, State
from jobs.job_page import brief
from jobs.mixture import section as mixture
from jobs.parts import section as parts
from jobs.runs import section as runs
from jobs.suspension import section as suspension
from jobs.throttle import section as throttle
from jobs.tunes import section as tunes

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
