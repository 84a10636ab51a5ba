"""Where a file's figures begin, how its cells are parted, and what stands above them."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.calc.run_file.cells import reads_as_figure, split_cells
from jobs.calc.run_file.layout import DELIMITERS, MAX_COLUMNS, RunFileError
from jobs.calc.units.factors import identify_unit

SAMPLE_LINES = 60
ROWS_LOOKED_AT = 150
# In the order in which equally good ones win: a tab is never a decimal mark nor part of a name.
_CANDIDATES = ("\t", ";", "|", ",", " ")

_COMMENT_MARK = re.compile(r"^\s*(?:#+|//+|%(?=\s))\s*")
_BRACKETED = re.compile(r"[\[({<].*[\])}>]")


@dataclass(frozen=True)
class Chosen:
    """What a person has set by hand about a file's structure; None leaves it to be found.

    ``header_line`` and ``unit_line`` are 0 for 'there is none'.
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
    """Lines are counted from 1."""

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


def find_structure(lines: Sequence[str], chosen: Chosen) -> Structure:
    """The structure of a file from its first lines.

    Raises
    ------
    RunFileError
        No line holds figures, or a line has more columns than a run file can have.
    """
    delimiter = chosen.delimiter if chosen.delimiter is not None else find_delimiter(lines)
    start = _start(lines, delimiter, chosen)
    rows = [split_cells(line, delimiter) for line in lines[start : start + ROWS_LOOKED_AT] if line.strip()]
    header, header_rows, unit_line = _rows_above(lines, delimiter, start, rows, chosen)
    names, units = _names_and_units(lines, delimiter, header, header_rows, unit_line, _usual_width(rows))
    width, doubts = _width(rows, names, delimiter)
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
    )


def _padded(cells: Sequence[str], width: int) -> tuple[str, ...]:
    return (*cells[:width], *[""] * (width - len(cells)))


def find_delimiter(lines: Sequence[str]) -> str:
    """The delimiter under which most cells are figures, in rows of one width."""
    sample = _sample(lines)
    scores = {mark: _score(sample, mark) for mark in _CANDIDATES}
    best = max(_CANDIDATES, key=lambda mark: round(scores[mark], 2))
    return best if scores[best] > 0 else ""


def _score(sample: Sequence[str], delimiter: str) -> float:
    rows = [split_cells(line, delimiter) for line in sample]
    shares = [_share_of_figures(row) for row in rows]
    dense = [(len(row), share) for row, share in zip(rows, shares, strict=True) if share >= 0.5]
    widths = Counter(width for width, _ in dense if width > 1)
    if not widths:
        return 0.0
    usual = widths.most_common(1)[0][0]
    return sum(share for width, share in dense if width == usual) / len(rows)


def _share_of_figures(row: Sequence[str]) -> float:
    filled = [cell for cell in row if cell]
    return sum(map(reads_as_figure, filled)) / len(filled) if filled else 0.0


def _start(lines: Sequence[str], delimiter: str, chosen: Chosen) -> int:
    """Index of the first row of figures."""
    if chosen.data_line:
        return min(chosen.data_line, len(lines)) - 1
    below = max(chosen.header_line or 0, chosen.unit_line or 0)
    try:
        return _first_row(lines, delimiter, below)
    except RunFileError:
        if chosen.delimiter is None:
            raise
        # A delimiter that was chosen wrongly is shown for what it does, not refused.
        return _first_row(lines, find_delimiter(lines), below)


def _first_row(lines: Sequence[str], delimiter: str, below: int) -> int:
    """Index of the first row of figures that others follow, if the file has more rows."""
    sample = [split_cells(line, delimiter) for line in _sample(lines)]
    usual = _usual_width([row for row in sample if _share_of_figures(row) >= 0.5])
    first = None
    for index in range(below, len(lines)):
        if not _is_row(split_cells(lines[index], delimiter), usual):
            continue
        first = index if first is None else first
        below_it = [line for line in lines[index + 1 : index + 12] if line.strip()]
        following = [split_cells(line, delimiter) for line in below_it[:3]]
        if sum(_is_row(row, usual) for row in following) >= min(2, len(following)):
            return index
    if first is None:
        header = next((i + 1 for i, line in enumerate(lines) if line.strip()), 1)
        raise RunFileError(
            "No line holds figures: there is a header or text, but nothing to read under it.", line=header
        )
    return first


def _sample(lines: Sequence[str]) -> list[str]:
    """Lines evenly over the head, so that neither long notes above nor a footer decide."""
    filled = [line for line in lines if line.strip()]
    return filled[:: max(1, len(filled) // SAMPLE_LINES)]


def _usual_width(rows: Sequence[Sequence[str]]) -> int:
    return Counter(map(len, rows)).most_common(1)[0][0] if rows else 0


def _is_row(row: Sequence[str], usual: int) -> bool:
    if not row or len(row) < usual or len(_trimmed(row)) > usual:
        return False
    return _share_of_figures(row) >= (0.5 if usual > 2 else 0.75)


def _trimmed(row: Sequence[str]) -> list[str]:
    cells = list(row)
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _rows_above(
    lines: Sequence[str], delimiter: str, start: int, rows: Sequence[Sequence[str]], chosen: Chosen
) -> tuple[int | None, int, int | None]:
    """Indices of the header row and the unit row, and over how many rows the names go."""
    width = _usual_width(rows)
    candidates = _candidates_above(lines, delimiter, start, width)
    unit_line: int | None = None
    if chosen.unit_line is not None:
        unit_line = chosen.unit_line - 1 if 0 < chosen.unit_line <= start else None
        candidates = [index for index in candidates if unit_line is None or index < unit_line]
    elif len(candidates) > 1 and _is_unit_row(header_cells(lines[candidates[0]], delimiter, width)):
        unit_line = candidates.pop(0)
    if chosen.header_line is not None:
        header = chosen.header_line - 1 if 0 < chosen.header_line <= start else None
        return header, 1, unit_line if header is None or unit_line != header else None
    if not candidates:
        return None, 1, unit_line
    names = header_cells(lines[candidates[0]], delimiter, width)
    if len(candidates) > 1 and candidates[1] == candidates[0] - 1:
        above = header_cells(lines[candidates[1]], delimiter, width)
        if _is_group_row(above, names, width):
            return candidates[1], 2, unit_line
    return candidates[0], 1, unit_line


def _candidates_above(lines: Sequence[str], delimiter: str, start: int, width: int) -> list[int]:
    """Lines right above the figures that may be header rows, the nearest first."""
    found: list[int] = []
    for index in range(start - 1, max(-1, start - 8), -1):
        line = lines[index]
        if not any(sign.isalnum() or sign in "%°λ" for sign in line):
            if found and not line.strip():
                break
            continue
        row = header_cells(line, delimiter, width)
        filled = [cell for cell in row if cell]
        if len(filled) < (width + 1) // 2 or _share_of_figures(row) >= 0.5:
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
    """Whether a row above the names belongs to them: 'Engine, , Roller' over 'Speed, Power, Speed'."""
    if width < 3 or list(above) == list(names) or len(above) != len(names):
        return False
    gaps = any(not cell for cell in above)
    return gaps or len(set(names)) < len([name for name in names if name])


def header_cells(line: str, delimiter: str, width: int) -> list[str]:
    """A header row's cells, without a comment mark; names of several words between blanks kept whole."""
    line = _COMMENT_MARK.sub("", line.replace("\ufeff", ""))
    cells = split_cells(line, delimiter)
    if delimiter != " " or len(cells) == width:
        return cells
    unlabelled = cells[1:] if cells and cells[0].endswith(":") else cells  # 'Data:  speed  power'
    for parted in (re.split(r"\s{2,}|\t", line.strip()), _brackets_joined(cells), unlabelled):
        if len(parted) == width:
            return [cell.strip() for cell in parted]
    return cells


def _brackets_joined(cells: Sequence[str]) -> list[str]:
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
    names = [] if header is None else header_cells(lines[header], delimiter, width)
    if header is not None and header_rows == 2:
        names = _joined_names(names, header_cells(lines[header + 1], delimiter, width))
    units = [] if unit_line is None else header_cells(lines[unit_line], delimiter, width)
    return names, units


def _joined_names(groups: Sequence[str], names: Sequence[str]) -> list[str]:
    """Names under the group they stand in; a group goes on until the next one."""
    joined, group = [], ""
    for index, name in enumerate(names):
        group = (groups[index] if index < len(groups) else "") or group
        joined.append(" ".join(part for part in (group, name) if part))
    return joined


def _width(rows: Sequence[Sequence[str]], names: Sequence[str], delimiter: str) -> tuple[int, list[str]]:
    """How many columns the file has, and what about it is doubtful."""
    usual, named = _usual_width(rows), len(_trimmed(names))
    filled = max((len(_trimmed(row)) for row in rows if len(row) <= usual), default=usual)
    doubts = []
    if named and filled and named < filled:
        doubts.append(
            f"The header names {named} columns, but the rows have {filled}. "
            + (
                "Is the comma a decimal mark as well as the delimiter?"
                if filled == 2 * named and delimiter == ","
                else "Look whether each name stands over its own figures."
            )
        )
    if named > usual:
        doubts.append(
            f"The header names {named} columns, but the rows have {usual}. "
            "Look whether each name stands over its own figures."
        )
    if max(filled, named) <= 1:
        doubts.append(
            f"The file was read as a single column (delimiter: {DELIMITERS[delimiter]}). "
            "If it has several, choose another delimiter."
        )
    return max(filled, named, 1), doubts
