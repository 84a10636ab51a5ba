"""What of a file is no row of figures, and a count of it with the lines where it stands."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from jobs.calc.run_file.cells import is_missing, reads_as_figure, split_cells
from jobs.calc.run_file.layout import Layout
from jobs.calc.run_file.text import TAIL_BYTES, Text

LINES_NAMED = 20

REPEATED_HEADER = "repeated header"
FOOTER = "text below the figures"
EMPTY = "empty"
NO_FIGURES = "no figure in the row"
CUT_OFF = "cut off in the middle"
TOO_SHORT = "too few cells between blanks to tell which is missing"


@dataclass
class Tally:
    """How many, and where the first of them stand."""

    count: int = 0
    lines: list[int] = field(default_factory=list)

    def add(self, lines: Iterable[int], count: int | None = None) -> None:
        given = list(lines)
        self.count += len(given) if count is None else count
        self.lines = sorted([*self.lines, *given[:LINES_NAMED]])[:LINES_NAMED]


def end_of_figures(text: Text, layout: Layout, start: int) -> tuple[int, dict[str, Tally]]:
    """Leave out a last row that was cut off, and lines of text below the figures.

    Returns
    -------
    end : int
        The offset behind the last row of figures.
    dropped : dict
        Why lines were left out -> how many and where.
    """
    tail = max(start, text.end - TAIL_BYTES)
    if tail > start:
        tail = text.data.find(b"\n", tail, text.end) + 1 or text.end
    raw = text.data[tail : text.end].split(b"\n")
    offset = text.end - len(raw[-1])
    if not raw[-1]:
        raw.pop()
        offset -= len(raw[-1]) + 1 if raw else 0
    end, left_out = text.end, []
    for index in range(len(raw) - 1, -1, -1):
        reason = _reason_to_leave_out(text, layout, raw, index)
        if reason is None:
            break
        if reason != EMPTY:
            end = offset
        left_out.append((offset, reason))
        offset -= len(raw[index - 1]) + 1
    dropped: dict[str, Tally] = {}
    for offset, reason in left_out:
        if reason != EMPTY:
            line = layout.data_line + text.count_lines(start, offset)
            dropped.setdefault(reason, Tally()).add([line])
    return end, dropped


def _reason_to_leave_out(text: Text, layout: Layout, raw: Sequence[bytes], index: int) -> str | None:
    width = len(layout.columns)
    cells = _cells(text, layout, raw[index])
    if not any(cells):
        return EMPTY
    if index == len(raw) - 1 and text.data[text.end - 1] != 0x0A and index:
        above = _cells(text, layout, raw[index - 1])
        if 1 <= len(cells) < width <= len(above) and reads_as_figure(cells[0]):
            return CUT_OFF
    filled = [cell for cell in cells if not is_missing(cell)]
    figures = sum(map(reads_as_figure, filled))
    if filled and (figures == 0 or (len(cells) < width and not reads_as_figure(cells[0]))):
        return FOOTER
    return None


def _cells(text: Text, layout: Layout, raw: bytes) -> list[str]:
    line = raw.decode(text.encoding, "replace").strip("\r\n")
    return split_cells(line, layout.delimiter) if line.strip() else []
