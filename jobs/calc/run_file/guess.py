"""What a person sees of a run file before confirming how it is read."""

from dataclasses import dataclass

from jobs.calc.run_file.layout import FileLayoutSpec
from jobs.calc.run_file.report import Question
from jobs.calc.statistics import FloatArray


@dataclass(frozen=True, eq=False)
class ColumnView:
    """The first rows of one column.

    Attributes
    ----------
    label, unit_label : str
        Name and unit of its channel; its own if it is no channel.
    raw : tuple of str
        The cells as they are in the file.
    values : array, (rows,)
        The same cells as read, in the channel's unit.
    questions : tuple of str
        What to check about this column.
    """

    label: str
    unit_label: str
    raw: tuple[str, ...]
    values: FloatArray
    questions: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Preview:
    """The first rows as read with a layout.

    Attributes
    ----------
    lines : tuple of (int, str)
        The file's first lines with their numbers, to point at header and units.
    row_lines : tuple of int
        The line number of each row of ``columns``.
    columns : tuple of ColumnView
    questions : tuple of Question
    problem : str
        Why nothing can be read with this layout; empty if something can.
    """

    lines: tuple[tuple[int, str], ...]
    row_lines: tuple[int, ...]
    columns: tuple[ColumnView, ...]
    questions: tuple[Question, ...]
    problem: str = ""


@dataclass(frozen=True, eq=False)
class Guess:
    """A suggested layout.

    Attributes
    ----------
    layout : FileLayoutSpec
    lines : tuple of str
        The file's first lines.
    decimal_seen : bool
        Whether the file's figures leave no choice of decimal mark.
    """

    layout: FileLayoutSpec
    lines: tuple[str, ...]
    decimal_seen: bool
