"""Looking at a file before its columns are named: what is read with what a person has set so far."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace

from jobs.calc.run_file import (
    Column,
    FileLayoutSpec,
    Preview,
    RunFileError,
    StructureOverrides,
    open_text,
    preview,
    sniff,
)
from jobs.models import FileLayout, Run

LINES_SHOWN = 40
ROWS_SHOWN = 10


@dataclass(frozen=True, eq=False)
class Look:
    """What a file looks like as it is read now; without a layout ``problem`` says why nothing is."""

    layout: FileLayoutSpec | None
    preview: Preview | None
    lines: tuple[tuple[int, str], ...]
    problem: str = ""

    @property
    def shape(self) -> str:
        return shape_of(self.layout) if self.layout else ""

    @property
    def questions_seen(self) -> str:
        """A mark by which a sending tells which questions stood on the page."""
        asked = [question.sentence for question in self.preview.questions] if self.preview else []
        return hashlib.sha256("\n".join(asked).encode()).hexdigest()[:16] if asked else ""


def shape_of(layout: FileLayoutSpec) -> str:
    """What has to be the same for the meanings of one layout's columns to hold in another."""
    lines = (layout.header_line, layout.unit_line)
    return f"{layout.delimiter!r} {lines} {len(layout.columns)}"


def stored_layout(run: Run) -> FileLayoutSpec | None:
    """The layout a run was read with, or will be; None where there is none that fits."""
    try:
        return FileLayoutSpec.from_dict(run.layout_used) if run.layout_used else None
    except ValueError:
        return None


def found_layout(data: bytes, name: str, overrides: StructureOverrides) -> FileLayoutSpec | None:
    try:
        return sniff(data, name, overrides).layout
    except RunFileError:
        return None


def same_columns(layout: FileLayoutSpec, other: FileLayoutSpec | None) -> FileLayoutSpec:
    """The layout with the other's column meanings where both have the same columns."""
    if other is None or shape_of(layout) != shape_of(other):
        return layout
    return replace(layout, columns=other.columns)


def look_at(
    data: bytes,
    name: str,
    overrides: StructureOverrides,
    afr: float | None,
    named: Callable[[FileLayoutSpec], FileLayoutSpec],
) -> Look:
    """Read the first rows with the overrides; ``named`` lays the columns' meanings over what is found."""
    try:
        guess = sniff(data, name, overrides)
    except RunFileError as problem:
        return Look(None, None, first_lines(data, overrides), str(problem))
    layout = named(replace(guess.layout, stoichiometric_afr=afr))
    shown = preview(data, layout, ROWS_SHOWN)
    return Look(layout, shown, shown.lines[:LINES_SHOWN], shown.problem)


def first_lines(data: bytes, overrides: StructureOverrides) -> tuple[tuple[int, str], ...]:
    """The lines of a file in which nothing was found, so that a person can point at something."""
    try:
        text = open_text(data, overrides.encoding)
    except RunFileError:
        return ()
    return tuple(enumerate(text.head()[:LINES_SHOWN], start=1))


def name_for(run: Run, layout: FileLayoutSpec | None) -> str:
    """What a layout is called by default: as it is remembered, else by the file it is made from."""
    known = FileLayout.objects.filter(fingerprint=layout.fingerprint).first() if layout else None
    return known.name if known else f"like {run.original_name}"[:120]


def remembered_columns(kept: FileLayout) -> tuple[Column, ...]:
    """The columns of a remembered layout; none where it is damaged."""
    try:
        return FileLayoutSpec.from_dict(kept.layout).columns
    except ValueError:
        return ()
