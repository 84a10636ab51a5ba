"""Taking run files in: the page and the command line do exactly this.

The original is kept byte for byte, whatever becomes of it; a file that was attached to the job
before is recognised; a known layout is read at once, an unknown one waits for its columns' names.
"""

import hashlib
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any

from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction

from jobs.calc.runfile import Guess, Layout, RunFileError, read, recognise, sniff
from jobs.channel_store import store_channels
from jobs.models import FileLayout, Job, Run, TuneRevision
from workshop.models import StaffMember


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
class Intake:
    """What became of one file."""

    run: Run
    outcome: Outcome
    sentence: str
    guess: Guess | None = field(default=None, repr=False)

    @property
    def ok(self) -> bool:
        return self.outcome in (Outcome.READ, Outcome.TO_NAME)


def attach(*, job: Job, by: StaffMember, name: str, data: bytes, details: RunDetails) -> Intake:
    """Attach one file to a job and read it where its layout is known."""
    sha256 = hashlib.sha256(data).hexdigest()
    earlier = Run.objects.filter(job=job, sha256=sha256).first()
    if earlier:
        return attached_before(earlier, name)
    try:
        with transaction.atomic():
            return take_in(new_run(job, by, name, data, sha256, details), data)
    except IntegrityError:
        # Somebody else, or the same person's second click, was attaching this very file meanwhile.
        return attached_before(Run.objects.get(job=job, sha256=sha256), name)


def attached_before(earlier: Run, name: str) -> Intake:
    as_name = "" if earlier.original_name == name else f" as {earlier.original_name}"
    sentence = f"{name} is attached to this job already{as_name}; nothing was added."
    return Intake(earlier, Outcome.ATTACHED_BEFORE, sentence)


def new_run(job: Job, by: StaffMember, name: str, data: bytes, sha256: str, details: RunDetails) -> Run:
    given: dict[str, Any] = {key: value for key, value in vars(details).items() if value is not None}
    run = Run(job=job, made_by=by, original_name=name[-200:], sha256=sha256, size=len(data), **given)
    run.original.save(f"{sha256[:16]}.dat", ContentFile(data), save=False)
    run.save()
    return run


def take_in(run: Run, data: bytes) -> Intake:
    try:
        guess = sniff(data, run.original_name)
    except RunFileError as problem:
        return refuse(run, problem)
    known = FileLayout.objects.filter(fingerprint=guess.layout.fingerprint).first()
    layout = recognise(guess, Layout.from_dict(known.layout)) if known else guess.layout
    if layout is None or layout.needs_nod:
        run.layout_used = (layout or guess.layout).to_dict()
        run.save()
        sentence = f"{run.original_name}: name its columns once, then files like it are read at once."
        return Intake(run, Outcome.TO_NAME, sentence, guess)
    return read_with(run=run, data=data, layout=layout, file_layout=known)


def refuse(run: Run, problem: RunFileError) -> Intake:
    run.status, run.refusal = Run.Status.REFUSED, str(problem)
    run.save()
    return Intake(run, Outcome.REFUSED, run.refusal)


@transaction.atomic
def read_with(*, run: Run, data: bytes, layout: Layout, file_layout: FileLayout | None) -> Intake:
    """Read a run's file with a layout that is certain, and keep its channels."""
    try:
        result = read(data, layout)
    except RunFileError as problem:
        return refuse(run, problem)
    store_channels(run, result.channels)
    run.status, run.refusal = Run.Status.READ, ""
    run.layout_used, run.report, run.file_layout = layout.to_dict(), result.report.to_dict(), file_layout
    run.save()
    return Intake(run, Outcome.READ, f"{run.original_name}: {result.report.rows:,} rows read.")


@transaction.atomic
def name_columns(*, run: Run, layout: Layout, remember_as: str) -> Intake:
    """Read a run with the columns a person has named, and remember the layout for files like it."""
    agreed = layout.nodded()
    with run.original.open("rb") as file:
        data = file.read()
    remembered = remember(agreed, remember_as)
    intake = read_with(run=run, data=data, layout=agreed, file_layout=remembered)
    if intake.outcome is Outcome.READ:
        read_waiting(run, remembered)
    return intake


def remember(layout: Layout, name: str) -> FileLayout:
    known = FileLayout.objects.filter(fingerprint=layout.fingerprint).first()
    kept = known or FileLayout(fingerprint=layout.fingerprint)
    kept.name, kept.layout = name or kept.name or "file layout", layout.to_dict()
    kept.save()
    return kept


def read_waiting(named: Run, remembered: FileLayout) -> None:
    """Read the job's other files of the same layout that were waiting for their columns' names."""
    for run in Run.objects.filter(job=named.job_id, status=Run.Status.TO_NAME).exclude(pk=named.pk):
        with run.original.open("rb") as file:
            data = file.read()
        guess = sniff(data, run.original_name)
        layout = recognise(guess, Layout.from_dict(remembered.layout))
        if layout is not None and not layout.needs_nod:
            read_with(run=run, data=data, layout=layout, file_layout=remembered)
