"""The decimal mark of a file and, if it has one, its thousands mark."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.calc.run_file.layout import DECIMALS

_OTHER = {".": ",", ",": "."}
_BARE = re.compile(r"[+-]?\d+", re.ASCII)
_ONE_MARK = re.compile(r"[+-]?(\d*)([.,])(\d*)(?:[eE][+-]?\d+)?", re.ASCII)
_MANY_GROUPS = re.compile(r"[+-]?\d{1,3}([.,])\d{3}(?:\1\d{3})+", re.ASCII)
_GROUPS_AND_DECIMAL = re.compile(r"[+-]?\d{1,3}(?:([.,])\d{3})(?:\1\d{3})*([.,])\d*", re.ASCII)
_BLANK_GROUPS = re.compile(r"[+-]?\d{1,3}([ '])\d{3}(?:\1\d{3})*(?:[.,]\d*)?", re.ASCII)
_BLANKS = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2009": " ", "’": "'", "−": "-"})


@dataclass(frozen=True)
class DecimalMarks:
    """The marks found in a file.

    Attributes
    ----------
    decimal, thousands : str
        Keys of `DECIMALS` and `THOUSANDS`.
    seen : bool
        Whether some cell can only be read this way.
    doubts : tuple of str
        What a person should check.
    """

    decimal: str
    thousands: str
    seen: bool
    doubts: tuple[str, ...] = ()


def find_decimal_marks(rows: Sequence[Sequence[str]]) -> DecimalMarks:
    """Find the decimal and thousands marks that the cells of a file show.

    Parameters
    ----------
    rows : sequence of sequence of str
        Cells as they are in the file.

    Returns
    -------
    DecimalMarks

    Notes
    -----
    '12,5' can only be a decimal and '1.234.567' only groups; '1,234' may be either. It counts as grouped if
    its column also has whole figures below 1000 and none above without the mark. Rule of thumb, no published
    source.
    """
    decimals: Counter[str] = Counter()
    groups: Counter[str] = Counter()
    either: dict[str, str] = {}
    for cell in (cell if cell.isascii() else cell.translate(_BLANKS) for row in rows for cell in row):
        if match := _ONE_MARK.fullmatch(cell):
            whole, mark, part = match.groups()
            if len(part) == 3 and 1 <= len(whole) <= 3 and whole[0] != "0":
                either.setdefault(mark, cell)
            else:
                decimals[mark] += 1
        elif (match := _GROUPS_AND_DECIMAL.fullmatch(cell)) and match[1] != match[2]:
            groups[match[1]] += 1
            decimals[match[2]] += 1
        elif (match := _MANY_GROUPS.fullmatch(cell)) or (match := _BLANK_GROUPS.fullmatch(cell)):
            groups[match[1]] += 1
    return _decide(rows, decimals, groups, either)


def _decide(
    rows: Sequence[Sequence[str]], decimals: Counter[str], groups: Counter[str], either: dict[str, str]
) -> DecimalMarks:
    thousands = groups.most_common(1)[0][0] if groups else ""
    if decimals:
        decimal = decimals.most_common(1)[0][0]
        if _OTHER[decimal] in either and not thousands:
            thousands = _OTHER[decimal]
        return DecimalMarks(decimal, thousands if thousands != decimal else "", True)
    if thousands in _OTHER:
        return DecimalMarks(_OTHER[thousands], thousands, True)
    for mark, cell in either.items():
        if _is_grouped(rows, mark):
            return DecimalMarks(_OTHER[mark], mark, False, (_doubt(cell, mark, cell.replace(mark, "")),))
    if "," in either and "." not in either:
        return DecimalMarks(",", thousands, False, (_doubt(either[","], ",", either[","].replace(",", ".")),))
    return DecimalMarks(".", thousands or ("," if "," in either else ""), False)


def _doubt(cell: str, mark: str, read_as: str) -> str:
    return (
        f"Cells such as '{cell}' were read as {read_as}. Check whether the {DECIMALS[mark]} is the decimal "
        "mark or parts the thousands."
    )


def _is_grouped(rows: Sequence[Sequence[str]], mark: str) -> bool:
    for i in range(max(map(len, rows), default=0)):
        cells = [row[i] for row in rows if len(row) > i]
        if not any(mark in cell for cell in cells):
            continue
        bare = [abs(int(cell)) for cell in cells if len(cell) < 10 and _BARE.fullmatch(cell)]
        if bare and 100 <= max(bare) < 1000:
            return True
    return False
