"""How one kind of run file is read, and the one error that reading raises."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from jobs.calc.channels import CHANNELS
from jobs.calc.units.factors import FACTORS, get_unit

# Rule of thumb, no published source: below it a person has to confirm the column.
CERTAIN_CONFIDENCE = 0.9
# Rule of thumb, no published source: below it a guess is offered, and only a person can choose it.
PRESELECTED_CONFIDENCE = 0.7

# The choices offered to a person; the first of each is what an ordinary file has.
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

# Ways to write a time that are no unit.
CLOCK, DATE_TIME = "clock", "date_time"
TIME_FORMS: dict[str, str] = {CLOCK: "clock time", DATE_TIME: "date and time"}

MAX_COLUMNS = 1_000


class RunFileError(ValueError):
    """A file that cannot be read, with the place and the reason in one sentence.

    Attributes
    ----------
    reason : str
    line, column : int or None
        Counted from 1.
    """

    def __init__(self, reason: str, line: int | None = None, column: int | None = None) -> None:
        self.reason, self.line, self.column = reason, line, column
        super().__init__(reason)


def get_unit_label(unit_id: str | None) -> str:
    """Return the label of a unit or of a way to write times.

    Parameters
    ----------
    unit_id : str or None
        Key of `jobs.calc.units.factors.FACTORS` or of `TIME_FORMS`.

    Returns
    -------
    str
        Empty for None.

    Raises
    ------
    ValueError
        The id is unknown.
    """
    if unit_id is None:
        return ""
    return TIME_FORMS.get(unit_id) or get_unit(unit_id).label


@dataclass(frozen=True)
class Column:
    """One column of a file.

    Attributes
    ----------
    position : int
        Counted from 0. Columns are identified by it, never by their name.
    name, unit_text : str
        As they are in the file.
    channel : str or None
        Key of `jobs.calc.channels.CHANNELS`; None stores the column under its own name.
    unit : str or None
        Key of `jobs.calc.units.factors.FACTORS`, or 'clock' or 'date_time'.
    confidence : float
        0 to 1 [1] that channel and unit are right; 1 once a person has confirmed them.
    unit_confidence : float
        0 to 1 [1] that the unit is right if the channel is.
    typical : float or None
        How large its values were in the file for which it was confirmed, in the channel's unit: see
        `jobs.calc.run_file.doubts.with_typical_values`.
    """

    position: int
    name: str
    unit_text: str = ""
    channel: str | None = None
    unit: str | None = None
    confidence: float = 0.0
    unit_confidence: float = 1.0
    typical: float | None = None

    def __post_init__(self) -> None:
        if self.channel is not None and self.channel not in CHANNELS:
            raise ValueError(f"'{self.channel}' is not a channel this program knows.")
        if self.unit is not None and self.unit not in FACTORS and self.unit not in TIME_FORMS:
            raise ValueError(f"'{self.unit}' is not a unit this program knows.")
        if self.channel is not None and self.unit is not None:
            self._check_same_quantity(self.channel, self.unit)

    def _check_same_quantity(self, channel_id: str, unit_id: str) -> None:
        channel = CHANNELS[channel_id]
        quantity = "time" if unit_id in TIME_FORMS else get_unit(unit_id).quantity
        if quantity != channel.quantity:
            raise ValueError(
                f"Column {self.position + 1} ('{self.name}') cannot be {channel.label} "
                f"in {get_unit_label(unit_id)}."
            )

    @property
    def is_certain(self) -> bool:
        return self.confidence >= CERTAIN_CONFIDENCE

    def without_weak_guess(self) -> "Column":
        """Return this column without the channel, or only without the unit, that is too weak a guess.

        Returns
        -------
        Column
        """
        if self.channel is None or self.confidence >= PRESELECTED_CONFIDENCE:
            return self
        if self.confidence >= PRESELECTED_CONFIDENCE * self.unit_confidence:
            return replace(self, unit=None)
        return replace(self, channel=None, unit=self.unit if self.unit in TIME_FORMS else None)


@dataclass(frozen=True)
class FileLayoutSpec:
    """How a file is read. Lines are counted from 1, as an editor shows them.

    Attributes
    ----------
    encoding, delimiter, decimal, thousands : str
        Keys of `ENCODINGS`, `DELIMITERS`, `DECIMALS` and `THOUSANDS`.
    header_line, unit_line : int or None
        None if the file has none.
    header_rows : int
        1, or 2 if the names take two rows, of which ``header_line`` is the upper.
    data_line : int
        The first line with figures.
    columns : tuple of Column
        In the order of the file.
    fingerprint : str
        Hash of the header as first detected; the key under which a layout is stored.
    stoichiometric_afr : float or None
        Air-fuel ratio [kg/kg] that the file counts as lambda 1; None if not stated yet.
    corrected_by : str
        What a person said about the air correction of such files: key of `jobs.calc.dyno.air.STANDARDS`,
        'observed' or 'other'; empty if nobody has.
    doubts : tuple of str
        What a person should check before the detected structure is used.
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
    corrected_by: str = ""
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
            raise ValueError("Line numbers start at 1, and names are in one or two rows.")
        if self.header_line is not None and not 1 <= self.header_line < self.data_line:
            raise ValueError("The header line must be above the first line with numbers.")
        if self.unit_line is not None and not 1 <= self.unit_line < self.data_line:
            raise ValueError("The unit line must be above the first line with numbers.")
        if self.stoichiometric_afr is not None and not 1 <= self.stoichiometric_afr <= 40:
            raise ValueError("Enter an air-fuel ratio for lambda 1 from 1 to 40 (petrol about 14.7).")
        if [column.position for column in self.columns] != list(range(len(self.columns))):
            raise ValueError("The columns must be given in their order, each once.")
        self._check_channels_unique()

    def _check_channels_unique(self) -> None:
        seen: dict[str, Column] = {}
        for column in self.columns:
            if column.channel is None:
                continue
            if column.channel in seen:
                raise ValueError(
                    f"Columns {seen[column.channel].position + 1} and {column.position + 1} are both named "
                    f"as {CHANNELS[column.channel].label}. Only one column can be."
                )
            seen[column.channel] = column

    @property
    def needs_confirmation(self) -> bool:
        """True if a person has to check this layout before it is used."""
        mapped = [column for column in self.columns if column.channel]
        return bool(self.doubts) or not mapped or not all(column.is_certain for column in mapped)

    def confirmed(self) -> "FileLayoutSpec":
        """Return this layout as confirmed by a person: every channel certain, no doubts.

        Returns
        -------
        FileLayoutSpec
        """
        columns = tuple(
            replace(column, confidence=1.0, unit_confidence=1.0) if column.channel else column
            for column in self.columns
        )
        return replace(self, columns=columns, doubts=())

    def without_weak_guesses(self) -> "FileLayoutSpec":
        """Return this layout as it is proposed to a person: what is only a weak guess is left open.

        Returns
        -------
        FileLayoutSpec
        """
        return replace(self, columns=tuple(column.without_weak_guess() for column in self.columns))

    def with_meanings(self, meanings: Mapping[int, tuple[str | None, str | None]]) -> "FileLayoutSpec":
        """Return this layout with the meaning of columns set by a person.

        Parameters
        ----------
        meanings : mapping of int to (str or None, str or None)
            Position to channel and unit. A channel that another column had moves here.

        Returns
        -------
        FileLayoutSpec

        Raises
        ------
        ValueError
            No such column, channel or unit; a unit of another quantity; or one channel given to two columns.
        """
        if unknown := [position for position in meanings if not 0 <= position < len(self.columns)]:
            raise ValueError(f"No column has the number {unknown[0] + 1}; the file has {len(self.columns)}.")
        taken = {channel for channel, _ in meanings.values() if channel}
        columns = []
        for column in self.columns:
            if column.position in meanings:
                channel, unit_id = meanings[column.position]
                is_same = (channel, unit_id) == (column.channel, column.unit)
                column = replace(
                    column,
                    channel=channel,
                    unit=unit_id,
                    confidence=1.0 if channel else 0.0,
                    unit_confidence=1.0,
                    typical=column.typical if is_same else None,
                )
            elif column.channel in taken:
                column = replace(column, channel=None, confidence=0.0)
            columns.append(column)
        return replace(self, columns=tuple(columns))

    def to_dict(self) -> dict[str, Any]:
        """Return the layout as lists and dictionaries, ready for JSON.

        Returns
        -------
        dict
            What `from_dict` reads.
        """
        return {**asdict(self), "columns": [asdict(c) for c in self.columns], "doubts": list(self.doubts)}

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> "FileLayoutSpec":
        """Restore a layout that `to_dict` stored.

        Parameters
        ----------
        stored : mapping

        Returns
        -------
        FileLayoutSpec

        Raises
        ------
        ValueError
            A key is missing or unknown, or a value is not allowed.
        """
        try:
            columns = tuple(Column(**column) for column in stored["columns"])
            rest = {key: value for key, value in stored.items() if key not in ("columns", "doubts")}
            return cls(columns=columns, doubts=tuple(stored.get("doubts", ())), **rest)
        except (TypeError, KeyError, AttributeError) as error:
            raise ValueError("This is not a stored file layout.") from error


def compute_fingerprint(cells: Iterable[tuple[str, str]]) -> str:
    """Hash a header, so that files of one kind are recognised.

    Parameters
    ----------
    cells : iterable of (str, str)
        Name and unit text of each column. Case, padding, a byte-order mark and empty cells at the end
        make no difference.

    Returns
    -------
    str
        SHA-256 in hexadecimal.
    """
    plain = [[" ".join(part.replace("\ufeff", "").split()).casefold() for part in cell] for cell in cells]
    while plain and plain[-1] == ["", ""]:
        plain.pop()
    return hashlib.sha256(json.dumps(plain).encode()).hexdigest()
