"""How much one sheet can hold: a limit with a sentence, instead of minutes and a gigabyte of pages."""

from collections.abc import Iterator

from jobs.job import registry
from jobs.job.results import JobResults
from jobs.models import Job

# Measured with parts: a row takes some 14 ms of processor and 0.2 MB to print.
MAX_ROWS = 1_000


class TooLarge(ValueError):
    """The job has more records than one sheet can hold; the message says what to do."""


def require_printable_size(results: JobResults) -> None:
    """Raise TooLarge if the sheet of a job would have too many rows."""
    counts = sorted(rows_by_kind(results), reverse=True)
    total = sum(count for count, _ in counts)
    if total > MAX_ROWS:
        count, name = counts[0]
        raise TooLarge(
            f"This job has {total} records, and one sheet holds up to {MAX_ROWS}. Most of them are {name}: "
            f"{count}. Remove what is not needed, or move later work to a job of its own."
        )


def rows_by_kind(results: JobResults) -> Iterator[tuple[int, str]]:
    for kind in registry.all_rows():
        if kind.to_job and not kind.off_sheet and kind.model is not Job:
            yield len(results.rows(kind.model)), str(kind.model._meta.verbose_name_plural)
