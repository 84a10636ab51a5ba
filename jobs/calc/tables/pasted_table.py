"""Tables as people paste them: engine speeds in the first row, grip or load in the first column.

Cells are separated by tabs, semicolons, commas or spaces; the decimal mark is a comma or a point. Formatted
again, a cell that did not change keeps its text to the letter.
"""

import math
import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.run_file.cells import is_missing, parse_number, split_cells
from jobs.calc.run_file.decimal_marks import find_decimal_marks
from jobs.calc.statistics import FloatArray
from jobs.calc.tables.cell_grid import check_axis

MAX_CELLS_PER_AXIS = 200
# No engine turns so slowly, so an axis that ends below it has a thousands mark ("4.000"). Rule of thumb, no
# published source.
MIN_FULL_SPEED_RPM = 100.0
# No engine turns so fast and no load is so large: 65535 and its like are written where there is no value.
MAX_AXIS_VALUE = 30_000.0
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)  # a group of thousands, or three decimals
_OTHER_MARK = {".": ",", ",": "."}


@dataclass(frozen=True, eq=False)
class PastedTable:
    """A table with its two axes.

    Attributes
    ----------
    column_axis, row_axis : array, (c,) and (r,)
        Engine speed [rpm], and grip or load [%]; rising.
    cells : array, (r, c)
        In any unit; NaN is an empty cell.
    texts : tuple of tuple of str, (r + 1, c + 1)
        All cells as they were pasted, axes included.
    delimiter, decimal_mark : str
    decimals : int
        Largest number of decimals of any cell.
    unclear : str
        A cell such as '4.500' if nothing in the table shows whether that is 4.5 or 4500; read as 4.5.
    """

    column_axis: FloatArray
    row_axis: FloatArray
    cells: FloatArray
    texts: tuple[tuple[str, ...], ...]
    delimiter: str
    decimal_mark: str
    decimals: int
    unclear: str = ""


def parse_table(
    text: str, *, row_name: str = "grip", column_name: str = "engine speed", max_cell: float | None = None
) -> PastedTable:
    """Parse a pasted table.

    Parameters
    ----------
    text : str
        First row engine speeds, with or without a cell in the corner; first column grip or load.
    row_name, column_name : str
        What error messages call the axes.
    max_cell : float, optional
        The largest value that a cell can have, if it is below 1000: a mark parts no thousands then.

    Returns
    -------
    PastedTable

    Raises
    ------
    ValueError
        The message names the line, the cell and what is wrong with it.
    """
    lines = _numbered_lines(text)
    delimiter = _find_delimiter([line for _, line in lines])
    numbers = [number for number, _ in lines]
    rows = _align_rows(numbers, [split_cells(line, delimiter) for _, line in lines])
    head, body = rows[0], rows[1:]
    # Without the axis: its 500 beside a cell of 4.125 would look like a value below a grouped thousand.
    mark, unclear = _find_mark([row[1:] for row in body], delimiter, max_cell)
    columns = _parse_speeds(head[1:], numbers[0], mark)
    row_axis = [_parse_value(row[0], number, 1, mark) for number, row in zip(numbers[1:], body, strict=True)]
    cells = [
        [_parse_cell(cell, number, position, mark) for position, cell in enumerate(row[1:], start=2)]
        for number, row in zip(numbers[1:], body, strict=True)
    ]
    _check_axis_values([(numbers[0], column) for column in columns], column_name)
    _check_axis_values(list(zip(numbers[1:], row_axis, strict=True)), row_name)
    return PastedTable(
        column_axis=check_axis(columns, column_name),
        row_axis=check_axis(row_axis, row_name),
        cells=np.array(cells, dtype=float),
        texts=tuple(tuple(row) for row in rows),
        delimiter=delimiter,
        decimal_mark=mark,
        decimals=max(_decimals(cell, mark) for row in body for cell in row[1:]),
        unclear=unclear,
    )


def format_table(table: PastedTable, cells: npt.ArrayLike | None = None) -> str:
    """Format a table as it was pasted.

    Parameters
    ----------
    table : PastedTable
    cells : array, (r, c), optional
        New values; a cell that did not change keeps its text.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        The cells have another shape than the table.
    """
    values = _check_cells(table, cells)
    lines = [list(table.texts[0])]
    for row, old, new in zip(table.texts[1:], table.cells, values, strict=True):
        texts = [
            text if was == now or (np.isnan(was) and np.isnan(now)) else _format_cell(float(now), table)
            for text, was, now in zip(row[1:], old, new, strict=True)
        ]
        lines.append([row[0], *texts])
    if table.delimiter == " ":  # an empty cell would be lost between spaces
        lines = [[cell or "-" for cell in line] for line in lines]
    return "\n".join(table.delimiter.join(line) for line in lines) + "\n"


def build_csv_rows(table: PastedTable, cells: npt.ArrayLike | None = None) -> list[list[str]]:
    """Build the rows of a CSV file from a table.

    Parameters
    ----------
    table : PastedTable
    cells : array, (r, c), optional
        New values.

    Returns
    -------
    list of list of str
        With decimal points; an unchanged cell keeps its number of decimals.

    Raises
    ------
    ValueError
        The cells have another shape than the table.
    """
    values = _check_cells(table, cells)
    rows = [["", *(f"{speed:g}" for speed in table.column_axis)]]
    for label, texts, old, new in zip(table.row_axis, table.texts[1:], table.cells, values, strict=True):
        row = [f"{label:g}"]
        for text, was, now in zip(texts[1:], old, new, strict=True):
            decimals = _decimals(text, table.decimal_mark) if was == now else table.decimals
            row.append("" if np.isnan(now) else f"{now:.{decimals}f}")
        rows.append(row)
    return rows


def _check_cells(table: PastedTable, cells: npt.ArrayLike | None) -> FloatArray:
    values = table.cells if cells is None else np.asarray(cells, dtype=float)
    if values.shape != table.cells.shape:
        raise ValueError(f"The table has {table.cells.shape} cells; {values.shape} were given.")
    return values


def _numbered_lines(text: str) -> list[tuple[int, str]]:
    """Return the lines that are not empty, with their numbers counted from 1."""
    numbered = enumerate(text.lstrip("\ufeff").splitlines(), start=1)
    lines = [(number, line) for number, line in numbered if line.strip(" \t;,")]
    if len(lines) < 3:
        raise ValueError(
            "The table needs a first row of engine speeds and at least two rows below it. "
            f"Only {len(lines)} {'row has' if len(lines) == 1 else 'rows have'} content."
        )
    if len(lines) > MAX_CELLS_PER_AXIS + 1:
        raise ValueError(f"The table has {len(lines)} rows. At most {MAX_CELLS_PER_AXIS} can be read.")
    return lines


def _find_delimiter(lines: list[str]) -> str:
    for mark in ("\t", ";"):
        if all(mark in line for line in lines):
            return mark
    # Between spaces, commas are decimal marks.
    spaces = all(len(line.split()) > 2 and not any(p.endswith(",") for p in line.split()) for line in lines)
    return "," if not spaces and all("," in line for line in lines) else " "


def _find_mark(rows: list[list[str]], delimiter: str, max_cell: float | None) -> tuple[str, str]:
    """Return the decimal mark, and a cell that does not show it if none does."""
    if delimiter == ",":
        return ".", ""
    marks = find_decimal_marks(rows)
    either = next((cell for row in rows for cell in row if _EITHER.fullmatch(cell)), "")
    if marks.seen or not either:
        return marks.decimal, ""
    if max_cell is not None and max_cell < 1000:
        return "," if "," in either else ".", ""
    return marks.decimal, either if marks.decimal in either else ""


def _align_rows(numbers: list[int], rows: list[list[str]]) -> list[list[str]]:
    """Give all rows one width: the first may lack its corner, all may end in surplus empty cells."""
    width = max(len(rows[1]), len(rows[2]))
    while width > 1 and all(len(row) < width or not row[width - 1] for row in rows):
        width -= 1
    if width < 3:
        raise ValueError(
            "The table needs at least two engine speeds. Check that cells are separated by tabs or "
            "semicolons."
        )
    if width > MAX_CELLS_PER_AXIS + 1:
        raise ValueError(f"The table has {width} columns. At most {MAX_CELLS_PER_AXIS} can be read.")
    rows = [_without_empty_end(row, width) for row in rows]
    if len(rows[0]) == width - 1:
        rows[0] = ["", *rows[0]]
    for number, row in zip(numbers, rows, strict=True):
        if len(row) != width:
            raise ValueError(
                f"Line {number} has {len(row)} cells, the others have {width}. Each row needs its grip or "
                "load first, then one value per engine speed."
            )
    return rows


def _without_empty_end(row: list[str], width: int) -> list[str]:
    while len(row) > width and not row[-1]:
        row = row[:-1]
    return row


def _parse_speeds(texts: list[str], line: int, mark: str) -> list[float]:
    speeds = [_parse_value(text, line, position, mark) for position, text in enumerate(texts, start=2)]
    if max(speeds) >= MIN_FULL_SPEED_RPM or not any(mark in text for text in texts):
        return speeds
    other = _OTHER_MARK[mark]
    return [_parse_value(text, line, position, other) for position, text in enumerate(texts, start=2)]


def _check_axis_values(places: list[tuple[int, float]], name: str) -> None:
    for line, value in places:
        if abs(value) > MAX_AXIS_VALUE:
            raise ValueError(
                f"Line {line}: {value:.10g} cannot be {name}. If it means that there is no value, leave that "
                "row or column out."
            )


def _parse_cell(text: str, line: int, position: int, mark: str) -> float:
    return math.nan if is_missing(text) else _parse_value(text, line, position, mark)


def _parse_value(text: str, line: int, position: int, mark: str) -> float:
    value = parse_number(text, mark)
    if value is None or math.isnan(value):
        fault = f"“{text}” is not a number" if text else "a value is missing"
        raise ValueError(f"Line {line}, column {position}: {fault}.")
    return value


def _decimals(text: str, mark: str) -> int:
    return sum(character.isdigit() for character in text.partition(mark)[2])


def _format_cell(value: float, table: PastedTable) -> str:
    return "" if np.isnan(value) else f"{value:.{table.decimals}f}".replace(".", table.decimal_mark)
