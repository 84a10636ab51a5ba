"""The library of engines as a CSV file: written without loss, read with every fault named by its place."""

import csv
import hashlib
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db import models, transaction

from workshop.csv_files import csv_text, from_text
from workshop.engines.forms import EngineForm
from workshop.models import EngineSpec
from workshop.units.display import format_plain

COLUMNS = list(EngineForm.Meta.fields)
IN_INCHES = {name.replace("_mm", "_in"): name for name in COLUMNS if name.endswith("_mm")}
NAMES = ("maker", "name")
LARGEST_BYTES = 1_000_000
MOST_ENGINES = 2_000
YES, NO = ("yes", "true", "1", "x"), ("no", "false", "0", "")


class UnreadableFile(ValueError):
    """The file is no table of engines; the sentence says why."""


# Writing


def engines_csv(engines: Iterable[EngineSpec]) -> str:
    """A line for each engine, a column for each figure, the unit in the column's name."""
    return csv_text(COLUMNS, ([as_cell(engine, name) for name in COLUMNS] for engine in engines))


def as_cell(engine: EngineSpec, name: str) -> Any:
    value = getattr(engine, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return " ".join(format_plain(ratio) for ratio in value)
    return Decimal(format_plain(value)) if isinstance(value, Decimal | float) else value


# Reading


@dataclass(frozen=True)
class Fault:
    line: int
    column: str
    sentence: str


@dataclass(frozen=True)
class Change:
    label: str
    was: str
    becomes: str


@dataclass(frozen=True)
class EngineLine:
    """One engine of the file: its form, filled in and found right, and what saving it would change."""

    line: int
    form: EngineForm
    changes: list[Change]

    @property
    def is_new(self) -> bool:
        return self.form.instance.pk is None

    @property
    def name(self) -> str:
        return " ".join(str(self.form.cleaned_data[part]) for part in NAMES)


@dataclass
class EngineFile:
    """What a file holds, nothing of it saved yet."""

    lines: list[EngineLine] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    @property
    def to_save(self) -> list[EngineLine]:
        return [line for line in self.lines if line.is_new or line.changes]

    @property
    def fingerprint(self) -> str:
        """The same for the same changes of the same library: what is saved is what was shown."""
        told = [f"{line.name}\0{line.form.instance.version}\0{line.changes}" for line in self.to_save]
        return hashlib.sha256("\n".join(told).encode()).hexdigest()[:16]


def as_text(data: bytes) -> str:
    """The file's text, from whichever encoding a spreadsheet writes.

    Raises
    ------
    UnreadableFile
        It is too large.
    """
    if len(data) > LARGEST_BYTES:
        raise UnreadableFile(
            "The file is larger than 1 MB. A table of engines is far smaller: is it another file?"
        )
    encodings = ["utf-16"] if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise UnreadableFile("The file is no text that can be read. Save it from the spreadsheet as CSV, UTF-8.")


def read_engines(text: str) -> EngineFile:
    """Read a file of engines against the library; an engine that is there already is changed, not doubled.

    A column may be left out: an engine in the library keeps what it has. A column of millimetres may be
    named in inches instead (``intake_low_in``).

    Raises
    ------
    UnreadableFile
        It has no header, a column that isn't known, or a column twice.
    """
    if "\0" in text:
        raise UnreadableFile("The file is no text. Save it from the spreadsheet as CSV.")
    records = rows_with_lines(text)
    _, header = next(records, (0, []))
    columns = known_columns(header)
    known = {(engine.maker, engine.name): engine for engine in EngineSpec.objects.all()}
    read, seen = EngineFile(), dict[tuple[str, str], int]()
    for line, cells in records:
        if not any(cell.strip() for cell in cells):
            continue
        if len(seen) >= MOST_ENGINES:
            raise UnreadableFile(f"The file has more than {MOST_ENGINES} engines: send it in parts.")
        if len(cells) != len(columns):
            told = f"This line has {len(cells)} cells where the header has {len(columns)} columns."
            read.faults.append(Fault(line, "", told))
            continue
        values = {column: from_text(cell).strip() for column, cell in zip(columns, cells, strict=True)}
        names = values["maker"], values["name"]
        if names in seen:
            read.faults.append(Fault(line, "name", f"This engine is on line {seen[names]} already."))
            continue
        seen[names] = line
        read_line(read, line, values, known.get(names) or EngineSpec())
    return read


def rows_with_lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """Each record with the number of the line on which it begins."""
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    begins = 1
    try:
        for cells in reader:
            yield begins, cells
            begins = reader.line_num + 1
    except csv.Error as problem:
        raise UnreadableFile(f"Line {begins} can't be read as CSV: {problem}.") from problem


def known_columns(header: list[str]) -> list[str]:
    columns = [cell.strip().casefold() for cell in header]
    unknown = [cell for cell in columns if cell not in COLUMNS and cell not in IN_INCHES]
    missing = [name for name in NAMES if name not in columns]
    if missing:
        raise UnreadableFile(
            f"Line 1 must name the columns, “{'” and “'.join(missing)}” among them. "
            "Export the library to see how a file begins."
        )
    if unknown:
        raise UnreadableFile(
            f"Line 1, column {columns.index(unknown[0]) + 1}: “{unknown[0]}” is no column here."
        )
    meant = [IN_INCHES.get(cell, cell) for cell in columns]
    twice = next((name for name in meant if meant.count(name) > 1), "")
    if twice:
        raise UnreadableFile(f"Line 1: the column “{twice}” stands there twice.")
    return columns


def read_line(read: EngineFile, line: int, values: dict[str, str], engine: EngineSpec) -> None:
    kept = EngineForm(instance=engine)
    data = {name: kept[name].value() for name in kept.fields}
    columns = {IN_INCHES.get(column, column): column for column in values}
    data |= {
        name: as_typed(
            kept, name, f"{values[column]} in" if column != name and values[column] else values[column]
        )
        for name, column in columns.items()
    }
    form = EngineForm({name: value for name, value in data.items() if value is not None}, instance=engine)
    if form.is_valid():
        read.lines.append(EngineLine(line, form, changes_of(kept, form)))
        return
    for name, sentences in form.errors.items():
        column = columns.get(name, "" if name == "__all__" else name)
        read.faults += [Fault(line, column, str(sentence)) for sentence in sentences]


def as_typed(form: EngineForm, name: str, cell: str) -> str:
    """A cell as the form takes it: yes and no, and the words of a choice as well as its key."""
    model_field = EngineSpec._meta.get_field(name)
    if isinstance(model_field, models.BooleanField):
        return "on" if cell.casefold() in YES else "" if cell.casefold() in NO else cell
    keys = {str(words).casefold(): key for key, words in getattr(form.fields[name], "choices", None) or ()}
    return str(keys.get(cell.casefold(), cell))


def changes_of(kept: EngineForm, form: EngineForm) -> list[Change]:
    """What saving would change of an engine that is in the library."""
    if form.instance.pk is None:
        return []
    names = [name for name in form.changed_data if name != "version"]
    pairs = [(name, readable(kept[name].value()), readable(shown_as_kept(form, name))) for name in names]
    return [Change(str(form.fields[name].label), was, now) for name, was, now in pairs if was != now]


def shown_as_kept(form: EngineForm, name: str) -> Any:
    return form.fields[name].prepare_value(form.cleaned_data[name])


def readable(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "–" if value in (None, "") else str(value)


@transaction.atomic
def save_engines(read: EngineFile) -> int:
    """Save what was read and shown; how many engines were made or changed.

    Raises
    ------
    StaleRecord
        Somebody saved one of them meanwhile; nothing is written.
    """
    for line in read.to_save:
        line.form.save()
    return len(read.to_save)
