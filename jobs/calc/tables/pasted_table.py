"""A table as people paste it: engine speeds in the first row, grip or load in the first column.

Tabs, semicolons, commas or blanks part the cells; decimals are a comma or a point. Written out again, a
cell that did not change keeps the very text it came with.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.run_file.cells import is_missing, parse_number, split_cells
from jobs.calc.run_file.decimal_marks import find_decimal_marks
from jobs.calc.statistics import FloatArray
from jobs.calc.tables.cell_grid import check_axis

MOST_CELLS_A_SIDE = 200
# No engine turns this slowly: an axis that ends below it wrote its thousands with a mark ("4.000").
SLOWEST_FULL_SPEED_RPM = 100.0
_OTHER_MARK = {".": ",", ",": "."}


@dataclass(frozen=True, eq=False)
class PastedTable:
    """A table with its two axes; rows by the first column, columns by the first row.

    Attributes
    ----------
    column_axis, row_axis : array, (c,) and (r,)
        Rising.
    cells : array, (r, c)
        NaN is an empty cell.
    texts : tuple of tuple of str
        Every line's cells as they were pasted, the axes among them.
    delimiter, decimal_mark : str
    decimals : int
        Most decimals of any cell.
    """

    column_axis: FloatArray
    row_axis: FloatArray
    cells: FloatArray
    texts: tuple[tuple[str, ...], ...]
    delimiter: str
    decimal_mark: str
    decimals: int


def parse_table(text: str, *, row_name: str = "grip", column_name: str = "engine speed") -> PastedTable:
    """Read a pasted table.

    Parameters
    ----------
    text : str
        First row the engine speeds, with or without something in the corner; first column grip or load.
    row_name, column_name : str
        What the axes are called where one is at fault.

    Raises
    ------
    ValueError
        Names the line, the cell and what is wrong with it.
    """
    lines = _lines(text)
    delimiter = _delimiter([line for _, line in lines])
    numbers = [number for number, _ in lines]
    rows = _squared(numbers, [split_cells(line, delimiter) for _, line in lines])
    head, body = rows[0], rows[1:]
    # The axis has no say: its 500 beside a cell's 4.125 would pass for a figure below a grouped thousand.
    mark = "." if delimiter == "," else find_decimal_marks([row[1:] for row in body]).decimal
    columns = _speeds(head[1:], numbers[0], mark)
    row_axis = [_figure(row[0], number, 1, mark) for number, row in zip(numbers[1:], body, strict=True)]
    cells = [
        [_cell(cell, number, place, mark) for place, cell in enumerate(row[1:], start=2)]
        for number, row in zip(numbers[1:], body, strict=True)
    ]
    return PastedTable(
        column_axis=check_axis(columns, column_name),
        row_axis=check_axis(row_axis, row_name),
        cells=np.array(cells, dtype=float),
        texts=tuple(tuple(row) for row in rows),
        delimiter=delimiter,
        decimal_mark=mark,
        decimals=max(_decimals(cell, mark) for row in body for cell in row[1:]),
    )


def format_table(table: PastedTable, cells: npt.ArrayLike | None = None) -> str:
    """The table as text in the form it came in, with new figures if given; an unchanged cell keeps its text.

    Raises
    ------
    ValueError
        Cells of another shape.
    """
    figures = _figures_for(table, cells)
    lines = [list(table.texts[0])]
    for row, old, new in zip(table.texts[1:], table.cells, figures, strict=True):
        written = [
            text if was == now or (np.isnan(was) and np.isnan(now)) else _write(float(now), table)
            for text, was, now in zip(row[1:], old, new, strict=True)
        ]
        lines.append([row[0], *written])
    if table.delimiter == " ":  # an empty cell would be lost between blanks
        lines = [[cell or "-" for cell in line] for line in lines]
    return "\n".join(table.delimiter.join(line) for line in lines) + "\n"


def table_rows(table: PastedTable, cells: npt.ArrayLike | None = None) -> list[list[str]]:
    """The table as rows of figures for a CSV file: points as decimals, each cell with as many as it had.

    Raises
    ------
    ValueError
        Cells of another shape.
    """
    figures = _figures_for(table, cells)
    rows = [["", *(f"{speed:g}" for speed in table.column_axis)]]
    for label, texts, old, new in zip(table.row_axis, table.texts[1:], table.cells, figures, strict=True):
        row = [f"{label:g}"]
        for text, was, now in zip(texts[1:], old, new, strict=True):
            decimals = _decimals(text, table.decimal_mark) if was == now else table.decimals
            row.append("" if np.isnan(now) else f"{now:.{decimals}f}")
        rows.append(row)
    return rows


def _figures_for(table: PastedTable, cells: npt.ArrayLike | None) -> FloatArray:
    figures = table.cells if cells is None else np.asarray(cells, dtype=float)
    if figures.shape != table.cells.shape:
        raise ValueError(f"The table has {table.cells.shape} cells; {figures.shape} were given.")
    return figures


def _lines(text: str) -> list[tuple[int, str]]:
    """The lines that hold something, with their numbers as the person counts them."""
    numbered = enumerate(text.lstrip("\ufeff").splitlines(), start=1)
    lines = [(number, line) for number, line in numbered if line.strip(" \t;,")]
    if len(lines) < 3:
        raise ValueError(
            "A table needs a first row of engine speeds and at least two rows below it; "
            f"{len(lines)} with anything in them were found."
        )
    if len(lines) > MOST_CELLS_A_SIDE + 1:
        raise ValueError(f"The table has {len(lines)} rows; at most {MOST_CELLS_A_SIDE} can be read.")
    return lines


def _delimiter(lines: list[str]) -> str:
    for sign in ("\t", ";"):
        if all(sign in line for line in lines):
            return sign
    # With blanks between the cells, commas are decimals.
    blanks = all(len(line.split()) > 2 and not any(p.endswith(",") for p in line.split()) for line in lines)
    return "," if not blanks and all("," in line for line in lines) else " "


def _squared(numbers: list[int], rows: list[list[str]]) -> list[list[str]]:
    """All rows of one width: the first may lack its corner, all may end in cells too many that are empty."""
    width = max(len(rows[1]), len(rows[2]))
    while width > 1 and all(len(row) < width or not row[width - 1] for row in rows):
        width -= 1
    if width < 3:
        raise ValueError("A table needs at least two engine speeds: is it parted by tabs or semicolons?")
    if width > MOST_CELLS_A_SIDE + 1:
        raise ValueError(f"The table has {width} columns; at most {MOST_CELLS_A_SIDE} can be read.")
    rows = [_without_empty_end(row, width) for row in rows]
    if len(rows[0]) == width - 1:
        rows[0] = ["", *rows[0]]
    for number, row in zip(numbers, rows, strict=True):
        if len(row) != width:
            raise ValueError(
                f"Line {number} has {len(row)} cells, the others have {width}: every row needs one figure "
                "for each engine speed, and its own grip or load before them."
            )
    return rows


def _without_empty_end(row: list[str], width: int) -> list[str]:
    while len(row) > width and not row[-1]:
        row = row[:-1]
    return row


def _speeds(texts: list[str], line: int, mark: str) -> list[float]:
    speeds = [_figure(text, line, place, mark) for place, text in enumerate(texts, start=2)]
    if max(speeds) >= SLOWEST_FULL_SPEED_RPM or not any(mark in text for text in texts):
        return speeds
    other = _OTHER_MARK[mark]
    return [_figure(text, line, place, other) for place, text in enumerate(texts, start=2)]


def _cell(text: str, line: int, place: int, mark: str) -> float:
    return math.nan if is_missing(text) else _figure(text, line, place, mark)


def _figure(text: str, line: int, place: int, mark: str) -> float:
    value = parse_number(text, mark)
    if value is None or math.isnan(value):
        said = f"'{text}' is not a figure" if text else "a figure is missing"
        raise ValueError(f"Line {line}, column {place}: {said}.")
    return value


def _decimals(text: str, mark: str) -> int:
    return sum(sign.isdigit() for sign in text.partition(mark)[2])


def _write(value: float, table: PastedTable) -> str:
    return "" if np.isnan(value) else f"{value:.{table.decimals}f}".replace(".", table.decimal_mark)
