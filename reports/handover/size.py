"""How much one sheet can hold: a limit with a sentence, instead of minutes and a gigabyte of pages."""

from collections.abc import Sequence

from django.db import models

from jobs.calc.units.numbers import format_number
from jobs.job import registry
from jobs.job.results import JobResults
from jobs.models import Job

# Measured with parts: a row takes some 14 ms of processor and 0.2 MB to print; a page of text takes less.
MAX_ROWS = 1_000
MAX_CHARACTERS = 500_000  # some 150 pages


class TooLarge(ValueError):
    """The job has more than one sheet can hold; the message says what to do."""


def require_printable_size(results: JobResults) -> None:
    """Raise TooLarge if the sheet of a job would have too many rows or too long texts."""
    kinds = [kind.model for kind in registry.all_rows() if kind.to_job and not kind.off_sheet]
    rows = {model: results.rows(model) for model in kinds if model is not Job}
    total = sum(map(len, rows.values()))
    if total > MAX_ROWS:
        most = max(rows, key=lambda model: len(rows[model]))
        raise TooLarge(
            f"This job has {total} records, and one sheet holds up to {MAX_ROWS}. Most of them are "
            f"{most._meta.verbose_name_plural}: {len(rows[most])}. Remove what is not needed, or move later "
            "work to a job of its own."
        )
    lengths = {str(model._meta.verbose_name_plural): count_characters(found) for model, found in rows.items()}
    lengths["request and check-in"] = count_characters([results.job])
    length = sum(lengths.values())
    if length > MAX_CHARACTERS:
        longest = max(lengths, key=lambda name: lengths[name])
        raise TooLarge(
            f"The texts of this job have {format_number(length)} characters, and one sheet holds up to "
            f"{format_number(MAX_CHARACTERS)}. Most of them are in: {longest}. Shorten these texts."
        )


def count_characters(rows: Sequence[models.Model]) -> int:
    """Return the length of all texts of some rows; those that were not read do not count."""
    return sum(len(value) for row in rows for value in vars(row).values() if isinstance(value, str))
