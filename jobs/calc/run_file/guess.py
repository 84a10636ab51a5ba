"""What is read of a run file, and what a person sees of it before confirming how."""

from dataclasses import dataclass, field

import numpy as np

from jobs.calc.run_file.layout import FileLayoutSpec
from jobs.calc.run_file.report import Question, Report
from jobs.calc.statistics import FloatArray


@dataclass(frozen=True, eq=False)
class RunFile:
    """The content of a run file.

    Attributes
    ----------
    channels : dict of str to array, (n,)
        All of one length. Known quantities by their id and in its unit; other columns by their own name and
        in their own unit. NaN is 'not measured'.
    report : Report
    lines : array of int, (n,)
        Line number of each row.
    doubts : tuple of str
        Those of the report's questions that a person should answer before the file is stored.
    """

    channels: dict[str, FloatArray]
    report: Report
    lines: np.ndarray
    doubts: tuple[str, ...] = ()


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
    ends : tuple of (float or None, float or None)
        Smallest and largest value of the whole file, in the channel's unit.
    """

    label: str
    unit_label: str
    raw: tuple[str, ...]
    values: FloatArray
    questions: tuple[str, ...]
    ends: tuple[float | None, float | None]


@dataclass(frozen=True, eq=False)
class Preview:
    """A file as read with a layout, and its first rows.

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
    content : RunFile or None
        The whole file; None if nothing can be read.
    """

    lines: tuple[tuple[int, str], ...]
    row_lines: tuple[int, ...]
    columns: tuple[ColumnView, ...]
    questions: tuple[Question, ...]
    problem: str = ""
    content: RunFile | None = field(default=None, repr=False)


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
    width_doubts : tuple of str
        Those of the layout's doubts that no remembered layout answers.
    """

    layout: FileLayoutSpec
    lines: tuple[str, ...]
    decimal_seen: bool
    width_doubts: tuple[str, ...] = ()
