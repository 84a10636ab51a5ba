"""How one kind of run file is read, and the one error that reading raises."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from jobs.calc.channels import CHANNELS
from jobs.calc.units.factors import FACTORS, get_unit

CERTAIN = 0.9  # below it a person has to nod

# What a person may choose from; the first of each is what an ordinary file has.
ENCODINGS: dict[str, str] = {
    "utf-8": "UTF-8",
    "cp1252": "Western Windows (cp1252)",
    "cp1250": "Central European Windows (cp1250)",
    "cp1251": "Cyrillic Windows (cp1251)",
    "utf-16-le": "UTF-16 LE",
    "utf-16-be": "UTF-16 BE",
    "utf-32-le": "UTF-32 LE",
    "utf-32-be": "UTF-32 BE",
}
DELIMITERS: dict[str, str] = {
    ",": "comma",
    ";": "semicolon",
    "\t": "tab",
    "|": "pipe",
    " ": "blanks",
    "": "none, one column",
}
DECIMALS: dict[str, str] = {".": "point", ",": "comma"}
THOUSANDS: dict[str, str] = {"": "none", ",": "comma", ".": "point", " ": "blank", "'": "apostrophe"}

# Ways to write a time that are no unit
CLOCK, DATE_TIME = "clock", "date_time"
TIME_FORMS: dict[str, str] = {CLOCK: "clock time", DATE_TIME: "date and time"}

MAX_COLUMNS = 1_000


class RunFileError(ValueError):
    """A file that cannot be read, with the place and the reason in one plain sentence.

    Attributes
    ----------
    reason : str
    line, column : int or None
        Counted from 1.
    """

    def __init__(self, reason: str, line: int | None = None, column: int | None = None) -> None:
        self.reason, self.line, self.column = reason, line, column
        super().__init__(reason)


def unit_label(unit_id: str | None) -> str:
    """What people read for a unit or for a way to write times."""
    if unit_id is None:
        return ""
    return TIME_FORMS.get(unit_id) or get_unit(unit_id).label


def unit_choices(channel_id: str) -> dict[str, str]:
    """The units a channel can be written in, as id -> label; its own first.

    Raises
    ------
    ValueError
        There is no such channel.
    """
    if channel_id not in CHANNELS:
        raise ValueError(f"'{channel_id}' is not a channel this program knows.")
    channel = CHANNELS[channel_id]
    fitting = [unit_id for unit_id, found in FACTORS.items() if found.quantity == channel.quantity]
    choices = dict.fromkeys([channel.unit, *fitting, *(TIME_FORMS if channel.quantity == "time" else ())])
    return {unit_id: unit_label(unit_id) for unit_id in choices}


@dataclass(frozen=True)
class Column:
    """One column of a file.

    Attributes
    ----------
    position : int
        Counted from 0. Columns are known by it, never by their name.
    name, unit_text : str
        As they stand in the file.
    channel : str or None
        Id in `jobs.calc.channels`; None keeps the column under its own name.
    unit : str or None
        Id in `jobs.calc.unit_factors`, or 'clock' or 'date_time'.
    confidence : float
        0..1 that channel and unit are right; 1 once a person has nodded.
    """

    position: int
    name: str
    unit_text: str = ""
    channel: str | None = None
    unit: str | None = None
    confidence: float = 0.0

    def __post_init__(self) -> None:
        if self.channel is not None and self.channel not in CHANNELS:
            raise ValueError(f"'{self.channel}' is not a channel this program knows.")
        if self.unit is not None and self.unit not in FACTORS and self.unit not in TIME_FORMS:
            raise ValueError(f"'{self.unit}' is not a unit this program knows.")
        if self.channel is not None and self.unit is not None:
            self._require_same_quantity(self.channel, self.unit)

    def _require_same_quantity(self, channel_id: str, unit_id: str) -> None:
        channel = CHANNELS[channel_id]
        given = "time" if unit_id in TIME_FORMS else get_unit(unit_id).quantity
        if given != channel.quantity:
            raise ValueError(
                f"Column {self.position + 1} ('{self.name}') cannot be {channel.label} "
                f"in {unit_label(unit_id)}."
            )

    @property
    def certain(self) -> bool:
        return self.confidence >= CERTAIN


@dataclass(frozen=True)
class Layout:
    """How a file is read. Lines are counted from 1, as an editor shows them.

    Attributes
    ----------
    encoding, delimiter, decimal, thousands : str
        Keys of `ENCODINGS`, `DELIMITERS`, `DECIMALS` and `THOUSANDS`.
    header_line, unit_line : int or None
        None where the file has none.
    header_rows : int
        1, or 2 where names stand in two rows, of which ``header_line`` is the upper.
    data_line : int
        The first line with figures.
    columns : tuple of Column
    fingerprint : str
        What the header was when first seen; the key under which a layout is remembered.
    stoichiometric_afr : float or None
        The air-fuel ratio that the file's maker counts as lambda 1. None: not yet said.
    doubts : tuple of str
        What a person should look at before the file's structure is taken as found.
    """

    encoding: str = "utf-8"
    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    header_line: int | None = 1
    header_rows: int = 1
    unit_line: int | None = None
    data_line: int = 2
    columns: tuple[Column, ...] = ()
    fingerprint: str = ""
    stoichiometric_afr: float | None = None
    doubts: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for value, choices, what in (
            (self.encoding, ENCODINGS, "encoding"),
            (self.delimiter, DELIMITERS, "delimiter"),
            (self.decimal, DECIMALS, "decimal mark"),
            (self.thousands, THOUSANDS, "thousands mark"),
        ):
            if value not in choices:
                raise ValueError(f"'{value}' is not a {what} this program knows.")
        if self.decimal == self.thousands:
            raise ValueError("The decimal mark and the thousands mark must differ.")
        if self.data_line < 1 or self.header_rows not in (1, 2):
            raise ValueError("Lines are counted from 1, and names stand in one or two rows.")
        if self.header_line is not None and not 1 <= self.header_line < self.data_line:
            raise ValueError("The header line must stand above the first line with figures.")
        if self.unit_line is not None and not 1 <= self.unit_line < self.data_line:
            raise ValueError("The unit line must stand above the first line with figures.")
        if self.stoichiometric_afr is not None and not 1 <= self.stoichiometric_afr <= 40:
            raise ValueError("An air-fuel ratio for lambda 1 lies between 1 and 40 (petrol about 14.7).")
        if [column.position for column in self.columns] != list(range(len(self.columns))):
            raise ValueError("The columns must be given in their order, each once.")
        self._require_each_channel_once()

    def _require_each_channel_once(self) -> None:
        seen: dict[str, Column] = {}
        for column in self.columns:
            if column.channel is None:
                continue
            if column.channel in seen:
                raise ValueError(
                    f"Columns {seen[column.channel].position + 1} and {column.position + 1} are both named "
                    f"as {CHANNELS[column.channel].label}; only one can be it."
                )
            seen[column.channel] = column

    @property
    def needs_nod(self) -> bool:
        """Whether a person has to look before this layout is used."""
        mapped = [column for column in self.columns if column.channel]
        return bool(self.doubts) or not mapped or not all(column.certain for column in mapped)

    def column_of(self, channel_id: str) -> Column | None:
        """The column that holds a channel, or None."""
        return next((column for column in self.columns if column.channel == channel_id), None)

    def nodded(self) -> "Layout":
        """This layout after a person has agreed to all of it."""
        columns = tuple(
            replace(column, confidence=1.0) if column.channel else column for column in self.columns
        )
        return replace(self, columns=columns, doubts=())

    def with_column(self, position: int, channel: str | None, unit_id: str | None = None) -> "Layout":
        """This layout with one column's meaning set by a person.

        A channel that another column held moves here.

        Raises
        ------
        ValueError
            There is no such column, channel or unit, or the unit does not measure that.
        """
        return self.with_meanings({position: (channel, unit_id)})

    def with_meanings(self, meanings: Mapping[int, tuple[str | None, str | None]]) -> "Layout":
        """This layout with columns' meanings set by a person: position -> channel and unit.

        Raises
        ------
        ValueError
            As :meth:`with_column`, or one channel is given to two columns.
        """
        if unknown := [position for position in meanings if not 0 <= position < len(self.columns)]:
            raise ValueError(f"There is no column {unknown[0] + 1}; the file has {len(self.columns)}.")
        taken = {channel for channel, _ in meanings.values() if channel}
        columns = []
        for column in self.columns:
            if column.position in meanings:
                channel, unit_id = meanings[column.position]
                column = replace(column, channel=channel, unit=unit_id, confidence=1.0 if channel else 0.0)
            elif column.channel in taken:
                column = replace(column, channel=None, confidence=0.0)
            columns.append(column)
        return replace(self, columns=tuple(columns))

    def to_dict(self) -> dict[str, Any]:
        """Plain lists and dictionaries, ready for JSON."""
        return {**asdict(self), "columns": [asdict(c) for c in self.columns], "doubts": list(self.doubts)}

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> "Layout":
        """The layout that :meth:`to_dict` stored.

        Raises
        ------
        ValueError
            Something is missing or cannot be.
        """
        try:
            columns = tuple(Column(**column) for column in stored["columns"])
            rest = {key: value for key, value in stored.items() if key not in ("columns", "doubts")}
            return cls(columns=columns, doubts=tuple(stored.get("doubts", ())), **rest)
        except (TypeError, KeyError, AttributeError) as error:
            raise ValueError("This is not a stored file layout.") from error


def fingerprint(cells: Iterable[tuple[str, str]]) -> str:
    """What a header is known by: names and units, whatever the encoding, byte-order mark or padding.

    Parameters
    ----------
    cells : iterable of (name, unit text)
        Empty ones at the end make no difference.
    """
    plain = [[" ".join(part.replace("\ufeff", "").split()).casefold() for part in cell] for cell in cells]
    while plain and plain[-1] == ["", ""]:
        plain.pop()
    return hashlib.sha256(json.dumps(plain).encode()).hexdigest()
