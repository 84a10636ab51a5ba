"""What a person sees of a run file before agreeing to how it is read."""

from dataclasses import dataclass

from jobs.calc.run_file.column_meaning import Suggestion
from jobs.calc.run_file.layout import Column, Layout
from jobs.calc.run_file.report import Question
from jobs.calc.statistics import FloatArray


@dataclass(frozen=True, eq=False)
class ColumnView:
    """One column as a person sees it before agreeing.

    Attributes
    ----------
    column : Column
    label, unit_label : str
        What it is read as; its own name where it is no channel.
    raw : tuple of str
        The cells as they stand in the file.
    values : array, (rows,)
        The same cells as they are read, in the channel's unit.
    alternatives : tuple of Suggestion
        What it may be, the likeliest first.
    """

    column: Column
    label: str
    unit_label: str
    raw: tuple[str, ...]
    values: FloatArray
    alternatives: tuple[Suggestion, ...]
    questions: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Preview:
    """What is read with a layout, from the first rows.

    Attributes
    ----------
    lines : tuple of (int, str)
        The file's first lines with their numbers, to point at header and units.
    row_lines : tuple of int
        The line that each row of ``columns`` stands in.
    problem : str
        Why nothing can be read with this layout; empty where something can.
    """

    layout: Layout
    lines: tuple[tuple[int, str], ...]
    row_lines: tuple[int, ...]
    columns: tuple[ColumnView, ...]
    questions: tuple[Question, ...]
    problem: str = ""


@dataclass(frozen=True, eq=False)
class Guess:
    """A suggested layout and what is read with it.

    ``decimal_seen`` says that the file's figures leave no choice of decimal mark.
    """

    layout: Layout
    preview: Preview
    decimal_seen: bool
