"""CSV files that a spreadsheet opens without running what people typed as formulas."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any

MARK = "'"
# What a spreadsheet may run: a cell that begins with one of these signs, plain or full-width. A semicolon,
# tab or line end inside a cell begins another one if the spreadsheet takes that for the delimiter. A negative
# number is no formula; a number after a plus is a phone number more often, which would lose it.
_FORMULA_START = re.compile(
    rf"(?P<before>^|[;\t\r\n])(?P<marks>{MARK}*)(?P<sign>[=+\-@\uff1d\uff0b\uff0d\uff20])"
    r"(?P<number>(?<=-)(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?(?=$|[;\t\r\n]))?"
)


def escape_formula(cell: Any) -> Any:
    """Mark text that a spreadsheet would run as a formula; numbers stay numbers.

    Text that looks marked already is marked again, so that ``unescape_formula`` restores the original.
    """
    if isinstance(cell, str):
        return _FORMULA_START.sub(_mark, cell)
    return "" if cell is None else cell


def _mark(start: re.Match[str]) -> str:
    if start["number"] and not start["marks"]:
        return start.group()
    return f"{start['before']}{MARK}{start['marks']}{start['sign']}{start['number'] or ''}"


def unescape_formula(cell: str) -> str:
    """Undo ``escape_formula``."""
    return _FORMULA_START.sub(
        lambda start: start["before"] + start["marks"][1:] + start["sign"] + (start["number"] or ""), cell
    )


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return a table as CSV (RFC 4180, decimal points); None becomes an empty cell."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows([escape_formula(cell) for cell in row] for row in rows)
    return out.getvalue()
