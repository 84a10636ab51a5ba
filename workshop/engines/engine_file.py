"""The engine library as a CSV file: written without loss, read with errors by line and column."""

import csv
import hashlib
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db import models, transaction

from workshop.csv_files import csv_text, unescape_formula
from workshop.engines.forms import EngineForm
from workshop.models import EngineSpec
from workshop.units.display import format_plain

COLUMNS = list(EngineForm.Meta.fields)
INCH_COLUMNS = {name.replace("_mm", "_in"): name for name in COLUMNS if name.endswith("_mm")}
NAME_COLUMNS = ("maker", "name")
MAX_BYTES = 1_000_000
MAX_ENGINES = 2_000
YES, NO = ("yes", "true", "1", "x"), ("no", "false", "0", "")


class UnreadableFile(ValueError):
    """The file is not a table of engines; the message says why."""


# Writing


def engines_csv(engines: Iterable[EngineSpec]) -> str:
    """Write one line per engine, with the unit in the name of each column."""
    return csv_text(COLUMNS, ([format_cell(engine, name) for name in COLUMNS] for engine in engines))


def format_cell(engine: EngineSpec, name: str) -> Any:
    value = getattr(engine, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return " ".join(format_plain(ratio) for ratio in value)
    return Decimal(format_plain(value)) if isinstance(value, Decimal | float) else value


# Reading


@dataclass(frozen=True)
class RowError:
    line: int
    column: str
    message: str


@dataclass(frozen=True)
class EngineFieldChange:
    label: str
    was: str
    becomes: str


@dataclass(frozen=True)
class EngineLine:
    """One engine of the file: its valid form, and what saving it would change."""

    line: int
    form: EngineForm
    changes: list[EngineFieldChange]

    @property
    def is_new(self) -> bool:
        return self.form.instance.pk is None

    @property
    def name(self) -> str:
        return " ".join(str(self.form.cleaned_data[part]) for part in NAME_COLUMNS)


@dataclass
class EngineImport:
    """Content of a file, not saved yet."""

    lines: list[EngineLine] = field(default_factory=list)
    errors: list[RowError] = field(default_factory=list)

    @property
    def to_save(self) -> list[EngineLine]:
        return [line for line in self.lines if line.is_new or line.changes]

    @property
    def fingerprint(self) -> str:
        """Hash of the changes and the library's versions, so that what is saved is what was shown."""
        changes = [f"{line.name}\0{line.form.instance.version}\0{line.changes}" for line in self.to_save]
        return hashlib.sha256("\n".join(changes).encode()).hexdigest()[:16]


def decode_file(data: bytes) -> str:
    """Decode a file in any encoding that a spreadsheet writes.

    Raises
    ------
    UnreadableFile
        The file is too large or not text.
    """
    if len(data) > MAX_BYTES:
        raise UnreadableFile("The file is larger than 1 MB. Check that you chose the right file.")
    encodings = ["utf-16"] if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise UnreadableFile("The file is not readable text. Save it as CSV (UTF-8) in your spreadsheet program.")


def read_engines(text: str) -> EngineImport:
    """Read a file of engines; one that is in the library already is changed, not duplicated.

    Missing columns leave an engine's values unchanged. A column in millimetres may be given in inches
    instead (``intake_low_in``).

    Raises
    ------
    UnreadableFile
        No header, an unknown column, or a column twice.
    """
    if "\0" in text:
        raise UnreadableFile("The file is not text. Save it as CSV in your spreadsheet program.")
    records = iter_rows(text)
    _, header = next(records, (0, []))
    columns = check_columns(header)
    known = {(engine.maker, engine.name): engine for engine in EngineSpec.objects.all()}
    read, seen = EngineImport(), dict[tuple[str, str], int]()
    for line, cells in records:
        if not any(cell.strip() for cell in cells):
            continue
        if len(seen) >= MAX_ENGINES:
            raise UnreadableFile(f"The file has more than {MAX_ENGINES} engines. Split it.")
        if len(cells) != len(columns):
            message = f"This line has {len(cells)} cells but the header has {len(columns)} columns."
            read.errors.append(RowError(line, "", message))
            continue
        values = {column: unescape_formula(cell).strip() for column, cell in zip(columns, cells, strict=True)}
        names = values["maker"], values["name"]
        if names in seen:
            read.errors.append(RowError(line, "name", f"This engine is already on line {seen[names]}."))
            continue
        seen[names] = line
        read_row(read, line, values, known.get(names) or EngineSpec())
    return read


def iter_rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """Yield each record with the number of its first line."""
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    first_line = 1
    try:
        for cells in reader:
            yield first_line, cells
            first_line = reader.line_num + 1
    except csv.Error as problem:
        raise UnreadableFile(f"Line {first_line} cannot be read as CSV: {problem}.") from problem


def check_columns(header: list[str]) -> list[str]:
    columns = [cell.strip().casefold() for cell in header]
    unknown = [cell for cell in columns if cell not in COLUMNS and cell not in INCH_COLUMNS]
    missing = [name for name in NAME_COLUMNS if name not in columns]
    if missing:
        raise UnreadableFile(
            f"Line 1 must contain the column names, including “{'” and “'.join(missing)}”. "
            "Export the library to see an example."
        )
    if unknown:
        raise UnreadableFile(
            f"Line 1, column {columns.index(unknown[0]) + 1}: unknown column “{unknown[0]}”."
        )
    names = [INCH_COLUMNS.get(cell, cell) for cell in columns]
    twice = next((name for name in names if names.count(name) > 1), "")
    if twice:
        raise UnreadableFile(f"Line 1: the column “{twice}” appears twice.")
    return columns


def read_row(read: EngineImport, line: int, values: dict[str, str], engine: EngineSpec) -> None:
    stored = EngineForm(instance=engine)
    data = {name: stored[name].value() for name in stored.fields}
    columns = {INCH_COLUMNS.get(column, column): column for column in values}
    data |= {
        name: form_value(
            stored, name, f"{values[column]} in" if column != name and values[column] else values[column]
        )
        for name, column in columns.items()
    }
    form = EngineForm({name: value for name, value in data.items() if value is not None}, instance=engine)
    if form.is_valid():
        read.lines.append(EngineLine(line, form, list_changes(stored, form)))
        return
    for name, messages in form.errors.items():
        column = columns.get(name, "" if name == "__all__" else name)
        read.errors += [RowError(line, column, str(message)) for message in messages]


def form_value(form: EngineForm, name: str, cell: str) -> str:
    """Return a cell as the form takes it: yes and no, and a choice by its label or its key."""
    model_field = EngineSpec._meta.get_field(name)
    if isinstance(model_field, models.BooleanField):
        return "on" if cell.casefold() in YES else "" if cell.casefold() in NO else cell
    keys = {str(label).casefold(): key for key, label in getattr(form.fields[name], "choices", None) or ()}
    return str(keys.get(cell.casefold(), cell))


def list_changes(stored: EngineForm, form: EngineForm) -> list[EngineFieldChange]:
    """List what saving would change of an engine in the library."""
    if form.instance.pk is None:
        return []
    names = [name for name in form.changed_data if name != "version"]
    pairs = [
        (name, describe_value(stored[name].value()), describe_value(display_stored(form, name)))
        for name in names
    ]
    return [
        EngineFieldChange(str(form.fields[name].label), was, now) for name, was, now in pairs if was != now
    ]


def display_stored(form: EngineForm, name: str) -> Any:
    return form.fields[name].prepare_value(form.cleaned_data[name])


def describe_value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "–" if value in (None, "") else str(value)


@transaction.atomic
def save_engines(read: EngineImport) -> int:
    """Save the engines that were shown, and return how many.

    Raises
    ------
    StaleRecord
        Someone else saved one of them in the meantime; nothing is written.
    """
    for line in read.to_save:
        line.form.save()
    return len(read.to_save)
