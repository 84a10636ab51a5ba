"""Agreed work that nobody has ticked as done."""

from jobs.job.results import JobResults
from jobs.models import WorkItem


def open_work(results: JobResults) -> list[str]:
    """Return the agreed work that is not ticked as done, by name."""
    return [item.description for item in results.rows(WorkItem) if not item.done]
