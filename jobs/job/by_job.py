"""Facts of several jobs, by job."""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

ByJob = dict[int, list[Any]]


def group_by_job(pairs: Iterable[tuple[int, Any]]) -> ByJob:
    """Return facts by the key of their job, from pairs of both."""
    found: ByJob = defaultdict(list)
    for job, facts in pairs:
        found[job].append(facts)
    return found
