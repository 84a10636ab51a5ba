"""Reading a run file in three steps: suggest a layout, show what it reads, read everything."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from jobs.calc.channels import CHANNELS
from jobs.calc.run_file.cells import detect_time_form, looks_numeric, parse_number, split_cells
from jobs.calc.run_file.column_meaning import (
    assign_channels,
    convert_to_channel_unit,
    split_unit,
    suggest_channels,
)
from jobs.calc.run_file.decimal_marks import find_decimal_marks
from jobs.calc.run_file.doubts import find_doubts
from jobs.calc.run_file.guess import ColumnView, Guess, Preview, RunFile
from jobs.calc.run_file.layout import (
    CLOCK,
    DELIMITERS,
    TIME_FORMS,
    Column,
    FileLayoutSpec,
    RunFileError,
    compute_fingerprint,
)
from jobs.calc.run_file.report import (
    Question,
    build_report,
    correction_question,
    layout_questions,
    reference_question,
    time_question,
    value_question,
)
from jobs.calc.run_file.row_order import find_time_order, rows_are_shuffled
from jobs.calc.run_file.sentinels import remove_sentinels
from jobs.calc.run_file.stated_correction import StatedCorrection, find_stated_correction
from jobs.calc.run_file.structure import Structure, StructureOverrides, find_structure
from jobs.calc.run_file.table import Table, read_table
from jobs.calc.run_file.text import FileText, open_text
from jobs.calc.statistics import FloatArray

MIN_PREVIEW_LINES = 60
MAX_HEADER_SHOWN = 80
UNSORTED = (
    "The engine speed jumps from row to row, and the file has no time column. So the pull cannot be "
    "separated from roll-on and overrun. Export the file in the order of time."
)
HALF_A_DAY_S = 43_200.0


# --- suggesting a layout


def sniff(data: bytes, filename: str = "", overrides: StructureOverrides | None = None) -> Guess:
    """Suggest how a file is read.

    Parameters
    ----------
    data : bytes
        The file.
    filename : str, optional
        Named in the error if the file is refused.
    overrides : StructureOverrides, optional
        What a person has set; the rest is detected around it.

    Returns
    -------
    Guess

    Raises
    ------
    RunFileError
        The file is no run file.
    """
    try:
        text = open_text(data, overrides.encoding if overrides else None)
        guess = _suggest(text, overrides or StructureOverrides())
        if overrides is None:
            return guess
        fingerprint = _detected_fingerprint(data) or guess.layout.fingerprint
        return replace(guess, layout=replace(guess.layout, fingerprint=fingerprint))
    except RunFileError as error:
        if not filename:
            raise
        raise RunFileError(f"{filename}: {error.reason}", error.line, error.column) from error


def _suggest(text: FileText, overrides: StructureOverrides) -> Guess:
    lines = text.head()
    structure = find_structure(lines, overrides)
    rows = [*structure.rows]
    for sample in text.samples():
        rows += [tuple(split_cells(line, structure.delimiter)) for line in sample]
    marks = find_decimal_marks(rows)
    decimal = overrides.decimal or marks.decimal
    thousands = marks.thousands if overrides.thousands is None else overrides.thousands
    thousands = "" if thousands == decimal else thousands
    layout = FileLayoutSpec(
        encoding=text.original_encoding,
        delimiter=structure.delimiter,
        decimal=decimal,
        thousands=thousands,
        header_line=structure.header_line,
        header_rows=structure.header_rows,
        unit_line=structure.unit_line,
        data_line=structure.data_line,
        columns=_suggest_columns(structure, rows, decimal, thousands),
        fingerprint=_fingerprint(structure),
        doubts=(*structure.doubts, *(() if overrides.decimal else marks.doubts)),
    )
    return Guess(layout, tuple(_first_lines(lines, layout)), marks.seen, structure.width_doubts)


def _first_lines(head: list[str], layout: FileLayoutSpec, rows: int = 20) -> list[str]:
    return head[: max(MIN_PREVIEW_LINES, layout.data_line + rows)]


def _fingerprint(structure: Structure) -> str:
    if structure.header_line is None:
        return compute_fingerprint([("no header", f"{structure.width} {DELIMITERS[structure.delimiter]}")])
    return compute_fingerprint(zip(structure.names, structure.units, strict=True))


def _detected_fingerprint(data: bytes) -> str | None:
    """Return the fingerprint without overrides, by which similar files are recognised."""
    try:
        return _fingerprint(find_structure(open_text(data).head(), StructureOverrides()))
    except RunFileError:
        return None


def _suggest_columns(
    structure: Structure, rows: list[tuple[str, ...]], decimal: str, thousands: str
) -> tuple[Column, ...]:
    columns, alternatives = [], []
    for i in range(structure.width):
        cells = [row[i] for row in rows if len(row) > i]
        name, unit_text = structure.names[i], structure.units[i]
        if not unit_text.strip(" []()-"):
            name, unit_text = split_unit(name)
        form = _most_common_time_form(cells)
        values = np.array([v for v in (_value(cell, decimal, thousands) for cell in cells) if v is not None])
        found = suggest_channels(name, unit_text, values, form) if len(values) or form else ()
        columns.append(Column(i, name, unit_text.strip(" []()"), unit=form))
        alternatives.append(found)
    return assign_channels(columns, alternatives)


def _value(cell: str, decimal: str, thousands: str) -> float | None:
    return parse_number(cell, decimal, thousands) if looks_numeric(cell) else None


def _most_common_time_form(cells: list[str]) -> str | None:
    """Return 'clock' or 'date_time' if most cells are written so."""
    filled = [cell for cell in cells if looks_numeric(cell)][:50]
    forms = [form for form in map(detect_time_form, filled) if form]
    return max(set(forms), key=forms.count) if forms and len(forms) > len(filled) / 2 else None


# --- showing what is read


def preview(data: bytes, layout: FileLayoutSpec, rows: int) -> Preview:
    """Read a file as if its layout were confirmed, and show its first rows.

    Parameters
    ----------
    data : bytes
        The file.
    layout : FileLayoutSpec
    rows : int
        Number of rows to show.

    Returns
    -------
    Preview
        If nothing can be read with this layout, ``problem`` says why.

    Raises
    ------
    RunFileError
        The file is no run file.
    """
    text = open_text(data, layout.encoding)
    head = text.head()
    lines = tuple(enumerate(_first_lines(head, layout, rows), start=1))
    try:
        content = read(data, layout.confirmed())
    except RunFileError as error:
        return Preview(lines, (), (), tuple(layout_questions(layout)), error.reason)
    questions = [*(Question(None, doubt) for doubt in layout.doubts), *content.report.questions]
    if asked := correction_question(content.report.stated_correction):
        questions.append(asked)
    shown = tuple(int(line) for line in content.lines[:rows])
    raw = [split_cells(head[line - 1], layout.delimiter) if line <= len(head) else [] for line in shown]
    views = []
    for column, report in zip(layout.columns, content.report.columns, strict=True):
        values = content.channels.get(report.stored_as or "", np.full(len(shown), np.nan))
        views.append(
            ColumnView(
                CHANNELS[column.channel].label if column.channel else column.name,
                CHANNELS[column.channel].unit_label if column.channel and column.unit else column.unit_text,
                tuple(row[column.position] if column.position < len(row) else "" for row in raw),
                values[:rows],
                tuple(question.sentence for question in questions if question.position == column.position),
                (report.low, report.high),
            )
        )
    return Preview(lines, shown, tuple(views), tuple(questions), content=content)


def _stated_correction(text: FileText, layout: FileLayoutSpec, table: Table) -> StatedCorrection:
    above = text.head()[: (layout.header_line or layout.data_line) - 1]
    return find_stated_correction(above, layout, table.values)


def _column_questions(column: Column, figures: FloatArray, table: Table) -> list[Question]:
    if column.channel and column.unit is None:
        sentence = f"Column {column.position + 1} ('{column.name}'): enter its unit."
        return [Question(column.position, sentence)]
    questions = [value_question(column, figures), reference_question(column)]
    if column.channel == "time_s":
        questions.append(time_question(column, figures, table.lines))
    return [question for question in questions if question is not None]


# --- reading


def read(data: bytes, layout: FileLayoutSpec) -> RunFile:
    """Read a whole file.

    Parameters
    ----------
    data : bytes
        The file.
    layout : FileLayoutSpec
        Only columns that are certain or confirmed become channels; the others keep their own names.

    Returns
    -------
    RunFile

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
    questions = layout_questions(layout)
    stated_correction = _stated_correction(text, layout, table)
    for column in layout.columns:
        used = column if column.is_certain else replace(column, channel=None)
        table.values[column.position], sentinels = remove_sentinels(
            used, table.values[column.position], table.lines, layout.stoichiometric_afr
        )
        questions += [sentinels] if sentinels else []
        values = _convert_column(used, table, layout)
        table.values[column.position] = values[:0]  # so that only one column is in memory twice
        if used.channel is None and not np.isfinite(values).any():
            continue
        name = used.channel or _unique_channel_name(column, channels)
        channels[name], stored[column.position] = values, name
        units[name] = CHANNELS[name].unit_label if used.channel else column.unit_text
        questions += _column_questions(used, values, table)
    lines, order = table.lines, find_time_order(channels)
    doubts = _header_doubts(table)
    if order is not None:
        channels, lines = {name: values[order] for name, values in channels.items()}, lines[order]
        channels["time_s"] = channels["time_s"] - channels["time_s"][0]
        times = {position for position, name in stored.items() if name == "time_s"}
        questions = [question for question in questions if question.position not in times]
        doubts.append(Question(None, "The rows were not in the order of time and have been sorted."))
    elif rows_are_shuffled(channels):
        doubts.append(Question(None, UNSORTED))
    doubts += find_doubts(layout, channels)
    questions += [doubt for doubt in doubts if doubt not in questions]
    report = build_report(layout, table, stored, channels, units, text.original_encoding, questions)
    report = replace(report, stated_correction=stated_correction)
    if report.loss:
        doubts.insert(0, Question(None, report.loss))
        report = replace(report, questions=(doubts[0], *report.questions))
    return RunFile(channels, report, lines, tuple(doubt.sentence for doubt in doubts))


def _header_doubts(table: Table) -> list[Question]:
    """Ask about rows that look like another header: the columns under it may be others."""
    return [
        Question(
            None,
            f"Line {line} looks like another header: '{text[:MAX_HEADER_SHOWN]}'. The rows below "
            "it are read with the first header. If the columns differ, make a separate file of each table.",
        )
        for line, text in table.other_headers[:1]
    ]


def _unique_channel_name(column: Column, taken: Mapping[str, FloatArray]) -> str:
    """Return a name for a column that is neither taken nor the id of a known quantity."""
    name = column.name or f"column {column.position + 1}"
    if name.casefold() in {*map(str.casefold, taken), *CHANNELS}:
        name = f"{name} (column {column.position + 1})"
    while name in taken:
        name += "'"
    return name


def _convert_column(column: Column, table: Table, layout: FileLayoutSpec) -> FloatArray:
    """Convert a column to its channel's unit; time counts from its first sample."""
    values = table.values[column.position]
    if column.unit == CLOCK:
        values = _unwrap_midnight(values)
    if column.channel:
        channel = CHANNELS[column.channel]
        values = convert_to_channel_unit(values, channel, column.unit, layout.stoichiometric_afr)
    if column.channel == "time_s" or column.unit in TIME_FORMS:
        measured = np.flatnonzero(np.isfinite(values))
        values = values - values[measured[0]] if len(measured) else values
    return values


def _unwrap_midnight(seconds: FloatArray) -> FloatArray:
    """Add a day to clock times for each midnight they pass."""
    measured = np.flatnonzero(np.isfinite(seconds))
    falls = np.diff(seconds[measured]) < -HALF_A_DAY_S
    days = np.zeros(len(seconds))
    days[measured[1:]] = np.cumsum(falls)
    return seconds + 2 * HALF_A_DAY_S * days
