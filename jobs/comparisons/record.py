"""Contribution of comparisons to a job."""

from typing import Any

from jobs.comparisons.facts import COMPARISONS, verdicts_by_job
from jobs.comparisons.section import section
from jobs.job.page import JobPage, Rows, link_to
from jobs.job.registry import BikeHistory, JobRecord
from jobs.models import Comparison, ComparisonRun, Run, TuneRevision


def link_members(page: JobPage, rows: list[Any]) -> None:
    link_to(rows, "comparison", page.rows(Comparison))
    link_to(rows, "run", page.rows(Run))


FROM_RUNS = "Computed from runs, which are on it."

RECORD = JobRecord(
    "comparisons",
    rows=(
        Rows(Comparison, off_timeline=FROM_RUNS),
        Rows(ComparisonRun, "comparison__job", link=link_members, off_timeline=FROM_RUNS),
    ),
    reads=(Comparison, ComparisonRun, Run, TuneRevision),
    section=section,
    printed=COMPARISONS,
    bike_history=BikeHistory(verdicts_by_job, "jobs/comparisons/_history.html"),
)
