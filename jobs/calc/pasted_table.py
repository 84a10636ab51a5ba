"""A table as people paste it: engine speeds in the first row, grip or load in the first column.

Tabs, semicolons, commas or blanks part the cells; decimals are a comma or a point. Written out again, a
cell that did not change keeps the very text it came with.
"""

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.cell_grid import checked_axis
from jobs.calc.statistics import FloatArray

MOST_CELLS_A_SIDE = 200
# No engine turns this slowly: an axis that ends below it wrote its thousands with a mark ("4,000").
SLOWEST_FULL_SPEED_RPM = 100.0

_FIGURE = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?")
_THOUSANDS = re.compile(r"\d{1,3}(?:[.,'\u2019\u00a0\u202f ]\d{3})+")
_THOUSANDS_MARK = re.compile(r"[.,'\u2019\u00a0\u202f ]")
_BLANK = frozenset({"", "-", "–", "—"})


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
    rows = [(number, _split(line, delimiter)) for number, line in lines]
    width = len(rows[1][1])
    rows = _squared(rows, width)
    mark = "." if delimiter == "," else _decimal_mark([cell for _, row in rows for cell in row])

    columns = _speeds(rows[0][1][1:], rows[0][0], mark)
    body = rows[1:]
    row_axis = [_figure(row[0], number, 1, mark) for number, row in body]
    cells = [
        [_cell(cell, number, place, mark) for place, cell in enumerate(row[1:], start=2)]
        for number, row in body
    ]
    texts = tuple(tuple(row) for _, row in rows)
    return PastedTable(
        column_axis=checked_axis(columns, column_name),
        row_axis=checked_axis(row_axis, row_name),
        cells=np.array(cells, dtype=float),
        texts=texts,
        delimiter=delimiter,
        decimal_mark=mark,
        decimals=max((_decimals(cell, mark) for row in texts[1:] for cell in row[1:]), default=0),
    )


def format_table(table: PastedTable, cells: npt.ArrayLike | None = None, delimiter: str | None = None) -> str:
    """The table as text, with new figures in it if given; an unchanged cell keeps its text.

    Parameters
    ----------
    cells : array, (r, c), optional
    delimiter : str, optional
        Another than the table came with. Where it is a comma, decimals are points.

    Raises
    ------
    ValueError
        Cells of another shape.
    """
    figures = table.cells if cells is None else np.asarray(cells, dtype=float)
    if figures.shape != table.cells.shape:
        raise ValueError(f"The table has {table.cells.shape} cells; {figures.shape} were given.")
    between = table.delimiter if delimiter is None else delimiter
    mark = "." if between == "," else table.decimal_mark
    same = (figures == table.cells) | (np.isnan(figures) & np.isnan(table.cells))
    lines = [[_remark(text, table, mark, between) for text in table.texts[0]]]
    for i, row in enumerate(table.texts[1:]):
        new = [
            _remark(text, table, mark, between) if same[i, j] else _write(float(figures[i, j]), table, mark)
            for j, text in enumerate(row[1:])
        ]
        lines.append([_remark(row[0], table, mark, between), *new])
    return "\n".join((between or " ").join(line) for line in lines) + "\n"


def _lines(text: str) -> list[tuple[int, str]]:
    """The lines that hold something, with their numbers as the person counts them."""
    numbered = list(enumerate(text.lstrip("\ufeff").splitlines(), start=1))
    lines = [(number, line.rstrip("\r\n")) for number, line in numbered if line.strip(" \t;,\r\n")]
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
    # Blanks beside decimal commas part the cells; commas part them where there are more than decimals need.
    if all("," in line for line in lines) and not all(_is_blank_parted(line) for line in lines):
        return ","
    return ""


def _is_blank_parted(line: str) -> bool:
    parts = line.split()
    return len(parts) > 2 and not any(part.endswith(",") for part in parts)


def _split(line: str, delimiter: str) -> list[str]:
    parts = line.split(delimiter) if delimiter else line.split()
    return [part.strip().strip('"').strip() for part in parts]


def _squared(rows: list[tuple[int, list[str]]], width: int) -> list[tuple[int, list[str]]]:
    """All rows of one width: the first may lack its corner, any may end in empty cells too many."""
    while width > 1 and all(len(row) < width or not row[width - 1] for _, row in rows):
        width -= 1
    number, head = rows[0]
    while len(head) > width and not head[-1]:
        head = head[:-1]
    if len(head) == width - 1:
        head = ["", *head]
    squared = [(number, head)]
    for number, row in rows[1:]:
        while len(row) > width and not row[-1]:
            row = row[:-1]
        squared.append((number, row))
    for number, row in squared:
        if len(row) != width:
            raise ValueError(
                f"Line {number} has {len(row)} cells, the others have {width}: "
                "every row needs one figure for each engine speed, and its own grip or load before them."
            )
    if width < 3:
        raise ValueError("A table needs at least two engine speeds: is it parted by tabs or semicolons?")
    if width > MOST_CELLS_A_SIDE + 1:
        raise ValueError(f"The table has {width} columns; at most {MOST_CELLS_A_SIDE} can be read.")
    return squared


def _decimal_mark(cells: list[str]) -> str:
    """The mark of the cells; a comma that only ever stands before three digits in the axis is no decimal."""
    return "," if any("," in cell and "." not in cell for cell in cells if _FIGURE.fullmatch(cell)) else "."


def _speeds(texts: list[str], line: int, mark: str) -> list[float]:
    plain = [_plain_or_none(text, mark) for text in texts]
    marked = any(_THOUSANDS.fullmatch(text) for text in texts)
    if marked and all(value is None or value < SLOWEST_FULL_SPEED_RPM or value % 1 == 0 for value in plain):
        texts = [_THOUSANDS_MARK.sub("", text) if _THOUSANDS.fullmatch(text) else text for text in texts]
    return [_figure(text, line, place, mark) for place, text in enumerate(texts, start=2)]


def _plain_or_none(text: str, mark: str) -> float | None:
    if not _FIGURE.fullmatch(text) or ("," in text and mark == "."):
        return None
    return float(text.replace(",", "."))


def _cell(text: str, line: int, place: int, mark: str) -> float:
    return float("nan") if text in _BLANK else _figure(text, line, place, mark)


def _figure(text: str, line: int, place: int, mark: str) -> float:
    value = _plain_or_none(text.rstrip("%").strip(), mark)
    if value is None or not np.isfinite(value):
        said = f"'{text}' is not a figure" if text else "a figure is missing"
        raise ValueError(f"Line {line}, column {place}: {said}.")
    return value


def _decimals(text: str, mark: str) -> int:
    return len(text.rstrip("%").strip().partition(mark)[2]) if mark in text else 0


def _remark(text: str, table: PastedTable, mark: str, delimiter: str) -> str:
    if mark != table.decimal_mark and _FIGURE.fullmatch(text):
        return text.replace(table.decimal_mark, mark)
    # An empty corner would be lost between blanks.
    return text or ("-" if not delimiter else "")


def _write(value: float, table: PastedTable, mark: str) -> str:
    if np.isnan(value):
        return ""
    return f"{value:.{table.decimals}f}".replace(".", mark)
