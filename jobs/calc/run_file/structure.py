"""The structure of a file: its delimiter, its first row of figures, and the header above it."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.calc.run_file.cells import looks_numeric, split_cells
from jobs.calc.run_file.layout import DELIMITERS, MAX_COLUMNS, RunFileError
from jobs.calc.units.factors import identify_unit

SAMPLE_LINES = 60
MAX_SAMPLE_ROWS = 150
MAX_SHOWN = 60  # characters of a line in a sentence
# The first of equally good ones wins: a tab is never a decimal mark nor part of a name.
_CANDIDATES = ("\t", ";", "|", ",", " ")

_COMMENT_MARK = re.compile(r"^\s*(?:#+|//+|%(?=\s))\s*")
_BRACKETED = re.compile(r"[\[({<].*[\])}>]")


@dataclass(frozen=True)
class StructureOverrides:
    """What a person has set of a file's structure; None leaves it to be detected.

    Attributes
    ----------
    encoding, delimiter, decimal, thousands : str or None
        Keys of `ENCODINGS`, `DELIMITERS`, `DECIMALS` and `THOUSANDS`.
    header_line, unit_line : int or None
        Counted from 1; 0 if the file has none.
    data_line : int or None
        Counted from 1.
    """

    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    thousands: str | None = None
    header_line: int | None = None
    unit_line: int | None = None
    data_line: int | None = None


@dataclass(frozen=True)
class Structure:
    """The structure of a file as detected. Lines are counted from 1.

    Attributes
    ----------
    delimiter : str
    data_line : int
    width : int
        Number of columns.
    header_line, unit_line : int or None
    header_rows : int
        1 or 2.
    names, units : tuple of str, (width,)
    rows : tuple of tuple of str
        Cells of the first rows of figures.
    doubts, width_doubts : tuple of str
        What a person should check, and what of it is about names without values or values without names.
    """

    delimiter: str
    data_line: int
    width: int
    header_line: int | None
    header_rows: int
    unit_line: int | None
    names: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    doubts: tuple[str, ...]
    width_doubts: tuple[str, ...]


def find_structure(lines: Sequence[str], overrides: StructureOverrides) -> Structure:
    """Detect the structure of a file from its first lines.

    Parameters
    ----------
    lines : sequence of str
    overrides : StructureOverrides
        What a person has set; the rest is detected around it.

    Returns
    -------
    Structure

    Raises
    ------
    RunFileError
        No line holds figures, or a line has more columns than a run file can have.
    """
    delimiter = overrides.delimiter if overrides.delimiter is not None else _find_delimiter(lines)
    start = _start(lines, delimiter, overrides)
    rows = [split_cells(line, delimiter) for line in lines[start : start + MAX_SAMPLE_ROWS] if line.strip()]
    header, header_rows, unit_line = _rows_above(lines, delimiter, start, rows, overrides)
    names, units = _names_and_units(lines, delimiter, header, header_rows, unit_line, _usual_width(rows))
    width, width_doubts = _width(rows, names, delimiter)
    doubts = [*width_doubts, *_single_column_doubt(width, delimiter)]
    if width > MAX_COLUMNS:
        raise RunFileError(f"A line has {width} columns; at most {MAX_COLUMNS} are read.", line=start + 1)
    return Structure(
        delimiter,
        start + 1,
        width,
        None if header is None else header + 1,
        header_rows,
        None if unit_line is None else unit_line + 1,
        _padded(names, width),
        _padded(units, width),
        tuple(tuple(row) for row in rows),
        tuple(doubts),
        tuple(width_doubts),
    )


def _padded(cells: Sequence[str], width: int) -> tuple[str, ...]:
    return (*cells[:width], *[""] * (width - len(cells)))


def _find_delimiter(lines: Sequence[str]) -> str:
    """Return the delimiter that makes most cells figures, in rows of one width."""
    sample = _sample(lines)
    scores = {mark: _score(sample, mark) for mark in _CANDIDATES}
    best = max(_CANDIDATES, key=lambda mark: round(scores[mark], 2))
    return best if scores[best] > 0 else ""


def _score(sample: Sequence[str], delimiter: str) -> float:
    rows = [split_cells(line, delimiter) for line in sample]
    shares = [_numeric_share(row) for row in rows]
    dense = [(len(row), share) for row, share in zip(rows, shares, strict=True) if share >= 0.5]
    widths = Counter(width for width, _ in dense if width > 1)
    if not widths:
        return 0.0
    usual = widths.most_common(1)[0][0]
    return sum(share for width, share in dense if width == usual) / len(rows)


def _numeric_share(row: Sequence[str]) -> float:
    filled = [cell for cell in row if cell]
    return sum(map(looks_numeric, filled)) / len(filled) if filled else 0.0


def _start(lines: Sequence[str], delimiter: str, overrides: StructureOverrides) -> int:
    """Return the index of the first row of figures, as set or as detected."""
    if overrides.data_line:
        return min(overrides.data_line, len(lines)) - 1
    below = max(overrides.header_line or 0, overrides.unit_line or 0)
    try:
        return _first_row(lines, delimiter, below)
    except RunFileError:
        if overrides.delimiter is None:
            raise
        # Show what a wrongly chosen delimiter does instead of refusing it.
        return _first_row(lines, _find_delimiter(lines), below)


def _first_row(lines: Sequence[str], delimiter: str, below: int) -> int:
    """Return the index of the first row of figures that others follow, if the file has more rows."""
    sample = [split_cells(line, delimiter) for line in _sample(lines)]
    usual = _usual_width([row for row in sample if _numeric_share(row) >= 0.5])
    first = None
    for index in range(below, len(lines)):
        if not _is_row(split_cells(lines[index], delimiter), usual):
            continue
        first = index if first is None else first
        below_it = [line for line in lines[index + 1 : index + 12] if line.strip()]
        following = [split_cells(line, delimiter) for line in below_it[:3]]
        if sum(_is_row(row, usual) for row in following) >= min(2, len(following)):
            return _above_short_rows(lines, delimiter, index, below, usual)
    if first is None:
        raise _no_row_error(lines, delimiter)
    return first


def _no_row_error(lines: Sequence[str], delimiter: str) -> RunFileError:
    header = next((i + 1 for i, line in enumerate(lines) if line.strip()), 1)
    with_digit = [i + 1 for i, line in enumerate(lines) if any(sign.isdigit() for sign in line)]
    if not with_digit:
        return RunFileError("The file has no data rows under the header or text.", line=header)
    last = with_digit[-1]
    return RunFileError(
        f"No line was recognised as a row of numbers (delimiter: {DELIMITERS[delimiter]}). Line {last} reads "
        f"'{lines[last - 1].strip()[:MAX_SHOWN]}'. Set the delimiter or the first line with numbers, or "
        "export the run as a table.",
        line=last,
    )


def _above_short_rows(lines: Sequence[str], delimiter: str, index: int, below: int, usual: int) -> int:
    """Move up over rows of figures alone that lack a cell, so that the header above them is found."""
    while index > below:
        cells = split_cells(lines[index - 1], delimiter)
        if not max(2, usual / 2) <= len(cells) < usual or not all(map(looks_numeric, cells)):
            break
        index -= 1
    return index


def _sample(lines: Sequence[str]) -> list[str]:
    """Sample lines evenly over the head, so that neither long notes above nor a footer decide."""
    filled = [line for line in lines if line.strip()]
    return filled[:: max(1, len(filled) // SAMPLE_LINES)]


def _usual_width(rows: Sequence[Sequence[str]]) -> int:
    return Counter(map(len, rows)).most_common(1)[0][0] if rows else 0


def _is_row(row: Sequence[str], usual: int) -> bool:
    if not row or len(row) < usual or len(_trimmed(row)) > usual:
        return False
    return _numeric_share(row) >= (0.5 if usual > 2 else 0.75)


def _trimmed(row: Sequence[str]) -> list[str]:
    cells = list(row)
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _rows_above(
    lines: Sequence[str],
    delimiter: str,
    start: int,
    rows: Sequence[Sequence[str]],
    overrides: StructureOverrides,
) -> tuple[int | None, int, int | None]:
    """Return the index of the header row, how many rows the names take, and the index of the unit row."""
    width = _usual_width(rows)
    candidates = _candidates_above(lines, delimiter, start, width)
    unit_line: int | None = None
    if overrides.unit_line is not None:
        unit_line = overrides.unit_line - 1 if 0 < overrides.unit_line <= start else None
        candidates = [index for index in candidates if unit_line is None or index < unit_line]
    elif len(candidates) > 1 and _is_unit_row(split_header(lines[candidates[0]], delimiter, width)):
        unit_line = candidates.pop(0)
    if overrides.header_line is not None:
        header = overrides.header_line - 1 if 0 < overrides.header_line <= start else None
        return header, 1, unit_line if header is None or unit_line != header else None
    if not candidates:
        return None, 1, unit_line
    names = split_header(lines[candidates[0]], delimiter, width)
    if len(candidates) > 1 and candidates[1] == candidates[0] - 1:
        above = split_header(lines[candidates[1]], delimiter, width)
        if _is_group_row(above, names, width):
            return candidates[1], 2, unit_line
    return candidates[0], 1, unit_line


def _candidates_above(lines: Sequence[str], delimiter: str, start: int, width: int) -> list[int]:
    """Return the indices of possible header rows right above the figures, nearest first."""
    found: list[int] = []
    for index in range(start - 1, max(-1, start - 8), -1):
        line = lines[index]
        if not any(sign.isalnum() or sign in "%°λ" for sign in line):
            if found and not line.strip():
                break
            continue
        row = split_header(line, delimiter, width)
        filled = [cell for cell in row if cell]
        if len(filled) < (width + 1) // 2 or _numeric_share(row) >= 0.5:
            break
        found.append(index)
        if len(found) == 3:
            break
    return found


def _is_unit_row(row: Sequence[str]) -> bool:
    filled = [cell for cell in row if cell and cell not in ("-", "–")]
    known = sum(1 for cell in filled if identify_unit(cell) is not None or _BRACKETED.fullmatch(cell))
    return bool(filled) and known >= 0.6 * len(filled)


def _is_group_row(above: Sequence[str], names: Sequence[str], width: int) -> bool:
    """Return True if a row above the names groups them: 'Engine, , Roller' over 'Speed, Power, Speed'."""
    if width < 3 or list(above) == list(names) or len(above) != len(names):
        return False
    gaps = any(not cell for cell in above)
    return gaps or len(set(names)) < len([name for name in names if name])


def split_header(line: str, delimiter: str, width: int) -> list[str]:
    """Split a header row into cells.

    Parameters
    ----------
    line : str
        A comment mark at its start is ignored.
    delimiter : str
        Key of `DELIMITERS`.
    width : int
        Number of columns. Between spaces it tells which words make one name.

    Returns
    -------
    list of str
    """
    line = _COMMENT_MARK.sub("", line.replace("\ufeff", ""))
    cells = split_cells(line, delimiter)
    if delimiter != " " or len(cells) == width:
        return cells
    unlabelled = cells[1:] if cells and cells[0].endswith(":") else cells  # 'Data:  speed  power'
    for names in (re.split(r"\s{2,}|\t", line.strip()), _join_brackets(cells), unlabelled):
        if len(names) == width:
            return [cell.strip() for cell in names]
    return cells


def _join_brackets(cells: Sequence[str]) -> list[str]:
    joined: list[str] = []
    for cell in cells:
        if joined and (cell[:1] in "[(" or joined[-1].count("[") > joined[-1].count("]")):
            joined[-1] += f" {cell}"
        else:
            joined.append(cell)
    return joined


def _names_and_units(
    lines: Sequence[str],
    delimiter: str,
    header: int | None,
    header_rows: int,
    unit_line: int | None,
    width: int,
) -> tuple[list[str], list[str]]:
    names = [] if header is None else split_header(lines[header], delimiter, width)
    if header is not None and header_rows == 2:
        names = _join_names(names, split_header(lines[header + 1], delimiter, width))
    units = [] if unit_line is None else split_header(lines[unit_line], delimiter, width)
    return names, units


def _join_names(groups: Sequence[str], names: Sequence[str]) -> list[str]:
    """Prefix each name with its group; a group extends to the next one."""
    joined, group = [], ""
    for index, name in enumerate(names):
        group = (groups[index] if index < len(groups) else "") or group
        joined.append(" ".join(part for part in (group, name) if part))
    return joined


def _width(rows: Sequence[Sequence[str]], names: Sequence[str], delimiter: str) -> tuple[int, list[str]]:
    """Return the number of columns and what is doubtful about it."""
    usual, named = _usual_width(rows), len(_trimmed(names))
    filled = max((len(_trimmed(row)) for row in rows if len(row) <= usual), default=usual)
    doubts = []
    if named and filled and named < filled:
        doubts.append(
            f"The header has {named} columns, but the rows have {filled}. "
            + (
                "Is the comma a decimal mark as well as the delimiter?"
                if filled == 2 * named and delimiter == ","
                else "Check that each name is above its own values."
            )
        )
    if named > usual:
        doubts.append(
            f"The header has {named} columns, but the rows have {usual}. "
            "Check that each name is above its own values."
        )
    return max(filled, named, 1), doubts


def _single_column_doubt(width: int, delimiter: str) -> list[str]:
    if width > 1:
        return []
    return [
        f"The file was read as one column (delimiter: {DELIMITERS[delimiter]}). "
        "If it has more, choose another delimiter."
    ]
