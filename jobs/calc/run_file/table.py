"""The figures of a file: one array a column.

A clean file is read in one pass by pandas. If a cell is no figure, the file is read block by block and only
the damaged blocks cell by cell, so that one bad line in a long file costs little.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from jobs.calc.channels import match_channels
from jobs.calc.run_file.cells import MISSING_MARKS, is_missing, parse_cells, parse_number, split_cells
from jobs.calc.run_file.column_meaning import split_unit
from jobs.calc.run_file.layout import (
    DECIMALS,
    DELIMITERS,
    MAX_COLUMNS,
    TIME_FORMS,
    FileLayoutSpec,
    RunFileError,
)
from jobs.calc.run_file.skipped_rows import (
    CUT_OFF,
    EMPTY,
    LABELLED,
    MAX_LINES_NAMED,
    NO_FIGURES,
    REPEATED_HEADER,
    TOO_SHORT,
    LineTally,
    find_data_end,
)
from jobs.calc.run_file.structure import split_header
from jobs.calc.run_file.text import MAX_ROWS, FileText
from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import format_number
from jobs.calc.warning_filters import filter_warnings

# Rows or cells beyond this share of a file are a loss that a person is asked about.
MAX_LOSS_SHARE = 0.01
BLOCK_BYTES = 1024 * 1024
LEAF_BYTES = 64 * 1024

_NO_DELIMITER = "\x1f"  # for one column: a character that no text file has

# The figures of a column and which of its cells are none; None if there is no such cell.
ColumnValues = tuple[FloatArray, np.ndarray | None]


@dataclass(eq=False)
class Table:
    """The columns of a file in its own units; clock times in seconds [s].

    Attributes
    ----------
    values : list of array, (rows,)
        By position; NaN for a cell that is missing or no figure.
    lines : array of int, (rows,)
        Line number of each row.
    refused, missing : list of LineTally
        By position: cells that are no figures; cells that are empty or marked as missing.
    dropped : dict of str to LineTally
        Reason to the rows skipped for it.
    longer, shorter : LineTally
        Rows with more cells than columns, whose surplus cells are skipped; rows with fewer, counted only if
        the last column often lacks a figure.
    lost : int
        Skipped rows that may have held figures: text and repeated headers do not count.
    other_headers : list of (int, str)
        Line number and text of rows that look like another header.
    """

    values: list[FloatArray]
    lines: np.ndarray
    refused: list[LineTally]
    missing: list[LineTally]
    dropped: dict[str, LineTally]
    longer: LineTally
    shorter: LineTally
    lost: int
    other_headers: list[tuple[int, str]]


def read_table(text: FileText, layout: FileLayoutSpec) -> Table:
    """Read the figures of a file.

    Parameters
    ----------
    text : FileText
    layout : FileLayoutSpec

    Returns
    -------
    Table

    Raises
    ------
    RunFileError
        No row with a figure is left, or there are too many rows.
    """
    return _Reader(text, layout).read()


class _Reader:
    """One pass over a file; every line makes one row until rows are skipped at the end."""

    def __init__(self, text: FileText, layout: FileLayoutSpec) -> None:
        self.text, self.layout = text, layout
        self.width = len(layout.columns)
        self.rows = self.row = 0
        self.out: list[FloatArray] = []
        self.refused: dict[int, np.ndarray] = {}
        self.headers: list[int] = []
        self.as_text: set[int] = set()
        self.wide = self.width  # with surplus cells
        self.dropped: dict[str, LineTally] = {}
        self.longer = LineTally()
        self.lost = 0
        self.other_headers: list[tuple[int, str]] = []

    def read(self) -> Table:
        layout, text = self.layout, self.text
        if not self.width:
            raise RunFileError("The layout has no named columns.", line=layout.data_line)
        start = text.offset_of_line(layout.data_line)
        end, self.dropped = find_data_end(text, layout, start)
        if start >= end:
            raise RunFileError(self._explain_nothing(start), line=layout.data_line)
        self.start, self.end = start, end
        self.quoted = text.data.find(b'"', start, end) >= 0
        self._inspect_first_rows(start, end)
        # pandas also ends a line at a lone carriage return, and none inside quotes. Only counting the rows
        # shows that they are not our lines.
        rows = text.count_lines(start, end) if self.quoted or text.data.find(b"\r", start, end) >= 0 else None
        if not self._read_whole(start, end, rows):
            self._read_blocks(start, end)
        return self._finish()

    def _explain_nothing(self, start: int) -> str:
        """Say why no row can be read, and where to change that."""
        lines = self.text.decode(start, self.text.end).split("\n")
        count, line = sum(1 for text in lines if text.strip()), self.layout.data_line
        if not count:
            return f"The file has no row from line {line} on. Set the first line with numbers."
        rows = "The only row" if count == 1 else f"None of the {format_number(count)} rows"
        skipped = {reason: tally.count for reason, tally in self.dropped.items() if reason != EMPTY}
        reasons = ", ".join(f"{format_number(number)} {reason}" for reason, number in skipped.items())
        return (
            f"{rows} from line {line} on can{'not' if count == 1 else ''} be read: {reasons}. "
            f"The delimiter is {DELIMITERS[self.layout.delimiter]}, the decimal mark "
            f"{DECIMALS[self.layout.decimal]}: set them or the first line with numbers."
        )

    def _offset_after(self, start: int, end: int, lines: int) -> int:
        for _ in range(lines):
            found = self.text.data.find(b"\n", start, end)
            if found < 0:
                return end
            start = found + 1
        return start

    # --- in one pass

    def _inspect_first_rows(self, start: int, end: int) -> None:
        """Find surplus cells and the columns that pandas cannot read as figures (clock times, words)."""
        stop = min(end, self._offset_after(start, end, 100))
        lines = self.text.decode(start, stop).split("\n")
        rows = [split_cells(line, self.layout.delimiter) for line in lines if line.strip()]
        self.wide = max(self.width, *(min(len(row), 2 * MAX_COLUMNS) for row in rows), 0)
        for column in self.layout.columns:
            cells = [row[column.position] for row in rows if len(row) > column.position]
            filled = [cell for cell in cells if cell and not is_missing(cell)]
            if column.unit in TIME_FORMS or (filled and not any(self._is_number(cell) for cell in filled)):
                self.as_text.add(column.position)

    def _is_number(self, cell: str) -> bool:
        return parse_number(cell, self.layout.decimal, self.layout.thousands) is not None

    def _frame(self, source: io.BytesIO, rows: int | None, *, typed: bool = True) -> Any:
        """Return the figures as pandas reads them; None if it cannot, or if its rows are not our lines."""
        import pandas as pd

        delimiter = self.layout.delimiter
        types = {i: np.float64 if i < self.width and i not in self.as_text else str for i in range(self.wide)}
        with filter_warnings("error", pd.errors.ParserWarning):  # 'this leads to a loss of data'
            try:
                frame = pd.read_csv(
                    source,
                    sep=r"\s+" if delimiter == " " else delimiter or _NO_DELIMITER,
                    decimal=self.layout.decimal,
                    header=None,
                    names=list(range(self.wide)),
                    index_col=False,
                    dtype=types if typed else None,
                    na_values=list(MISSING_MARKS),
                    keep_default_na=False,
                    skip_blank_lines=False,
                    skipinitialspace=self.quoted,
                    quoting=csv.QUOTE_MINIMAL if self.quoted else csv.QUOTE_NONE,
                    encoding_errors="replace",
                    nrows=MAX_ROWS + 1,
                    low_memory=typed,  # faster, but only if no type is guessed
                )
            except (ValueError, OverflowError, pd.errors.ParserWarning):
                return None
        return frame if rows in (None, len(frame)) else None

    def _columns(self, frame: Any) -> Iterator[ColumnValues]:
        """Take the columns out of a frame one by one, so that its memory is freed."""
        first = self.layout.data_line + self.row
        if self.wide > self.width:
            too_many = frame[list(range(self.width, self.wide))].notna().any(axis="columns")
            self.longer.add((first + np.flatnonzero(too_many)).tolist())
        return (self._column(frame.pop(i), i) for i in range(self.width))

    def _read_whole(self, start: int, end: int, rows: int | None) -> bool:
        data = self.text.data
        if end == len(data):
            source = io.BytesIO(data)  # shares the bytes; a slice would copy them
            source.seek(start)
        else:
            source = io.BytesIO(memoryview(data)[start:end])
        frame = self._frame(source, rows)
        if frame is None:
            return False
        self._set_rows(len(frame))
        for i, (values, refused) in enumerate(self._columns(frame)):
            self.out.append(values)
            if refused is not None and refused.any():
                self.refused[i] = refused
        return True

    def _set_rows(self, rows: int) -> None:
        if rows > MAX_ROWS:
            raise RunFileError(
                f"The file has more than {format_number(MAX_ROWS)} rows and cannot be imported."
            )
        self.rows = rows

    # --- block by block

    def _read_blocks(self, start: int, end: int) -> None:
        self._set_rows(self.text.count_lines(start, end))
        self.out = [np.full(self.rows, np.nan) for _ in range(self.width)]
        for begin, stop in self._cut(start, end, BLOCK_BYTES):
            self._read_piece(begin, stop, LEAF_BYTES)

    def _cut(self, start: int, end: int, size: int) -> Iterable[tuple[int, int]]:
        """Cut a range into pieces of whole lines, each of about ``size`` bytes."""
        while start < end:
            stop = min(end, start + size)
            if stop < end:
                stop = self.text.data.find(b"\n", stop, end) + 1 or end
            yield start, stop
            start = stop

    def _read_piece(self, start: int, end: int, smaller: int | None) -> None:
        """Read a piece in one pass, else in smaller pieces, else cell by cell."""
        rows = self.text.count_lines(start, end)
        block = self._utf8(start, end)
        self.wide = self._widest(block)
        frame = self._frame(io.BytesIO(block), rows)
        if frame is not None:
            self._take([*self._columns(frame)], rows)
        elif smaller is not None and end - start > smaller:
            for begin, stop in self._cut(start, end, smaller):
                self._read_piece(begin, stop, None)
        else:
            self._read_leaf(block, rows)

    def _widest(self, block: bytes) -> int:
        """Count the cells of the longest line, delimiters in quotes included; at least one a column."""
        mark = self.layout.delimiter.encode()
        if mark in (b"", b" "):
            return self.width
        longest = max((line.count(mark) for line in block.split(b"\n")), default=0) + 1
        return max(self.width, min(longest, 2 * MAX_COLUMNS))

    def _utf8(self, start: int, end: int) -> bytes:
        block = self.text.data[start:end]
        if self.text.encoding == "utf-8" or block.isascii():
            return block
        return block.decode(self.text.encoding, "replace").encode("utf-8")

    def _read_leaf(self, block: bytes, rows: int) -> None:
        lines = block.decode("utf-8", "replace").split("\n")[:rows]
        frame = self._frame(io.BytesIO(block), rows, typed=False)
        self._take(self._by_cells(lines) if frame is None else [*self._columns(frame)], rows, lines)

    def _by_cells(self, lines: Sequence[str]) -> list[ColumnValues]:
        mark, width = self.layout.delimiter, self.width
        split = [split_cells(line.rstrip("\r"), mark) if line.strip() else [] for line in lines]
        first = self.layout.data_line + self.row
        self.longer.add(first + i for i, row in enumerate(split) if any(row[width:]))
        return [self._parse([row[i] if i < len(row) else "" for row in split], i) for i in range(width)]

    def _parse(self, cells: Sequence[str], i: int) -> tuple[FloatArray, np.ndarray]:
        return parse_cells(cells, self.layout.decimal, self.layout.thousands, self.layout.columns[i].unit)

    def _column(self, series: Any, i: int) -> ColumnValues:
        """Convert a column of pandas into figures and the cells that are none."""
        import pandas as pd

        if pd.api.types.is_numeric_dtype(series.dtype):
            values: FloatArray = series.to_numpy(dtype=np.float64)
            if np.isinf(values).any():
                refused = np.isinf(values)
                return np.where(refused, np.nan, values), refused
            return values, None
        # Parse a repeated cell once.
        codes, cells = pd.factorize(series)
        figures, bad = self._parse([str(cell) for cell in cells], i)
        return np.append(figures, np.nan)[codes], np.append(bad, False)[codes]

    def _take(
        self,
        columns: Sequence[ColumnValues],
        rows: int,
        lines: Sequence[str] | None = None,
    ) -> None:
        here = slice(self.row, self.row + rows)
        for i, (values, refused) in enumerate(columns):
            self.out[i][here] = values
            if refused is not None and refused.any():
                self.refused.setdefault(i, np.zeros(self.rows, dtype=bool))[here] = refused
        if lines is not None:
            figure = np.any([np.isfinite(values) for values, _ in columns], axis=0)
            wordy = np.flatnonzero(~figure).tolist()
            self.headers += [self.row + i for i in wordy if self._is_header(lines[i])]
        self.row += rows

    def _is_header(self, line: str) -> bool:
        if not hasattr(self, "_headers"):
            layout, head = self.layout, self.text.head()
            numbers = {layout.header_line, layout.unit_line}
            if layout.header_line and layout.header_rows == 2:
                numbers.add(layout.header_line + 1)
            above = [head[n - 1] for n in numbers if n and n <= len(head)]
            self._headers = [split_header(header, layout.delimiter, self.width) for header in above]
        return split_header(line.rstrip("\r"), self.layout.delimiter, self.width) in self._headers

    # --- counting and closing

    def _finish(self) -> Table:
        lines = np.arange(self.layout.data_line, self.layout.data_line + self.rows)
        drop = self._rows_without_figures()
        self._note_dropped(drop, lines)
        drop[self._rows_too_short()] = True
        if drop.all():
            raise RunFileError(self._explain_nothing(self.start), line=self.layout.data_line)
        keep = ~drop
        refused, missing = [], []
        for i, values in enumerate(self.out):
            bad = self.refused.get(i)
            gaps = np.isnan(values)
            gaps &= keep
            if bad is not None:
                bad &= keep
                gaps &= ~bad
            refused.append(_tally(bad, lines))
            missing.append(_tally(gaps, lines))
        if drop.any():
            lines = lines[keep]
            for i in range(self.width):
                self.out[i] = self.out[i][keep]
        shorter = self._count_shorter(missing[-1].count, len(lines))
        lost = self.lost + sum(
            self.dropped[r].count for r in (LABELLED, CUT_OFF, TOO_SHORT) if r in self.dropped
        )
        return Table(
            self.out, lines, refused, missing, self.dropped, self.longer, shorter, lost, self.other_headers
        )

    def _count_shorter(self, without_last: int, rows: int) -> LineTally:
        """Count the rows with fewer cells than columns, if so many lack the last one that it matters."""
        mark, tally = self.layout.delimiter.encode(), LineTally()
        if mark in (b"", b" ") or self.quoted or without_last <= MAX_LOSS_SHARE * rows:
            return tally
        lines = self.text.data[self.start : self.end].split(b"\n")
        short = [i for i, line in enumerate(lines) if line.strip() and line.count(mark) < self.width - 1]
        if 2 * len(short) <= len(lines):  # of more, the layout says that it names too many columns
            tally.add([self.layout.data_line + i for i in short[:MAX_LINES_NAMED]], len(short))
        return tally

    def _rows_without_figures(self) -> np.ndarray:
        empty = np.isnan(self.out[0])
        for values in self.out[1:]:
            if not empty.any():
                break
            empty &= np.isnan(values)
        return empty

    def _rows_too_short(self) -> list[int]:
        """Return the rows between spaces that lack a cell: nothing says which, so no figure is certain."""
        if self.layout.delimiter != " " or not (gaps := np.flatnonzero(np.isnan(self.out[-1]))).size:
            return []
        lines = self.text.data[self.start : self.end].split(b"\n")
        short = [
            i for i in gaps.tolist() if 0 < len(lines[i].split()) < self.width and lines[i].count(b'"') == 0
        ]
        short = [i for i in short if any(np.isfinite(values[i]) for values in self.out)]
        if short:
            self.dropped.setdefault(TOO_SHORT, LineTally()).add([self.layout.data_line + i for i in short])
        return short

    def _note_dropped(self, drop: np.ndarray, lines: np.ndarray) -> None:
        if not drop.any():
            return
        header = np.zeros(self.rows, dtype=bool)
        header[self.headers] = True
        words = np.zeros(self.rows, dtype=bool)
        for bad in self.refused.values():
            words |= bad
        self._inspect_wordy_rows(np.flatnonzero(words & ~header & drop))
        reasons = ((REPEATED_HEADER, header), (NO_FIGURES, words & ~header), (EMPTY, ~words & ~header))
        for reason, mask in reasons:
            found = lines[mask & drop]
            if len(found):
                self.dropped.setdefault(reason, LineTally()).add(found[:MAX_LINES_NAMED].tolist(), len(found))

    def _inspect_wordy_rows(self, rows: np.ndarray) -> None:
        """Count the rows of whole width without a figure as lost, unless they are another header."""
        if not rows.size:
            return
        lines = self.text.data[self.start : self.end].split(b"\n")
        for i in rows.tolist():
            line = lines[i].decode(self.text.encoding, "replace").strip("\r")
            cells = [cell for cell in split_header(line, self.layout.delimiter, self.width) if cell]
            if 2 * len(cells) < self.width or len(cells) < 2:
                continue
            if sum(_names_channel(cell) for cell in cells[: 2 * MAX_LINES_NAMED]) >= 2:
                self.other_headers.append((self.layout.data_line + i, line))
            else:
                self.lost += 1


def _names_channel(cell: str) -> bool:
    return any(share > 0.5 for share, _ in match_channels(split_unit(cell)[0]).values())


def _tally(mask: np.ndarray | None, lines: np.ndarray) -> LineTally:
    if mask is None or not (count := int(np.count_nonzero(mask))):
        return LineTally()
    return LineTally(count, lines[np.flatnonzero(mask)[:MAX_LINES_NAMED]].tolist())
