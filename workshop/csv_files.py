"""Tables as files: CSV that a spreadsheet opens without running what people typed."""

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

RUN_BY_SPREADSHEETS = ("=", "+", "-", "@", "\t", "\r")
MARK = "'"


def as_text(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula, marked as text; numbers as they are.

    Text that looks marked already is marked once more, so that ``from_text`` gives back what it was.
    """
    if isinstance(cell, str) and cell.lstrip(MARK).startswith(RUN_BY_SPREADSHEETS):
        return f"{MARK}{cell}"
    return "" if cell is None else cell


def from_text(cell: str) -> str:
    """A cell of such a file as it was before ``as_text``."""
    marked = cell.startswith(MARK) and cell.lstrip(MARK).startswith(RUN_BY_SPREADSHEETS)
    return cell.removeprefix(MARK) if marked else cell


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A table with its header, comma and point, lines ended as RFC 4180 says; None is an empty cell."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows([as_text(cell) for cell in row] for row in rows)
    return out.getvalue()
