"""A remembered layout laid over the next file of its kind."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from jobs.calc.run_file.column_meaning import split_unit
from jobs.calc.run_file.layout import Layout
from jobs.calc.run_file.preview import Guess
from jobs.calc.run_file.structure import header_cells

UNNAMED = 0.8  # at most so sure of a column that has no name
CODE_PAGES = {"cp1250", "cp1251", "cp1252"}


def recognise(guess: Guess, remembered: Layout) -> Layout | None:
    """Lay a remembered layout over a new file of its kind.

    Parameters
    ----------
    guess : Guess
        What :func:`sniff` made of the file.
    remembered : Layout
        The one kept under the guess's fingerprint.

    Returns
    -------
    Layout or None
        The remembered one with this file's encoding, lines and, where it shows them, marks; None where
        the file is of another kind. Without a header two files of one width cannot be told apart: a
        person has to nod again.
    """
    found = guess.layout
    if found.fingerprint != remembered.fingerprint:
        return None
    as_found = [c.name for c in found.columns] == [c.name for c in remembered.columns]
    # Only a person can tell one code page from another, and has done so.
    encoding = remembered.encoding if {found.encoding, remembered.encoding} <= CODE_PAGES else found.encoding
    if encoding != found.encoding:
        as_found = len(found.columns) == len(remembered.columns)
    marks = found if guess.decimal_seen or found.delimiter != remembered.delimiter else remembered
    columns = remembered.columns
    if remembered.header_line is None:
        columns = tuple(replace(column, confidence=min(column.confidence, UNNAMED)) for column in columns)
    return replace(
        remembered,
        encoding=encoding,
        delimiter=found.delimiter if as_found else remembered.delimiter,
        decimal=marks.decimal,
        thousands=marks.thousands,
        columns=columns,
        **(_lines_of(found) if as_found else _lines_moved(guess.preview.lines, remembered)),
    )


def _lines_of(layout: Layout, moved_by: int = 0) -> dict[str, Any]:
    return {
        "header_line": layout.header_line + moved_by if layout.header_line else None,
        "header_rows": layout.header_rows,
        "unit_line": layout.unit_line + moved_by if layout.unit_line else None,
        "data_line": layout.data_line + moved_by,
    }


def _lines_moved(lines: Sequence[tuple[int, str]], remembered: Layout) -> dict[str, Any]:
    """The lines that a person set, moved to where this file has that header."""
    names = [column.name for column in remembered.columns]
    header_line = remembered.header_line
    if header_line is None or remembered.header_rows == 2:
        return _lines_of(remembered)
    for number, line in lines:
        cells = header_cells(line, remembered.delimiter, len(names))
        here = [split_unit(cell)[0] if not remembered.unit_line else cell for cell in cells]
        if here[: len(names)] == names[: len(here)] and any(here):
            return _lines_of(remembered, number - header_line)
    return _lines_of(remembered)
