"""Applying a stored layout to the next file of its kind."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from jobs.calc.run_file.column_meaning import split_unit
from jobs.calc.run_file.guess import Guess
from jobs.calc.run_file.layout import FileLayoutSpec
from jobs.calc.run_file.structure import split_header

MAX_UNNAMED_CONFIDENCE = 0.8  # of a column without a name, so that a person confirms it each time
CODE_PAGES = {"cp1250", "cp1251", "cp1252"}


def apply_known_layout(guess: Guess, known: FileLayoutSpec) -> FileLayoutSpec | None:
    """Fit a stored layout to a new file of its kind.

    Parameters
    ----------
    guess : Guess
        What `sniff` made of the new file.
    known : FileLayoutSpec
        The layout stored under the guess's fingerprint.

    Returns
    -------
    FileLayoutSpec or None
        The stored layout with this file's encoding and lines and, if the file shows them, its marks; None if
        the file is of another kind. It needs confirmation again if the rows have more or fewer values than
        names, or without a header: two files of one width cannot be told apart.
    """
    found = guess.layout
    if found.fingerprint != known.fingerprint:
        return None
    as_found = [c.name for c in found.columns] == [c.name for c in known.columns]
    # Only a person can tell one code page from another, and has done so.
    encoding = known.encoding if {found.encoding, known.encoding} <= CODE_PAGES else found.encoding
    if encoding != found.encoding:
        as_found = len(found.columns) == len(known.columns)
    marks = found if guess.decimal_seen or found.delimiter != known.delimiter else known
    columns = known.columns
    if known.header_line is None:
        columns = tuple(
            replace(column, confidence=min(column.confidence, MAX_UNNAMED_CONFIDENCE)) for column in columns
        )
    return replace(
        known,
        encoding=encoding,
        delimiter=found.delimiter if as_found else known.delimiter,
        decimal=marks.decimal,
        thousands=marks.thousands,
        columns=columns,
        doubts=guess.width_doubts if _names(found) == _names(known) else (),
        **(_line_numbers(found) if as_found else _moved_line_numbers(guess.lines, known)),
    )


def _names(layout: FileLayoutSpec) -> list[str]:
    """Return the names of the columns without unnamed ones at the end."""
    names = [column.name for column in layout.columns]
    while names and not names[-1]:
        names.pop()
    return names


def _line_numbers(layout: FileLayoutSpec, moved_by: int = 0) -> dict[str, Any]:
    return {
        "header_line": layout.header_line + moved_by if layout.header_line else None,
        "header_rows": layout.header_rows,
        "unit_line": layout.unit_line + moved_by if layout.unit_line else None,
        "data_line": layout.data_line + moved_by,
    }


def _moved_line_numbers(lines: Sequence[str], known: FileLayoutSpec) -> dict[str, Any]:
    """Move the lines that a person set to where this file has that header."""
    names = [column.name for column in known.columns]
    header_line = known.header_line
    if header_line is None or known.header_rows == 2:
        return _line_numbers(known)
    for number, line in enumerate(lines, start=1):
        cells = split_header(line, known.delimiter, len(names))
        here = [split_unit(cell)[0] if not known.unit_line else cell for cell in cells]
        if here[: len(names)] == names[: len(here)] and any(here):
            return _line_numbers(known, number - header_line)
    return _line_numbers(known)
