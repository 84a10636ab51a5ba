"""The cells of a run file: figures, clock times, marks for 'missing', or none of these."""

import csv
import math
import re
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from functools import lru_cache

import numpy as np

from jobs.calc.run_file.layout import CLOCK, DATE_TIME
from jobs.calc.statistics import FloatArray
from jobs.calc.units.factors import identify_unit

# What files write if there is no figure.
MISSING_MARKS = (
    "",
    "-",
    "--",
    "---",
    "----",
    "NaN",
    "nan",
    "NAN",
    "NA",
    "N/A",
    "n/a",
    "#N/A",
    "na",
    "null",
    "NULL",
    "None",
)
_MISSING = frozenset(MISSING_MARKS)

SECONDS_PER_DAY = 86_400.0
MAX_FIGURE_LENGTH = 64  # longer cells are text, and some patterns take a time of its square

_PLAIN = re.compile(r"[+-]?(?:\d++\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_WITH_UNIT = re.compile(r"([+-]?[\d.,' ]*\d[.,]?(?:[eE][+-]?\d{1,3})?) *([^\d\s.,+-].{0,11})", re.ASCII)
_BLANKS = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2009": " ", "−": "-", "–": "-", "’": "'"})
_CLOCK = re.compile(
    r"(?:(\d{1,3}):)?(\d{1,2}):(\d{1,2})(?:[.,](\d{1,9})|:(\d{3}))?\s*([aApP])?\.?[mM]?\.?", re.ASCII
)
_DATE_TIME = re.compile(
    r"(?:(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{1,2})[-/.](\d{1,2})[-/.](\d{2,4}))[T ,]+"
    r"(\d{1,2}:\d{2}.*?)\s*(?:Z|UTC|[+-]\d{2}:?\d{2})?",
    re.ASCII,
)
_DATE = re.compile(r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})", re.ASCII)


def split_cells(line: str, delimiter: str) -> list[str]:
    """Split a line into cells, without the spaces and quotes around them.

    Parameters
    ----------
    line : str
    delimiter : str
        Key of `DELIMITERS`; empty for one column.

    Returns
    -------
    list of str
    """
    if delimiter == "":
        return [line.strip().strip('"').strip()]
    if delimiter == " ":
        return _split_quoted(line, " ") if '"' in line else line.split()
    if '"' in line:
        return _split_quoted(line, delimiter)
    return [cell.strip() for cell in line.split(delimiter)]


def _split_quoted(line: str, delimiter: str) -> list[str]:
    if line.count('"') % 2:  # an unclosed quote would swallow the rest of the line
        line = line.replace('"', "")
    try:
        row = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        row = line.split(delimiter)
    cells = [cell.strip().strip('"').strip() for cell in row]
    return [cell for cell in cells if cell] if delimiter == " " else cells


def _grouped(thousands: str, decimal: str) -> re.Pattern[str]:
    mark, point = re.escape(thousands), re.escape(decimal)
    return re.compile(rf"[+-]?\d{{1,3}}(?:{mark}\d{{3}})+(?:{point}\d*)?", re.ASCII)


_GROUPED = {(t, d): _grouped(t, d) for t in ",.' " for d in ",." if t != d}


def is_missing(cell: str) -> bool:
    """Return True if a cell is empty or marked as missing.

    Parameters
    ----------
    cell : str

    Returns
    -------
    bool
    """
    return cell.strip() in _MISSING


@lru_cache(maxsize=65_536)
def parse_number(
    cell: str, decimal: str = ".", thousands: str = "", unit_id: str | None = None
) -> float | None:
    """Parse the figure in a cell.

    Parameters
    ----------
    cell : str
    decimal, thousands : str
        The marks of the layout, which take precedence. A figure grouped in threes by another mark, or with
        the other decimal mark, is read if it can mean nothing else.
    unit_id : str, optional
        The unit of the column. A unit behind the figure is allowed if it is the same.

    Returns
    -------
    float or None
        NaN if the cell is marked as missing; None if it is no finite figure.
    """
    if decimal == "." and _PLAIN.fullmatch(cell):
        return _finite(cell)
    if len(cell) > MAX_FIGURE_LENGTH:
        return None
    text = cell.strip().strip('"').translate(_BLANKS).strip()
    if text in _MISSING:
        return math.nan
    plain = text
    if decimal == ",":
        plain = "" if "." in text else text.replace(",", ".")
    if _PLAIN.fullmatch(plain):
        return _finite(plain)
    if (value := _grouped_or_foreign(text, decimal, thousands)) is not None:
        return value
    if (match := _WITH_UNIT.fullmatch(text)) and (found := identify_unit(match[2])) is not None:
        return parse_number(match[1], decimal, thousands) if unit_id in (None, found) else None
    return None


def _grouped_or_foreign(text: str, decimal: str, thousands: str) -> float | None:
    for mark in dict.fromkeys((thousands, " ", "'", "," if decimal == "." else ".")):
        if mark and mark != decimal and _GROUPED[mark, decimal].fullmatch(text):
            return _finite(text.replace(mark, "").replace(",", "."))
    other = "," if decimal == "." else "."
    if other != thousands and text.count(other) == 1 and decimal not in text:
        foreign = text.replace(",", ".")
        return _finite(foreign) if _PLAIN.fullmatch(foreign) else None
    return None


def _finite(plain: str) -> float | None:
    value = float(plain)
    return value if math.isfinite(value) else None


def _parse_clock(cell: str) -> float | None:
    """Return the seconds since midnight of '12:03:04.5', '03:04,5' or '1:02:03 PM'; None if it is no time."""
    if len(cell) > MAX_FIGURE_LENGTH or (match := _CLOCK.fullmatch(cell.strip())) is None:
        return None
    hours, minutes, seconds = int(match[1] or 0), int(match[2]), int(match[3])
    if (minutes > 59 and match[1]) or seconds > 59:
        return None
    if match[6]:
        hours = hours % 12 + (12 if match[6] in "pP" else 0)
    fraction = float(f"0.{match[4]}") if match[4] else int(match[5] or 0) / 1000
    return hours * 3600.0 + minutes * 60.0 + seconds + fraction


def _parse_date_time(cell: str, day_first: bool = True) -> float | None:
    """Return the seconds since the year 1 of '2026-11-25T12:03:04.5'; None if it is no date with time."""
    if len(cell) > MAX_FIGURE_LENGTH or (match := _DATE_TIME.fullmatch(cell.strip())) is None:
        return None
    clock = match[7] if match[7].count(":") > 1 else re.sub(r"(:\d{2})", r"\1:00", match[7], count=1)
    if (seconds := _parse_clock(clock)) is None:
        return None
    year, month, day = _year_month_day(match, day_first)
    try:
        return date(year, month, day).toordinal() * SECONDS_PER_DAY + seconds
    except ValueError:
        return None


def _year_month_day(match: re.Match[str], day_first: bool) -> tuple[int, int, int]:
    if match[1]:
        return int(match[1]), int(match[2]), int(match[3])
    first, second, year = int(match[4]), int(match[5]), int(match[6])
    month, day = (second, first) if (day_first and second <= 12) or first > 12 else (first, second)
    return year + 2000 if year < 100 else year, month, day


def detect_time_form(cell: str) -> str | None:
    """Return which way of writing a time a cell uses.

    Parameters
    ----------
    cell : str

    Returns
    -------
    str or None
        'clock' or 'date_time'; None if it is neither.
    """
    if ":" not in cell:
        return None
    if _parse_clock(cell) is not None:
        return CLOCK
    return DATE_TIME if _parse_date_time(cell) is not None else None


@lru_cache(maxsize=65_536)
def looks_numeric(cell: str) -> bool:
    """Return True if a cell holds a figure, a time or a date, whatever the decimal mark.

    Parameters
    ----------
    cell : str

    Returns
    -------
    bool
    """
    if _PLAIN.fullmatch(cell):
        return True
    if (
        not cell
        or len(cell) > MAX_FIGURE_LENGTH
        or cell in _MISSING
        or not any(sign.isdigit() for sign in cell)
    ):
        return False
    return (
        parse_number(cell, ".") is not None
        or parse_number(cell, ",") is not None
        or detect_time_form(cell) is not None
        or _DATE.fullmatch(cell) is not None
    )


def parse_cells(
    cells: Sequence[str], decimal: str, thousands: str, unit_id: str | None
) -> tuple[FloatArray, np.ndarray]:
    """Parse the cells of a column.

    Parameters
    ----------
    cells : sequence of str, (n,)
    decimal, thousands : str
        The marks of the layout.
    unit_id : str or None
        The unit of the column, or 'clock' or 'date_time'.

    Returns
    -------
    values : array of float, (n,)
        In the unit of the file, times in seconds [s]; NaN for a cell that is missing or no figure.
    refused : array of bool, (n,)
        True for a cell that is no figure.
    """
    parse = _cell_parser(cells, decimal, thousands, unit_id)
    parsed = [parse(cell) for cell in cells]
    refused = np.fromiter((value is None for value in parsed), dtype=bool, count=len(parsed))
    values = np.fromiter((math.nan if value is None else value for value in parsed), np.float64, len(parsed))
    return values, refused


def _cell_parser(
    cells: Iterable[str], decimal: str, thousands: str, unit_id: str | None
) -> Callable[[str], float | None]:
    """Return the function that parses one of these cells."""
    if unit_id == CLOCK:
        return lambda cell: math.nan if is_missing(cell) else _parse_clock(cell)
    if unit_id == DATE_TIME:
        day_first = not any(_is_month_first(cell) for cell in cells)
        return lambda cell: math.nan if is_missing(cell) else _parse_date_time(cell, day_first)
    if thousands == "":
        decimal = _evident_decimal(cells, decimal)
    return lambda cell: parse_number(cell, decimal, thousands, unit_id)


def _is_month_first(cell: str) -> bool:
    match = _DATE_TIME.fullmatch(cell.strip())
    return match is not None and bool(match[4]) and int(match[4]) <= 12 < int(match[5])


def _evident_decimal(cells: Iterable[str], decimal: str) -> str:
    """Return the other mark if some cell can only mean it as decimal mark and none has the layout's."""
    other = "," if decimal == "." else "."
    found = False
    for cell in cells:
        if decimal in cell:
            return decimal
        if other in cell and not _GROUPED[other, decimal].fullmatch(cell.strip()):
            found = True
    return other if found else decimal
