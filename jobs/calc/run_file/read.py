"""Reading a run file: bytes in, named channels in SI units out.

Three steps. :func:`sniff` looks at the first lines and suggests a layout; :func:`preview` shows what
is then read, so that a person can change what is wrong; :func:`read` reads all of it. A layout that a
person has agreed to is kept under its fingerprint, and :func:`recognise` lays it over the next file
of the kind.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.channels import CHANNELS
from jobs.calc.run_file.cells import parse_number, reads_as_figure, split_cells, time_form
from jobs.calc.run_file.column_meaning import (
    Suggestion,
    split_unit,
    suggestions,
    to_channel_unit,
    without_rivals,
)
from jobs.calc.run_file.decimal_marks import find_marks
from jobs.calc.run_file.known_layout import recognise
from jobs.calc.run_file.layout import (
    CERTAIN,
    CLOCK,
    DECIMALS,
    DELIMITERS,
    ENCODINGS,
    THOUSANDS,
    TIME_FORMS,
    Column,
    Layout,
    RunFileError,
    fingerprint,
    unit_choices,
    unit_label,
)
from jobs.calc.run_file.preview import ColumnView, Guess, Preview
from jobs.calc.run_file.report import (
    ColumnReport,
    Dropped,
    Question,
    Report,
    build_report,
    column_question,
    standing_questions,
    time_question,
)
from jobs.calc.run_file.structure import Chosen, Structure, find_structure
from jobs.calc.run_file.table import Table, read_table
from jobs.calc.run_file.text import MAX_BYTES, MAX_ROWS, Text, open_text
from jobs.calc.statistics import FloatArray

__all__ = [
    "CERTAIN",
    "DECIMALS",
    "DELIMITERS",
    "ENCODINGS",
    "MAX_BYTES",
    "MAX_ROWS",
    "THOUSANDS",
    "Chosen",
    "Column",
    "ColumnReport",
    "ColumnView",
    "Dropped",
    "Guess",
    "Layout",
    "Preview",
    "Question",
    "Report",
    "RunFile",
    "RunFileError",
    "preview",
    "read",
    "recognise",
    "sniff",
    "unit_choices",
    "unit_label",
]

PREVIEW_ROWS = 20
PREVIEW_LINES = 60
LINES_LOOKED_AT = 400
HALF_A_DAY_S = 43_200.0


@dataclass(frozen=True, eq=False)
class RunFile:
    """A run file, read.

    Attributes
    ----------
    channels : dict of str to array, (n,)
        All of one length. Known quantities under their id, in its unit; other columns under their own
        name, in their own unit. NaN is 'not measured'.
    units : dict of str to str
        The same keys; the label of each one's unit.
    """

    channels: dict[str, FloatArray]
    units: dict[str, str]
    layout: Layout
    report: Report


# --- looking


def sniff(data: bytes, filename: str = "", chosen: Chosen | None = None) -> Guess:
    """Suggest how a file is read, and show what is then read.

    Parameters
    ----------
    data : bytes
    filename : str, optional
        Named where the file is refused.
    chosen : Chosen, optional
        What a person has set; the rest is found around it.

    Raises
    ------
    RunFileError
        The file is no run file.
    """
    try:
        text = open_text(data, chosen.encoding if chosen else None)
        layout, alternatives, decimal_seen = _suggest(text, chosen or Chosen())
        if chosen is not None:
            layout = replace(layout, fingerprint=_fingerprint_by_itself(data) or layout.fingerprint)
    except RunFileError as error:
        if not filename:
            raise
        raise RunFileError(f"{filename}: {error.reason}", error.line, error.column) from error
    return Guess(layout, _preview(text, layout, PREVIEW_ROWS, alternatives), decimal_seen)


def _suggest(text: Text, chosen: Chosen) -> tuple[Layout, list[tuple[Suggestion, ...]], bool]:
    lines = text.head()
    structure = find_structure(lines, chosen)
    rows = [*structure.rows]
    for sample in text.samples():
        rows += [tuple(split_cells(line, structure.delimiter)) for line in sample]
    marks = find_marks(rows)
    decimal = chosen.decimal or marks.decimal
    thousands = marks.thousands if chosen.thousands is None else chosen.thousands
    thousands = "" if thousands == decimal else thousands
    columns, alternatives = _columns(structure, rows, decimal, thousands)
    layout = Layout(
        encoding=text.original_encoding,
        delimiter=structure.delimiter,
        decimal=decimal,
        thousands=thousands,
        header_line=structure.header_line,
        header_rows=structure.header_rows,
        unit_line=structure.unit_line,
        data_line=structure.data_line,
        columns=columns,
        fingerprint=_fingerprint(structure),
        doubts=(*structure.doubts, *(() if chosen.decimal else marks.doubts)),
    )
    return layout, alternatives, marks.seen


def _fingerprint(structure: Structure) -> str:
    if structure.header_line is None:
        return fingerprint([("no header", f"{structure.width} {DELIMITERS[structure.delimiter]}")])
    return fingerprint(zip(structure.names, structure.units, strict=True))


def _fingerprint_by_itself(data: bytes) -> str | None:
    """What the file is known by before anybody sets anything, since that is what its like will be seen as."""
    try:
        return _fingerprint(find_structure(open_text(data).head(), Chosen()))
    except RunFileError:
        return None


def _columns(
    structure: Structure, rows: list[tuple[str, ...]], decimal: str, thousands: str
) -> tuple[tuple[Column, ...], list[tuple[Suggestion, ...]]]:
    columns, alternatives = [], []
    for i in range(structure.width):
        cells = [row[i] for row in rows if len(row) > i]
        name, unit_text = structure.names[i], structure.units[i]
        if not unit_text.strip(" []()-"):
            name, unit_text = split_unit(name)
        form = _form(cells)
        values = np.array([v for v in (_value(cell, decimal, thousands) for cell in cells) if v is not None])
        found = suggestions(name, unit_text, values, form) if len(values) or form else ()
        columns.append(Column(i, name, unit_text.strip(" []()"), unit=form))
        alternatives.append(found)
    return without_rivals(columns, alternatives), alternatives


def _value(cell: str, decimal: str, thousands: str) -> float | None:
    return parse_number(cell, decimal, thousands) if reads_as_figure(cell) else None


def _form(cells: list[str]) -> str | None:
    """'clock' or 'date_time' where most cells are of that form."""
    filled = [cell for cell in cells if reads_as_figure(cell)][:50]
    forms = [form for form in map(time_form, filled) if form]
    return max(set(forms), key=forms.count) if forms and len(forms) > len(filled) / 2 else None


# --- showing


def preview(data: bytes, layout: Layout, rows: int = PREVIEW_ROWS) -> Preview:
    """What is read with a layout, from the first rows.

    Raises
    ------
    RunFileError
        The file is no run file. A layout that does not fit is no error: ``problem`` says so.
    """
    return _preview(open_text(data, layout.encoding), layout, rows, None)


def _preview(
    text: Text, layout: Layout, rows: int, alternatives: list[tuple[Suggestion, ...]] | None
) -> Preview:
    head = text.head()
    lines = tuple(enumerate(head[: max(PREVIEW_LINES, layout.data_line + rows)], start=1))
    questions = standing_questions(layout)
    try:
        table = read_table(text, layout, limit=max(rows, LINES_LOOKED_AT))
    except RunFileError as error:
        return Preview(layout, lines, (), (), tuple(questions), error.reason)
    values = [_in_channel_unit(column, table, layout) for column in layout.columns]
    for column, figures in zip(layout.columns, values, strict=True):
        questions += _questions_on_column(column, figures, table)
    shown = tuple(int(line) for line in table.lines[:rows])
    raw = [split_cells(head[line - 1], layout.delimiter) for line in shown if line <= len(head)]
    views = [
        ColumnView(
            column,
            CHANNELS[column.channel].label if column.channel else column.name,
            CHANNELS[column.channel].unit_label if column.channel else column.unit_text,
            tuple(row[column.position] if column.position < len(row) else "" for row in raw),
            figures[:rows],
            alternatives[column.position]
            if alternatives
            else suggestions(column.name, column.unit_text, table.values[column.position], _own_form(column)),
            tuple(question.sentence for question in questions if question.position == column.position),
        )
        for column, figures in zip(layout.columns, values, strict=True)
    ]
    return Preview(layout, lines, shown, tuple(views), tuple(questions))


def _own_form(column: Column) -> str | None:
    return column.unit if column.unit in TIME_FORMS else None


def _questions_on_column(column: Column, figures: FloatArray, table: Table) -> list[Question]:
    asked = [column_question(column, figures)]
    if column.channel == "time_s":
        asked.append(time_question(column, figures, table.lines))
    if column.channel and column.unit is None:
        asked.append(
            Question(column.position, f"Column {column.position + 1} ('{column.name}'): say in which unit.")
        )
    return [question for question in asked if question is not None]


# --- reading


def read(data: bytes, layout: Layout) -> RunFile:
    """Read a whole file.

    Only columns whose meaning is certain, or has had a person's nod (`Layout.nodded`), become channels;
    the others are kept under their own names.

    Raises
    ------
    RunFileError
        The file is no run file, or nothing is left to read with this layout.
    """
    text = open_text(data, layout.encoding)
    table = read_table(text, layout)
    channels: dict[str, FloatArray] = {}
    units: dict[str, str] = {}
    stored: dict[int, str] = {}
    questions = standing_questions(layout)
    for column in layout.columns:
        used = column if column.certain else replace(column, channel=None)
        values = _in_channel_unit(used, table, layout)
        table.values[column.position] = values[:0]  # one column at a time is held twice, not all
        if used.channel is None and not np.isfinite(values).any():
            continue
        name = used.channel or own_name(column, channels)
        channels[name], stored[column.position] = values, name
        units[name] = CHANNELS[name].unit_label if used.channel else column.unit_text
        questions += _questions_on_column(used, values, table)
    report = build_report(layout, table, stored, channels, units, text.original_encoding, questions)
    return RunFile(channels, units, layout, report)


def own_name(column: Column, taken: Mapping[str, FloatArray]) -> str:
    """A column's own name as a channel's: never that of a known quantity, never one twice."""
    name = column.name or f"column {column.position + 1}"
    if name.casefold() in {*map(str.casefold, taken), *CHANNELS}:
        name = f"{name} (column {column.position + 1})"
    while name in taken:
        name += "'"
    return name


def _in_channel_unit(column: Column, table: Table, layout: Layout) -> FloatArray:
    values = table.values[column.position]
    if column.unit == CLOCK:
        values = _over_midnight(values)
    if column.channel:
        values = to_channel_unit(values, CHANNELS[column.channel], column.unit, layout.stoichiometric_afr)
    if column.channel == "time_s" or column.unit in TIME_FORMS:
        measured = np.flatnonzero(np.isfinite(values))
        values = values - values[measured[0]] if len(measured) else values
    return values


def _over_midnight(seconds: FloatArray) -> FloatArray:
    """Clock times that go on past midnight."""
    measured = np.flatnonzero(np.isfinite(seconds))
    falls = np.diff(seconds[measured]) < -HALF_A_DAY_S
    days = np.zeros(len(seconds))
    days[measured[1:]] = np.cumsum(falls)
    return seconds + 2 * HALF_A_DAY_S * days
