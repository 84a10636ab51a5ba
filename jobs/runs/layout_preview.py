"""Preview a file with the settings made so far, before its columns are named."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from jobs.calc.run_file import (
    Column,
    FileLayoutSpec,
    Preview,
    PullRange,
    RunFileError,
    StructureOverrides,
    list_pulls,
    open_text,
    preview,
    sniff,
)
from jobs.calc.run_file.proposals import Proposal, propose
from jobs.models import FileLayout, Run
from jobs.runs.bike_doubts import bike_doubts, expected_bike
from jobs.runs.importing import apply_layout, find_pulls_of_kind, pull_doubts

LINES_SHOWN = 40
ROWS_SHOWN = 10


@dataclass(frozen=True, eq=False)
class LayoutPreview:
    """Preview of a file as it is read now; without a layout, ``problem`` says why.

    ``pulls`` are those of a file that holds several, ``proposal`` what the file seems to hold.
    """

    layout: FileLayoutSpec | None
    content: Preview | None
    lines: tuple[tuple[int, str], ...]
    problem: str = ""
    pulls: tuple[PullRange, ...] = ()
    bike_doubts: tuple[str, ...] = ()
    proposal: Proposal = field(default_factory=Proposal)

    @property
    def signature(self) -> str:
        return layout_signature(self.layout) if self.layout else ""

    @property
    def questions_seen(self) -> str:
        """Hash of the questions shown, which the form sends back."""
        sentences = [question.sentence for question in self.content.questions] if self.content else []
        sentences += [*pull_doubts(self.pulls), *self.bike_doubts]
        return hashlib.sha256("\n".join(sentences).encode()).hexdigest()[:16] if sentences else ""


def layout_signature(layout: FileLayoutSpec) -> str:
    """Return what two layouts must share so that the column meanings of one apply to the other."""
    lines = (layout.header_line, layout.unit_line)
    return f"{layout.delimiter!r} {lines} {len(layout.columns)}"


def stored_layout(run: Run) -> FileLayoutSpec | None:
    """Return the layout a run was read with or will be, or None without a valid one."""
    try:
        return FileLayoutSpec.from_dict(run.layout_used) if run.layout_used else None
    except ValueError:
        return None


def remembered_layout(run: Run) -> FileLayout | None:
    """Return the layout that is remembered for files like that of a run."""
    fingerprint = (run.layout_used or {}).get("fingerprint")
    return FileLayout.objects.filter(fingerprint=fingerprint).first() if fingerprint else None


def layout_for_file(data: bytes, run: Run, known: FileLayout) -> FileLayoutSpec | None:
    """Return a remembered layout as it applies to the file of a run, or None if it does not."""
    try:
        return apply_layout(sniff(data, run.original_name), known)
    except RunFileError:
        return None


def found_layout(data: bytes, name: str, overrides: StructureOverrides) -> FileLayoutSpec | None:
    try:
        return sniff(data, name, overrides).layout
    except RunFileError:
        return None


def same_columns(layout: FileLayoutSpec, other: FileLayoutSpec | None) -> FileLayoutSpec:
    """Return the layout with the column meanings of the other if both have the same columns."""
    if other is None or layout_signature(layout) != layout_signature(other):
        return layout
    return replace(layout, columns=other.columns)


def preview_layout(
    data: bytes,
    run: Run,
    overrides: StructureOverrides,
    afr: float | None,
    apply_names: Callable[[FileLayoutSpec], FileLayoutSpec],
    *,
    propose_kind: bool,
) -> LayoutPreview:
    """Read the file with the overrides; ``apply_names`` adds the column meanings.

    With ``propose_kind`` the run, which is not saved here, gets the kind and gear that its channels show.
    """
    try:
        guess = sniff(data, run.original_name, overrides)
    except RunFileError as problem:
        return LayoutPreview(None, None, first_lines(data, overrides), str(problem))
    layout = apply_names(replace(guess.layout, stoichiometric_afr=afr))
    shown = preview(data, layout, ROWS_SHOWN)
    pulls: tuple[PullRange, ...] = ()
    doubts: tuple[str, ...] = ()
    found = Proposal()
    if shown.content is not None:
        expected = expected_bike(run.job, without=run.sha256)
        found = propose(shown.content.channels, run.original_name, expected.ratios)
        if propose_kind:
            run.kind = found.kind if found.kind and run.kind == Run.Kind.SWEEP else run.kind
            run.gear = run.gear or found.gear
        pulls = list_pulls(shown.content, find_pulls_of_kind(shown.content, run.kind))
        doubts = bike_doubts(shown.content, run.kind, replace(expected, gear=run.gear))
    return LayoutPreview(layout, shown, shown.lines[:LINES_SHOWN], shown.problem, pulls, doubts, found)


def first_lines(data: bytes, overrides: StructureOverrides) -> tuple[tuple[int, str], ...]:
    """Return the first lines of a file without detected structure, so that the user can point at them."""
    try:
        text = open_text(data, overrides.encoding)
    except RunFileError:
        return ()
    return tuple(enumerate(text.head()[:LINES_SHOWN], start=1))


def default_name(run: Run, layout: FileLayoutSpec | None) -> str:
    """Return the default name of a layout: its stored name, else one from its file."""
    known = FileLayout.objects.filter(fingerprint=layout.fingerprint).first() if layout else None
    return known.name if known else f"like {run.original_name}"[:120]


def remembered_columns(stored: FileLayout) -> tuple[Column, ...]:
    """Return the columns of a remembered layout, none if it is damaged."""
    try:
        return FileLayoutSpec.from_dict(stored.layout).columns
    except ValueError:
        return ()
