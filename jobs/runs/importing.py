"""Taking run files in: the page and the command line do exactly this.

The original is kept byte for byte, whatever becomes of it; a file that was attached to the job
before is recognised; a known layout is read at once, an unknown one waits for its columns' names.
A file is read before the transaction that keeps it, so that nobody waits for the database meanwhile.
"""

import hashlib
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import PurePath
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils import timezone

from jobs.calc.run_file import (
    FileLayoutSpec,
    Guess,
    RunFile,
    RunFileError,
    apply_known_layout,
    find_stated_time,
    read,
    sniff,
)
from jobs.calc.units.numbers import format_number
from jobs.models import FileLayout, Job, Run, TuneRevision
from jobs.runs.channel_files import store_channels
from workshop.models import ShopProfile, StaffMember, StaleRecord

MAX_NAME_LENGTH = 200
BYTES_IN_MB = 1024 * 1024


class Outcome(StrEnum):
    READ = "read"
    TO_NAME = "columns to be named"
    REFUSED = "can't be read"
    ATTACHED_BEFORE = "attached before"


@dataclass(frozen=True)
class RunDetails:
    """What is said of all files that are attached together."""

    kind: str = Run.Kind.SWEEP
    gear: int | None = None
    temperature_c: float | None = None
    pressure_kpa: float | None = None
    humidity_pct: float | None = None
    corrected_by: str = ""
    file_factor: float | None = None
    tune_revision: TuneRevision | None = None
    made_at: datetime | None = None
    note: str = ""


@dataclass(frozen=True)
class Reading:
    """What a file turned out to be, before anything is kept: one of content, refusal, or columns to name."""

    layout: FileLayoutSpec | None = None
    file_layout: FileLayout | None = None
    content: RunFile | None = field(default=None, repr=False)
    guess: Guess | None = field(default=None, repr=False)
    refusal: str = ""


@dataclass(frozen=True)
class Intake:
    """What became of one file."""

    run: Run
    outcome: Outcome
    sentence: str
    guess: Guess | None = field(default=None, repr=False)

    @property
    def ok(self) -> bool:
        return self.outcome in (Outcome.READ, Outcome.TO_NAME)


@dataclass(frozen=True)
class Named:
    """What became of the file whose columns were named, and of those that had waited for the same."""

    intake: Intake
    others: tuple[Intake, ...] = ()


def too_large(name: str, size: int) -> str:
    """Why a file of this size is refused unread; empty where it is not."""
    if size <= settings.RUN_FILE_LIMIT:
        return ""
    limit = settings.RUN_FILE_LIMIT // BYTES_IN_MB
    return (
        f"{name}: {format_number(size / BYTES_IN_MB)} MB is more than the {limit} MB that are read. "
        "Export a shorter part of it, or fewer columns, and attach that. Nothing was kept."
    )


def attach(*, job: Job, by: StaffMember, name: str, data: bytes, details: RunDetails) -> Intake:
    """Attach one file to a job and read it where its layout is known."""
    name = PurePath(name).name[-MAX_NAME_LENGTH:]
    sha256 = hashlib.sha256(data).hexdigest()
    earlier = Run.objects.filter(job=job, sha256=sha256).first()
    if earlier:
        return attached_before(earlier, name)
    reading = read_file(data, name)
    made_at, told = made_at_of(job, data, details)
    run = new_run(job, by, name, data, sha256, replace(details, made_at=made_at))
    try:
        with transaction.atomic():
            intake = keep(run, reading)
            return replace(intake, sentence=f"{intake.sentence} {told}".strip())
    except IntegrityError:
        # Somebody else, or the same person's second click, was attaching this very file meanwhile.
        for stored in (run.original, run.channels):
            if stored:
                stored.delete(save=False)
        return attached_before(Run.objects.get(job=job, sha256=sha256), name)


def made_at_of(job: Job, data: bytes, details: RunDetails) -> tuple[datetime, str]:
    """When a run was made: as somebody says, else as its file says, else now; and what is told of it.

    Files that are sent with one time are put a second apart, in the order in which they come.
    """
    made_at, told = details.made_at, ""
    if made_at is None:
        stated = find_stated_time(data)
        if made_at := on_our_clock(stated.at):
            told = f"Made {made_at:%Y-%m-%d %H:%M}, as the file says."
        elif stated.doubt:
            told = f"{stated.doubt}: the time of attaching stands in its place, set it by editing the run."
    made_at = made_at or timezone.now()
    while job.runs.filter(made_at=made_at).exists():
        made_at += timedelta(seconds=1)
    return made_at, told


def on_our_clock(stated: datetime | None) -> datetime | None:
    """A file's date and time by the shop's clock; one that is still to come is a wrong clock's."""
    if stated is None:
        return None
    made_at = stated.replace(tzinfo=ZoneInfo(ShopProfile.current().time_zone))
    return made_at if made_at <= timezone.now() else None


def attached_before(earlier: Run, name: str) -> Intake:
    as_name = "" if earlier.original_name == name else f" as {earlier.original_name}"
    sentence = f"{name} is attached to this job already{as_name}; nothing was added."
    return Intake(earlier, Outcome.ATTACHED_BEFORE, sentence)


def new_run(job: Job, by: StaffMember, name: str, data: bytes, sha256: str, details: RunDetails) -> Run:
    given: dict[str, Any] = {key: value for key, value in vars(details).items() if value is not None}
    run = Run(job=job, made_by=by, original_name=name, sha256=sha256, size=len(data), **given)
    run.original.save(f"{sha256[:16]}.dat", ContentFile(data), save=False)
    return run


def original_of(run: Run) -> bytes:
    """The original's bytes; raises FileNotFoundError where the storage has lost it."""
    with run.original.open("rb") as file:
        data: bytes = file.read()
    return data


# --- reading, which keeps nothing


def read_file(data: bytes, name: str) -> Reading:
    """Read a file where its layout is known and certain."""
    try:
        guess = sniff(data, name)
    except RunFileError as problem:
        return Reading(refusal=str(problem))
    known = FileLayout.objects.filter(fingerprint=guess.layout.fingerprint).first()
    laid = lay_over(guess, known)
    layout = laid or guess.layout
    if layout.needs_confirmation:
        return Reading(layout, guess=guess)
    return read_by(data, layout, known if laid else None)


def lay_over(guess: Guess, known: FileLayout | None) -> FileLayoutSpec | None:
    """A remembered layout as it fits this file; None where it doesn't, or is damaged."""
    if known is None:
        return None
    try:
        return apply_known_layout(guess, FileLayoutSpec.from_dict(known.layout))
    except ValueError:
        return None


def read_by(data: bytes, layout: FileLayoutSpec, file_layout: FileLayout | None = None) -> Reading:
    try:
        return Reading(layout, file_layout, content=read(data, layout))
    except RunFileError as problem:
        return Reading(layout, refusal=str(problem))


# --- keeping


def keep(run: Run, reading: Reading) -> Intake:
    """Save a run with what its file turned out to be."""
    run.layout_used = reading.layout.to_dict() if reading.layout else None
    if reading.content is not None:
        return keep_content(run, reading, reading.content)
    if reading.refusal:
        run.status, run.refusal = Run.Status.REFUSED, reading.refusal
        run.save()
        return Intake(run, Outcome.REFUSED, run.refusal)
    run.status, run.refusal = Run.Status.TO_NAME, ""
    run.save()
    sentence = f"{run.original_name}: name its columns once, then files like it are read at once."
    return Intake(run, Outcome.TO_NAME, sentence, reading.guess)


def keep_content(run: Run, reading: Reading, content: RunFile) -> Intake:
    store_channels(run, content.channels)
    run.status, run.refusal = Run.Status.READ, ""
    run.report, run.file_layout = content.report.to_dict(), reading.file_layout
    # Limits set by hand named rows of the reading before this one.
    run.sweep_start = run.sweep_stop = None
    run.save()
    return Intake(run, Outcome.READ, f"{run.original_name}: {format_number(content.report.rows)} rows read.")


def name_columns(*, run: Run, layout: FileLayoutSpec, remember_as: str) -> Named:
    """Read a run with the columns a person has named, and remember the layout for files like it.

    A file that can't be read so stays as it was, and nothing is remembered.

    Raises
    ------
    StaleRecord
        Somebody else saved the run meanwhile.
    """
    data = original_of(run)
    agreed = known_by(data, run, layout).confirmed()
    reading = read_by(data, agreed)
    if reading.content is None:
        return Named(Intake(run, Outcome.REFUSED, reading.refusal))
    with transaction.atomic():
        remembered = remember(agreed, remember_as)
        intake = keep(run, replace(reading, file_layout=remembered))
    return Named(intake, tuple(read_waiting(run, remembered)))


def known_by(data: bytes, run: Run, layout: FileLayoutSpec) -> FileLayoutSpec:
    """The layout under the fingerprint by which the next file of the kind will be found.

    Where a person pointed at another header, a new file is still first met as the program sees it.
    """
    try:
        found = sniff(data, run.original_name)
    except RunFileError:
        return layout
    return replace(layout, fingerprint=found.layout.fingerprint)


def remember(layout: FileLayoutSpec, name: str) -> FileLayout:
    kept = FileLayout.objects.filter(fingerprint=layout.fingerprint).first()
    kept = kept or FileLayout(fingerprint=layout.fingerprint)
    kept.name, kept.layout = name or kept.name or "file layout", layout.to_dict()
    kept.save()
    return kept


def read_waiting(named: Run, remembered: FileLayout) -> list[Intake]:
    """Read the job's other files of the same layout that were waiting for their columns' names."""
    found = []
    for run in Run.objects.filter(job=named.job_id, status=Run.Status.TO_NAME).exclude(pk=named.pk):
        reading = read_file(original_of(run), run.original_name)
        if reading.file_layout != remembered:
            continue
        try:
            found.append(keep(run, reading))
        except StaleRecord:
            continue  # somebody has named this one's columns meanwhile
    return found
