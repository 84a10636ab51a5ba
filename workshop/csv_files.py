"""CSV files that a spreadsheet opens without running what people typed as formulas."""

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
MARK = "'"


def escape_formula(cell: Any) -> Any:
    """Mark a cell that a spreadsheet would run as a formula as text.

    Text that looks marked already is marked again, so that ``unescape_formula`` restores the original.
    """
    if isinstance(cell, str) and cell.lstrip(MARK).startswith(FORMULA_STARTS):
        return f"{MARK}{cell}"
    return "" if cell is None else cell


def unescape_formula(cell: str) -> str:
    """Undo ``escape_formula``."""
    marked = cell.startswith(MARK) and cell.lstrip(MARK).startswith(FORMULA_STARTS)
    return cell.removeprefix(MARK) if marked else cell


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return a table as CSV (RFC 4180, decimal points); None becomes an empty cell."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows([escape_formula(cell) for cell in row] for row in rows)
    return out.getvalue()
