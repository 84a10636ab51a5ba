"""Rows of a file that are skipped, counted with their line numbers."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from jobs.calc.run_file.cells import is_missing, looks_numeric, split_cells
from jobs.calc.run_file.layout import FileLayoutSpec
from jobs.calc.run_file.text import TAIL_BYTES, FileText

MAX_LINES_NAMED = 20
MAX_LABELLED_FOOTERS = 3  # 'Max,63.1,9088' below a table; more of them are rows of it

REPEATED_HEADER = "repeated header"
FOOTER = "text below the data"
LABELLED = "text before too few cells"
EMPTY = "empty"
NO_FIGURES = "no number in the row"
CUT_OFF = "incomplete row"
TOO_SHORT = "too few cells; not certain which one is missing"


@dataclass
class LineTally:
    """A count with the first line numbers.

    Attributes
    ----------
    count : int
    lines : list of int
        At most `MAX_LINES_NAMED`, rising.
    """

    count: int = 0
    lines: list[int] = field(default_factory=list)

    def add(self, lines: Iterable[int], count: int | None = None) -> None:
        """Add lines, or more of them than are named.

        Parameters
        ----------
        lines : iterable of int
        count : int, optional
            How many there are in all; the number of ``lines`` by default.
        """
        given = list(lines)
        self.count += len(given) if count is None else count
        self.lines = sorted([*self.lines, *given[:MAX_LINES_NAMED]])[:MAX_LINES_NAMED]


@dataclass(frozen=True)
class SkippedRows:
    """Rows skipped for one reason.

    Attributes
    ----------
    reason : str
    count : int
    lines : tuple of int
        The first of them.
    """

    reason: str
    count: int
    lines: tuple[int, ...]


def name_lines(tally: LineTally | SkippedRows) -> str:
    """Format as 'line 3' or 'lines 3, 4, 9, 10, 12 and 11 more'.

    Parameters
    ----------
    tally : LineTally or SkippedRows

    Returns
    -------
    str
    """
    shown = ", ".join(str(line) for line in tally.lines[:5])
    more = tally.count - len(tally.lines[:5])
    return f"line{'s' if tally.count > 1 else ''} {shown}" + (f" and {more} more" if more > 0 else "")


def find_data_end(text: FileText, layout: FileLayoutSpec, start: int) -> tuple[int, dict[str, LineTally]]:
    """Find the end of the figures, before a row that was cut off and text below them.

    Parameters
    ----------
    text : FileText
    layout : FileLayoutSpec
    start : int
        Offset [byte] of the first row of figures.

    Returns
    -------
    end : int
        Offset [byte] behind the last row of figures.
    dropped : dict of str to LineTally
        Reason to the lines skipped for it.
    """
    tail = max(start, text.end - TAIL_BYTES)
    if tail > start:
        tail = text.data.find(b"\n", tail, text.end) + 1 or text.end
    raw = text.data[tail : text.end].split(b"\n")
    offset = text.end - len(raw[-1])
    if not raw[-1]:
        raw.pop()
        offset -= len(raw[-1]) + 1 if raw else 0
    reasons = [_skip_reason(text, layout, raw, index) for index in range(len(raw))]
    first = len(raw) - next((i for i, reason in enumerate(reversed(reasons)) if reason is None), len(raw))
    if reasons[first:].count(LABELLED) > MAX_LABELLED_FOOTERS:  # rows of the table, not results below it
        first = len(raw) - reasons[::-1].index(LABELLED)
    end, skipped = text.end, []
    for index in range(len(raw) - 1, first - 1, -1):
        reason = reasons[index] or ""
        if reason != EMPTY:
            end = offset
        skipped.append((offset, reason))
        offset -= len(raw[index - 1]) + 1
    dropped: dict[str, LineTally] = {}
    for offset, reason in skipped:
        if reason != EMPTY:
            line = layout.data_line + text.count_lines(start, offset)
            dropped.setdefault(reason, LineTally()).add([line])
    return end, dropped


def _skip_reason(text: FileText, layout: FileLayoutSpec, raw: Sequence[bytes], index: int) -> str | None:
    width = len(layout.columns)
    cells = _cells(text, layout, raw[index])
    filled = [cell for cell in cells if not is_missing(cell)]
    if not any(cells):
        return EMPTY
    starts_with_figure = bool(filled) and looks_numeric(filled[0])
    if index == len(raw) - 1 and text.data[text.end - 1] != 0x0A and index:
        above = _cells(text, layout, raw[index - 1])
        if 1 <= len(cells) < min(width, len(above)) and starts_with_figure:
            return CUT_OFF
    figures = sum(map(looks_numeric, filled))
    if filled and (figures == 0 or (len(cells) < width and not starts_with_figure)):
        return LABELLED if 2 * figures >= width else FOOTER
    return None


def _cells(text: FileText, layout: FileLayoutSpec, raw: bytes) -> list[str]:
    line = raw.decode(text.encoding, "replace").strip("\r\n")
    return split_cells(line, layout.delimiter) if line.strip() else []
