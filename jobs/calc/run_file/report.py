"""The report on reading a file: sentences and questions for a person, numbers for storage."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from jobs.calc.channels import CHANNELS, Channel
from jobs.calc.run_file.column_meaning import TYPICAL_AFR
from jobs.calc.run_file.layout import DECIMALS, DELIMITERS, ENCODINGS, Column, FileLayoutSpec
from jobs.calc.run_file.skipped_rows import LineTally, SkippedRows, name_lines
from jobs.calc.run_file.stated_correction import NOTHING_STATED, StatedCorrection
from jobs.calc.run_file.table import MAX_LOSS_SHARE, Table
from jobs.calc.statistics import FloatArray
from jobs.calc.units.factors import get_unit, identify_unit, is_absolute_spelling
from jobs.calc.units.numbers import format_digits, format_number


@dataclass(frozen=True)
class Question:
    """Something a person should check.

    Attributes
    ----------
    position : int or None
        Of the column; None for the file as a whole.
    sentence : str
    """

    position: int | None
    sentence: str


@dataclass(frozen=True)
class ColumnReport:
    """What was read from one column.

    Attributes
    ----------
    position : int
        Counted from 0.
    name, unit : str
        Name in the file; label of the unit of the stored figures.
    stored_as : str or None
        Key of `RunFile.channels`; None if nothing was stored.
    no_figures, missing : int
        Cells that are no figures and became NaN; cells that are empty or marked as missing.
    lines : tuple of int
        Lines of the first cells that are no figures.
    low, high : float or None
        Smallest and largest stored figure, in that unit.
    """

    position: int
    name: str
    stored_as: str | None
    unit: str
    no_figures: int
    lines: tuple[int, ...]
    missing: int
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Report:
    """The result of reading a file; its fields are the keys of stored reports.

    Attributes
    ----------
    encoding, delimiter, decimal, thousands : str
    header_line, unit_line : int or None
    data_line : int
        Counted from 1, as an editor shows them.
    rows : int
        Rows read.
    dropped : tuple of SkippedRows
    columns : tuple of ColumnReport
    questions : tuple of Question
    sentences : tuple of str
        All of it for a person.
    stated_correction : StatedCorrection
    loss : str
        What of the file is lost, if it is more than 1 % of it.
    """

    encoding: str
    delimiter: str
    decimal: str
    thousands: str
    header_line: int | None
    unit_line: int | None
    data_line: int
    rows: int
    dropped: tuple[SkippedRows, ...]
    columns: tuple[ColumnReport, ...]
    questions: tuple[Question, ...]
    sentences: tuple[str, ...]
    stated_correction: StatedCorrection = NOTHING_STATED
    loss: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the report as lists, dictionaries and numbers, ready for JSON.

        Returns
        -------
        dict
        """
        return asdict(self)


def value_range(values: FloatArray) -> tuple[float | None, float | None]:
    """Return the smallest and largest measured value.

    Parameters
    ----------
    values : array, (n,)

    Returns
    -------
    low, high : float or None
        None if nothing was measured.
    """
    if not len(values):
        return None, None
    low, high = float(np.min(values)), float(np.max(values))
    if np.isnan(low):  # fmin and fmax ignore NaN but are slower
        low, high = float(np.fmin.reduce(values)), float(np.fmax.reduce(values))
    return (None, None) if np.isnan(low) else (low, high)


def _count(number: int, one: str, many: str) -> str:
    return f"{format_number(number)} {one if number == 1 else many}"


def value_question(column: Column, values: FloatArray) -> Question | None:
    """Ask about figures outside the plausible range of their channel.

    Parameters
    ----------
    column : Column
    values : array, (n,)
        In the channel's unit.

    Returns
    -------
    Question or None
        None if all are plausible or the column is no channel.
    """
    channel = CHANNELS.get(column.channel or "")
    if channel is None or channel.quantity == "time":
        return None
    low, high = value_range(values)
    if low is None or high is None or (channel.low <= low and high <= channel.high):
        return None
    with np.errstate(invalid="ignore"):
        outside = (values < channel.low) | (values > channel.high)
    count = int(np.count_nonzero(outside))
    worst = values[outside][int(np.argmax(np.abs(values[outside])))]
    return Question(
        column.position,
        f"Column {column.position + 1} ('{column.name}') read as {channel.label}: "
        f"{_count(count, 'value is', 'values are')} not plausible, such as {_format_value(worst, channel)}; "
        f"{channel.low:g} to {channel.high:g} would be. Check the column and its unit.",
    )


def _format_value(value: float, channel: Channel) -> str:
    return f"{format_digits(value)} {channel.unit_label}".strip()


def layout_questions(layout: FileLayoutSpec) -> list[Question]:
    """Ask what the layout itself leaves open.

    Parameters
    ----------
    layout : FileLayoutSpec

    Returns
    -------
    list of Question
    """
    doubts = [Question(None, doubt) for doubt in layout.doubts]
    ratios = [
        Question(
            column.position,
            f"Column {column.position + 1} ('{column.name}') is an air-fuel ratio. Choose the fuel it "
            f"refers to. Until then, {TYPICAL_AFR:g} is used as lambda 1.",
        )
        for column in layout.columns
        if column.unit == "afr" and column.channel and layout.stoichiometric_afr is None
    ]
    return doubts + ratios


def reference_question(column: Column) -> Question | None:
    """Ask about a pressure whose header counts it from elsewhere than its channel does.

    Parameters
    ----------
    column : Column

    Returns
    -------
    Question or None
        None if they agree, if the header leaves it open, or if the column is no pressure.
    """
    channel = CHANNELS.get(column.channel or "")
    if channel is None or channel.quantity not in ("pressure", "gauge_pressure"):
        return None
    unit_id = identify_unit(column.unit_text) if column.unit_text else None
    is_gauge = unit_id is not None and get_unit(unit_id).quantity == "gauge_pressure"
    if is_gauge == is_absolute_spelling(column.unit_text) or is_gauge == (
        channel.quantity == "gauge_pressure"
    ):
        return None
    here, there = "the air outside", "vacuum"
    if not is_gauge:
        here, there = there, here
    return Question(
        column.position,
        f"Column {column.position + 1} ('{column.name}') counts from {here} by its unit, and "
        f"{channel.label} counts from {there}. Check whether it is another pressure.",
    )


def correction_question(stated: StatedCorrection) -> Question | None:
    """Ask about figures that seem to be corrected for the air already.

    Parameters
    ----------
    stated : StatedCorrection

    Returns
    -------
    Question or None
        None if the file says nothing about it.
    """
    if not stated.evidence:
        return None
    return Question(
        None,
        f"Power and torque may already be corrected for the air: {', '.join(stated.evidence)}. "
        "Enter below whether they are, so that no value is corrected twice.",
    )


def time_question(column: Column, time_s: FloatArray, lines: np.ndarray) -> Question | None:
    """Ask about time that stands still or runs backwards.

    Parameters
    ----------
    column : Column
    time_s : array, (n,)
        Time [s].
    lines : array of int, (n,)
        Line number of each row.

    Returns
    -------
    Question or None
        None if time rises throughout.
    """
    if np.all(np.diff(time_s) > 0):
        return None
    finite = np.flatnonzero(np.isfinite(time_s))
    steps = np.diff(time_s[finite])
    back = finite[1:][steps <= 0]
    if not len(back):
        return None
    tally = LineTally(len(back), lines[back[:20]].tolist())
    return Question(
        column.position,
        f"Column {column.position + 1} ('{column.name}'): time does not increase in "
        f"{_count(len(back), 'row', 'rows')} ({name_lines(tally)}).",
    )


def build_report(
    layout: FileLayoutSpec,
    table: Table,
    stored: Mapping[int, str],
    channels: Mapping[str, FloatArray],
    units: Mapping[str, str],
    encoding: str,
    questions: Iterable[Question],
) -> Report:
    """Report on reading a file, in numbers and in sentences.

    Parameters
    ----------
    layout : FileLayoutSpec
    table : Table
    stored : mapping of int to str
        Position to key of ``channels`` and ``units``.
    channels : mapping of str to array, (n,)
    units : mapping of str to str
        Labels of their units.
    encoding : str
        Of the file.
    questions : iterable of Question

    Returns
    -------
    Report
    """
    columns = tuple(_column_reports(layout, table, stored, channels, units))
    dropped = tuple(SkippedRows(reason, t.count, tuple(t.lines)) for reason, t in table.dropped.items())
    return Report(
        encoding,
        layout.delimiter,
        layout.decimal,
        layout.thousands,
        layout.header_line,
        layout.unit_line,
        layout.data_line,
        len(table.lines),
        dropped,
        columns,
        tuple(questions),
        tuple(_sentences(layout, table, columns, dropped, encoding)),
        loss=" ".join(_losses(table, columns)),
    )


def _losses(table: Table, columns: Iterable[ColumnReport]) -> Iterable[str]:
    """Yield what is lost of more than 1 % of the file."""
    rows = len(table.lines)
    for count, all_rows, what in (
        (table.lost, rows + table.lost, "skipped, because they could not be read"),
        (table.longer.count, rows, "longer than the header; the extra cells at the end are skipped"),
        (table.shorter.count, rows, "shorter than the header; it is not certain which cell is missing"),
    ):
        if count > MAX_LOSS_SHARE * all_rows:
            yield f"{_share(count, all_rows, 'row', 'rows')} {'is' if count == 1 else 'are'} {what}."
    for column in columns:
        if column.stored_as in CHANNELS and column.no_figures > MAX_LOSS_SHARE * rows:
            cells = _share(column.no_figures, rows, "cell", "cells")
            yield f"Column {column.position + 1} ('{column.name}'): {cells} could not be read."


def _share(count: int, of: int, one: str, many: str) -> str:
    return (
        f"{format_number(count)} of {format_number(of)} {one if of == 1 else many} "
        f"({format_number(100 * count / of, 1)} %)"
    )


def _column_reports(
    layout: FileLayoutSpec,
    table: Table,
    stored: Mapping[int, str],
    channels: Mapping[str, FloatArray],
    units: Mapping[str, str],
) -> Iterable[ColumnReport]:
    for column in layout.columns:
        name = stored.get(column.position)
        low, high = value_range(channels[name]) if name else (None, None)
        refused = table.refused[column.position]
        yield ColumnReport(
            column.position,
            column.name,
            name,
            units.get(name or "", ""),
            refused.count,
            tuple(refused.lines),
            table.missing[column.position].count,
            low,
            high,
        )


def _sentences(
    layout: FileLayoutSpec,
    table: Table,
    columns: Iterable[ColumnReport],
    dropped: Iterable[SkippedRows],
    encoding: str,
) -> Iterable[str]:
    header = f"names from line {layout.header_line}" if layout.header_line else "no header"
    yield (
        f"{_count(len(table.lines), 'row', 'rows')} read from line {layout.data_line} on; {header}; "
        f"{ENCODINGS[encoding]}, delimiter {DELIMITERS[layout.delimiter]}, "
        f"decimal {DECIMALS[layout.decimal]}."
    )
    for part in dropped:
        yield f"{_count(part.count, 'row', 'rows')} skipped, {part.reason}: {name_lines(part)}."
    if table.longer.count:
        yield (
            f"{_count(table.longer.count, 'row has', 'rows have')} more cells than columns; the "
            f"extra cells at the end were skipped: {name_lines(table.longer)}."
        )
    for column in columns:
        title = f"Column {column.position + 1} ('{column.name}')"
        if column.stored_as is None:
            if column.name or column.no_figures:
                yield f"{title} has no numbers and was skipped."
        elif column.no_figures:
            tally = LineTally(column.no_figures, list(column.lines))
            yield (
                f"{title}: {_count(column.no_figures, 'cell is', 'cells are')} no number and "
                f"{'counts' if column.no_figures == 1 else 'count'} as not measured: {name_lines(tally)}."
            )
        if column.stored_as and column.missing:
            yield f"{title}: {_count(column.missing, 'cell is', 'cells are')} empty or marked as missing."
