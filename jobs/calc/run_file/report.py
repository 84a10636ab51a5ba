"""What reading a file found, for a person and for storage."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from jobs.calc.channels import CHANNELS, Channel, mentions_correction
from jobs.calc.run_file.column_meaning import TYPICAL_AFR
from jobs.calc.run_file.layout import DECIMALS, DELIMITERS, ENCODINGS, Column, Layout
from jobs.calc.run_file.skipped_rows import Tally
from jobs.calc.run_file.table import Table
from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import format_number


@dataclass(frozen=True)
class Question:
    """Something a person should look at; ``position`` is the column's, None for the file as a whole."""

    position: int | None
    sentence: str


@dataclass(frozen=True)
class ColumnReport:
    """What was read from one column.

    Attributes
    ----------
    stored_as : str or None
        The name in `RunFile.channels`; None where nothing was stored.
    no_figures, missing : int
        Cells that are no figures (they became NaN); cells that are empty or marked as missing.
    lines : tuple of int
        Of the first 20 cells that are no figures.
    low, high : float or None
        Smallest and largest figure stored.
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
class Dropped:
    """Rows left out for one reason, with the first 20 lines."""

    reason: str
    count: int
    lines: tuple[int, ...]


@dataclass(frozen=True)
class Report:
    """What reading a file found. Lines are counted from 1, as an editor shows them."""

    encoding: str
    delimiter: str
    decimal: str
    thousands: str
    header_line: int | None
    unit_line: int | None
    data_line: int
    rows: int
    dropped: tuple[Dropped, ...]
    columns: tuple[ColumnReport, ...]
    questions: tuple[Question, ...]
    sentences: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain lists, dictionaries and numbers, ready for JSON."""
        return asdict(self)


def lines_named(tally: Tally | Dropped) -> str:
    """'line 3' or 'lines 3, 4, 9 and 11 more'."""
    shown = ", ".join(str(line) for line in tally.lines[:5])
    more = tally.count - len(tally.lines[:5])
    return f"line{'s' if tally.count > 1 else ''} {shown}" + (f" and {more} more" if more > 0 else "")


def figure_range(values: FloatArray) -> tuple[float | None, float | None]:
    """Smallest and largest of what was measured; None where nothing was."""
    if not len(values):
        return None, None
    low, high = float(np.min(values)), float(np.max(values))
    if np.isnan(low):  # only now the slower ones, which step over NaN
        low, high = float(np.fmin.reduce(values)), float(np.fmax.reduce(values))
    return (None, None) if np.isnan(low) else (low, high)


def _count(number: int, one: str, many: str) -> str:
    return f"{format_number(number)} {one if number == 1 else many}"


def column_question(column: Column, values: FloatArray) -> Question | None:
    """Ask about figures that a channel cannot have.

    Parameters
    ----------
    column : Column
    values : array, (n,)
        In the channel's unit.
    """
    channel = CHANNELS.get(column.channel or "")
    if channel is None or channel.quantity == "time":
        return None
    low, high = figure_range(values)
    if low is None or high is None or (channel.low <= low and high <= channel.high):
        return None
    with np.errstate(invalid="ignore"):
        outside = (values < channel.low) | (values > channel.high)
    count = int(np.count_nonzero(outside))
    worst = values[outside][int(np.argmax(np.abs(values[outside])))]
    return Question(
        column.position,
        f"Column {column.position + 1} ('{column.name}') read as {channel.label}: "
        f"{_count(count, 'value is', 'values are')} not believable, such as {_figure(worst, channel)}; "
        f"{channel.low:g} to {channel.high:g} would be. Is the column or its unit another?",
    )


def _figure(value: float, channel: Channel) -> str:
    return (
        f"{value:,.6g} {channel.unit_label}".strip()
        if abs(value) < 1e6
        else f"{value:.3g} {channel.unit_label}"
    )


def standing_questions(layout: Layout) -> list[Question]:
    """What the layout itself leaves open."""
    questions = [Question(None, doubt) for doubt in layout.doubts]
    for column in layout.columns:
        if column.channel in ("power_kw", "torque_nm") and mentions_correction(column.name):
            questions.append(
                Question(
                    column.position,
                    f"Column {column.position + 1} ('{column.name}') seems to be corrected for the air "
                    "already. Say by which standard, so that it is not corrected twice.",
                )
            )
        if column.unit == "afr" and column.channel and layout.stoichiometric_afr is None:
            questions.append(
                Question(
                    column.position,
                    f"Column {column.position + 1} ('{column.name}') is an air-fuel ratio. Name the fuel it "
                    f"is shown for; until then {TYPICAL_AFR:g} counts as lambda 1.",
                )
            )
    return questions


def time_question(column: Column, time_s: FloatArray, lines: np.ndarray) -> Question | None:
    """Ask about time that stands still or runs backwards."""
    if np.all(np.diff(time_s) > 0):
        return None
    finite = np.flatnonzero(np.isfinite(time_s))
    steps = np.diff(time_s[finite])
    back = finite[1:][steps <= 0]
    if not len(back):
        return None
    tally = Tally(len(back), lines[back[:20]].tolist())
    return Question(
        column.position,
        f"Column {column.position + 1} ('{column.name}'): time stands still or runs backwards in "
        f"{_count(len(back), 'row', 'rows')} ({lines_named(tally)}).",
    )


def build_report(
    layout: Layout,
    table: Table,
    stored: Mapping[int, str],
    channels: Mapping[str, FloatArray],
    units: Mapping[str, str],
    encoding: str,
    questions: Iterable[Question],
) -> Report:
    """Everything reading found, in figures and in sentences.

    Parameters
    ----------
    stored : mapping
        Position -> name in ``channels`` and ``units``.
    """
    columns = tuple(_column_reports(layout, table, stored, channels, units))
    dropped = tuple(Dropped(reason, t.count, tuple(t.lines)) for reason, t in table.dropped.items())
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
    )


def _column_reports(
    layout: Layout,
    table: Table,
    stored: Mapping[int, str],
    channels: Mapping[str, FloatArray],
    units: Mapping[str, str],
) -> Iterable[ColumnReport]:
    for column in layout.columns:
        name = stored.get(column.position)
        low, high = figure_range(channels[name]) if name else (None, None)
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
    layout: Layout, table: Table, columns: Iterable[ColumnReport], dropped: Iterable[Dropped], encoding: str
) -> Iterable[str]:
    header = f"names from line {layout.header_line}" if layout.header_line else "no header"
    yield (
        f"{_count(len(table.lines), 'row', 'rows')} read from line {layout.data_line} on; {header}; "
        f"{ENCODINGS[encoding]}, delimiter {DELIMITERS[layout.delimiter]}, "
        f"decimal {DECIMALS[layout.decimal]}."
    )
    for part in dropped:
        yield f"{_count(part.count, 'row', 'rows')} left out, {part.reason}: {lines_named(part)}."
    if table.longer.count:
        yield (
            f"{_count(table.longer.count, 'row has', 'rows have')} more cells than there are columns; "
            f"the cells at the end were left out: {lines_named(table.longer)}."
        )
    for column in columns:
        title = f"Column {column.position + 1} ('{column.name}')"
        if column.stored_as is None:
            if column.name or column.no_figures:
                yield f"{title} holds no figures and was left out."
        elif column.no_figures:
            tally = Tally(column.no_figures, list(column.lines))
            yield (
                f"{title}: {_count(column.no_figures, 'cell is', 'cells are')} no figure and "
                f"{'counts' if column.no_figures == 1 else 'count'} as not measured: {lines_named(tally)}."
            )
        if column.stored_as and column.missing:
            yield f"{title}: {_count(column.missing, 'cell is', 'cells are')} empty or marked as missing."
