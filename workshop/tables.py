"""Tables as files: CSV that a spreadsheet opens without running what people typed."""

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

RUN_BY_SPREADSHEETS = ("=", "+", "-", "@", "\t", "\r")


def as_text(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula, marked as text; numbers as they are."""
    if isinstance(cell, str) and cell.startswith(RUN_BY_SPREADSHEETS):
        return f"'{cell}"
    return "" if cell is None else cell


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A table with its header, comma and point, lines ended as RFC 4180 says; None is an empty cell."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows([as_text(cell) for cell in row] for row in rows)
    return out.getvalue()
