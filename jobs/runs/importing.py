"""Import run files, for the page and the command line alike.

The original is stored byte for byte in any case. A file attached to the job before is recognised. A file with
a known layout is read at once; an unknown one waits until its columns are named. Files are read before the
transaction that stores them, so that reading does not block the database.
"""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import count
from pathlib import PurePath
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils import timezone

from jobs.calc.dyno.other_bike import ExpectedBike
from jobs.calc.dyno.sweep import Pull
from jobs.calc.run_file import (
    FileLayoutSpec,
    Guess,
    PullRange,
    RunFile,
    RunFileError,
    apply_known_layout,
    find_file_pulls,
    find_stated_time,
    read,
    sniff,
    take_pull,
    with_typical_values,
)
from jobs.calc.run_file.proposals import Proposal, propose
from jobs.calc.units.numbers import format_number
from jobs.checklists.sessions import session_at
from jobs.models import FileLayout, Job, Run, TuneRevision
from jobs.runs.bike_doubts import bike_doubts, expected_bike
from jobs.runs.channel_files import FloatArray, stored_channels
from jobs.runs.file_correction import (
    OBSERVED,
    describe_air,
    file_correction,
    offered_air,
    settle_correction,
)
from workshop.models import Instrument, ShopProfile, StaffMember, StaleRecord

MAX_NAME_LENGTH = 200  # of a file
MAX_RUN_NAME = 120
# Kinds of which a file gives one curve; several pulls in it would be one too many.
ONE_PULL_KINDS = (Run.Kind.SWEEP, Run.Kind.HELD)
# After the end of a slot files are still uploaded. Rule of thumb, no published source.
LATE_AFTER = timedelta(hours=2)
BYTES_IN_MB = 1024 * 1024


class Outcome(StrEnum):
    READ = "read"
    TO_NAME = "to be confirmed"
    REFUSED = "cannot be read"
    ATTACHED_BEFORE = "already uploaded"


@dataclass(frozen=True)
class RunDetails:
    """Details shared by all files that are attached together; an empty kind is found for each file."""

    name: str = ""
    kind: str = Run.Kind.SWEEP
    gear: int | None = None
    temperature_c: float | None = None
    pressure_kpa: float | None = None
    humidity_pct: float | None = None
    weather_station: Instrument | None = None
    lambda_probe: Instrument | None = None
    corrected_by: str = ""
    file_factor: float | None = None
    tune_revision: TuneRevision | None = None
    made_at: datetime | None = None
    note: str = ""


@dataclass(frozen=True)
class ParsedFile:
    """A parsed file before anything is stored: its content, a refusal, or a layout to confirm."""

    layout: FileLayoutSpec | None = None
    file_layout: FileLayout | None = None
    content: RunFile | None = field(default=None, repr=False)
    refusal: str = ""
    proposal: Proposal = field(default_factory=Proposal)

    @property
    def channels(self) -> Mapping[str, FloatArray] | None:
        return self.content.channels if self.content else None


@dataclass(frozen=True)
class ImportResult:
    """Result of importing one file."""

    run: Run
    outcome: Outcome
    sentence: str

    @property
    def ok(self) -> bool:
        return self.outcome in (Outcome.READ, Outcome.TO_NAME)


@dataclass(frozen=True)
class NamingResult:
    """Result of naming the columns of a file, with the waiting files read along."""

    result: ImportResult
    others: tuple[ImportResult, ...] = ()


def size_refusal(name: str, size: int) -> str:
    """Return why a file is too large to be read, or '' if it is not."""
    if size <= settings.RUN_FILE_LIMIT:
        return ""
    limit = settings.RUN_FILE_LIMIT // BYTES_IN_MB
    return (
        f"{name}: {format_number(size / BYTES_IN_MB)} MB is more than the limit of {limit} MB. "
        "Export a shorter part or fewer columns and upload that. The file was not stored."
    )


def import_run(
    *,
    job: Job,
    by: StaffMember,
    name: str,
    data: bytes,
    details: RunDetails,
    last_gear: int | None = None,
) -> ImportResult:
    """Attach one file to a job and read it if its layout is known.

    Kind and gear that the details leave open are those that the file shows; ``last_gear`` is taken for a file
    that shows none.
    """
    name = PurePath(name).name[-MAX_NAME_LENGTH:]
    sha256 = hashlib.sha256(data).hexdigest()
    earlier = Run.objects.filter(job=job, sha256=sha256).first()
    if earlier:
        return report_duplicate(earlier, name)
    parsed = read_file(data, name, details, expected_bike(job))
    made_at, note = resolve_recorded_at(job, data, details)
    proposed, proposal_note = with_proposal(details, parsed.proposal, last_gear)
    note = f"{proposal_note} {note}".strip()
    details = replace(proposed, made_at=made_at, name=find_free_name(job, details.name))
    run = new_run(job, by, name, data, sha256, details)
    try:
        with stored_channels(run, parsed.channels), transaction.atomic():
            result = save_run(run, parsed)
            return replace(result, sentence=f"{result.sentence} {note}".strip())
    except IntegrityError:
        # Another request attached the same file in the meantime, such as a double click.
        run.original.delete(save=False)
        return report_duplicate(Run.objects.filter(job=job, sha256=sha256)[0], name)


def with_proposal(
    details: RunDetails, proposal: Proposal, last_gear: int | None = None
) -> tuple[RunDetails, str]:
    """Return the details with the kind and gear that the file shows where they are open, and a note."""
    kind = details.kind or proposal.kind or Run.Kind.SWEEP
    gear = details.gear or proposal.gear or last_gear
    words = []
    if not details.kind:
        grip = "" if proposal.grip_pct is None else f" at {proposal.grip_pct:g} % grip"
        words.append(f"{Run.Kind(kind).label}{grip}")
    if not details.gear and proposal.gear:
        words.append(f"gear {proposal.gear}")
    note = f"Imported as {', '.join(words)}. Edit the run if that is wrong." if words else ""
    return replace(details, kind=kind, gear=gear), note


def resolve_recorded_at(job: Job, data: bytes, details: RunDetails) -> tuple[datetime, str]:
    """Return when a run was recorded, from the form, the file or the clock, and a note about it.

    Files with the same time are put one second apart, in their order.
    """
    made_at, note = details.made_at, ""
    if made_at is None:
        stated = find_stated_time(data)
        if made_at := to_shop_time(stated.at):
            note = f"Recorded {made_at:%Y-%m-%d %H:%M} (from the file)."
        elif stated.doubt:
            note = f"{stated.doubt}. The upload time was used instead. Edit the run to correct it."
    return find_free_time(job, made_at or timezone.now()), note


def needs_time(job: Job, data: bytes) -> bool:
    """Return True if a file states no time and the job's slots are over, so that it may be uploaded late."""
    ends = list(job.slots.order_by("ends_at").values_list("starts_at", "ends_at"))
    now = timezone.now()
    is_late = bool(ends) and not any(start <= now <= end + LATE_AFTER for start, end in ends)
    return is_late and ends[0][0] < now and to_shop_time(find_stated_time(data).at) is None


def find_free_time(job: Job, made_at: datetime) -> datetime:
    """Return the first second from this time on at which no run of the job was made."""
    while job.runs.filter(made_at=made_at).exists():
        made_at += timedelta(seconds=1)
    return made_at


def find_free_name(job: Job, name: str) -> str:
    """Return the name, numbered if a run of the job has it already; one upload names all its files alike."""
    taken = set(job.runs.filter(name__startswith=name).values_list("name", flat=True)) if name else set()
    numbered = (f"{name[: MAX_RUN_NAME - 4]} {number}" for number in count(2))
    return name if name not in taken else next(free for free in numbered if free not in taken)


def to_shop_time(stated: datetime | None) -> datetime | None:
    """Return a file's time in the shop's time zone, or None if it is missing or in the future."""
    if stated is None:
        return None
    made_at = stated.replace(tzinfo=ZoneInfo(ShopProfile.current().time_zone))
    return made_at if made_at <= timezone.now() else None


def report_duplicate(earlier: Run, name: str) -> ImportResult:
    as_name = "" if earlier.original_name == name else f" as {earlier.original_name}"
    sentence = f"{name} has already been uploaded to this job{as_name}. Nothing was added."
    return ImportResult(earlier, Outcome.ATTACHED_BEFORE, sentence)


def new_run(job: Job, by: StaffMember, name: str, data: bytes, sha256: str, details: RunDetails) -> Run:
    given: dict[str, Any] = {key: value for key, value in vars(details).items() if value is not None}
    run = Run(job=job, made_by=by, original_name=name, sha256=sha256, size=len(data), **given)
    run.session = session_at(job, run.made_at)
    run.original.save(f"{sha256[:16]}.dat", ContentFile(data), save=False)
    return run


def read_original(run: Run) -> bytes:
    """Return the bytes of the original; raises FileNotFoundError if it is missing."""
    with run.original.open("rb") as file:
        data: bytes = file.read()
    return data


# --- reading, which stores nothing


def read_file(data: bytes, name: str, details: RunDetails, expected: ExpectedBike) -> ParsedFile:
    """Read a file if its layout is known and certain, and what is read leaves nothing to ask."""
    try:
        guess = sniff(data, name)
    except RunFileError as problem:
        return ParsedFile(refusal=str(problem))
    known = FileLayout.objects.filter(fingerprint=guess.layout.fingerprint).first()
    remembered = apply_layout(guess, known)
    layout = remembered or guess.layout
    if layout.needs_confirmation:
        likely = parse_with_layout(data, layout.without_weak_guesses().confirmed()).content
        return ParsedFile(layout, proposal=propose(likely.channels if likely else {}, name, expected.ratios))
    parsed = parse_with_layout(data, layout, known if remembered else None)
    if parsed.content is None:
        return parsed
    proposal = propose(parsed.content.channels, name, expected.ratios)
    settled, _ = with_proposal(details, proposal)
    doubts = (
        *parsed.content.doubts,
        *pull_doubts(find_pulls_of_kind(parsed.content, settled.kind)),
        *bike_doubts(parsed.content, settled.kind, replace(expected, gear=settled.gear)),
    )
    parsed = replace(parsed, proposal=proposal)
    return replace(parsed, layout=replace(layout, doubts=doubts), content=None) if doubts else parsed


def find_pulls_of_kind(content: RunFile, kind: str) -> tuple[Pull, ...]:
    """Return the pulls of a file if they are several and its kind wants one curve."""
    pulls = find_file_pulls(content) if kind in ONE_PULL_KINDS else ()
    return pulls if len(pulls) > 1 else ()


def pull_doubts(pulls: Sequence[Pull | PullRange]) -> tuple[str, ...]:
    return (f"This file holds {len(pulls)} pulls. Choose whether each becomes a run.",) if pulls else ()


def apply_layout(guess: Guess, known: FileLayout | None) -> FileLayoutSpec | None:
    """Return a remembered layout as applied to this file, or None if it does not fit."""
    if known is None:
        return None
    try:
        return apply_known_layout(guess, FileLayoutSpec.from_dict(known.layout))
    except ValueError:
        return None


def parse_with_layout(
    data: bytes, layout: FileLayoutSpec, file_layout: FileLayout | None = None
) -> ParsedFile:
    try:
        return ParsedFile(layout, file_layout, content=read(data, layout))
    except RunFileError as problem:
        return ParsedFile(layout, refusal=str(problem))


# --- storing


def save_run(run: Run, parsed: ParsedFile, *, keep_sweep: bool = False) -> ImportResult:
    """Save a run with its parsed file, whose channels are stored already."""
    run.layout_used = parsed.layout.to_dict() if parsed.layout else None
    if parsed.content is not None:
        return save_channels(run, parsed, parsed.content, keep_sweep=keep_sweep)
    if parsed.refusal:
        run.status, run.refusal = Run.Status.REFUSED, parsed.refusal
        run.save()
        return ImportResult(run, Outcome.REFUSED, run.refusal)
    run.status, run.refusal = Run.Status.TO_NAME, ""
    run.save()
    sentence = (
        f"{run.original_name}: name the columns once. Similar files will then be imported automatically."
    )
    if parsed.layout and parsed.layout.doubts:
        sentence = f"{run.original_name} is not imported yet. {' '.join(parsed.layout.doubts)}"
    return ImportResult(run, Outcome.TO_NAME, sentence)


def save_channels(
    run: Run, parsed: ParsedFile, content: RunFile, *, keep_sweep: bool = False
) -> ImportResult:
    entered_factor = run.file_factor
    if run.status != Run.Status.READ or not run.corrected_by:
        settle_correction(run, parsed.layout, content.report.stated_correction)
    run.status, run.refusal = Run.Status.READ, ""
    run.report, run.file_layout = content.report.to_dict(), parsed.file_layout
    if not keep_sweep:
        # Limits set by hand refer to rows of the previous reading.
        run.sweep_start = run.sweep_stop = None
    run.save()
    sentences = [describe_reading(run, content)]
    if run.file_factor and run.file_factor != entered_factor:
        sentences.append(f"The factor {run.file_factor:g} was taken from the file.")
    if air := offered_air(run):
        offer = describe_air(air, ShopProfile.current())
        sentences.append(f"The file states its air: {offer}. Edit the run if you want to use it.")
    if (correction := file_correction(run)).in_doubt:
        sentences.append(correction.sentence)
    return ImportResult(run, Outcome.READ, " ".join(sentences))


def describe_reading(run: Run, content: RunFile) -> str:
    """Return how many rows were read, what was lost and whether there is something to look at."""
    report = content.report
    left_out = sum(part.count for part in report.dropped if part.reason != "empty")
    rows = f"{run}: {format_number(report.rows)} rows imported"
    rows += f", {format_number(left_out)} skipped." if left_out else "."
    questions = [question for question in report.questions if question.sentence != report.loss]
    look = "Check the page of the run." if questions or (left_out and not report.loss) else ""
    return " ".join(part for part in (rows, report.loss, look) if part)


@dataclass(frozen=True)
class CorrectionAnswer:
    """What a person said about the correction of a file's figures."""

    corrected_by: str = ""
    file_factor: float | None = None


def name_columns(
    *,
    run: Run,
    layout: FileLayoutSpec,
    remember_as: str,
    each_pull: bool = False,
    correction: CorrectionAnswer | None = None,
) -> NamingResult:
    """Read a run with the named columns and remember the layout for similar files.

    With ``each_pull`` every pull of the file becomes a run; the others are added behind this one. A run that
    is one pull is read again together with the other pulls of its file. "As observed" is remembered as
    ``correction`` only if the file speaks of one, since only then it was asked. If the file cannot be read,
    the run stays as it was and no layout is remembered.

    Raises
    ------
    StaleRecord
        Another user saved the run in the meantime.
    """
    data = read_original(run)
    confirmed = layout_by_fingerprint(data, run, layout).confirmed()
    parsed = parse_with_layout(data, confirmed)
    whole = parsed.content
    if whole is None:
        return NamingResult(ImportResult(run, Outcome.REFUSED, parsed.refusal))
    try:
        parts = split_file(run, data, whole, each_pull)
    except ValueError as problem:
        return NamingResult(ImportResult(run, Outcome.REFUSED, str(problem)))
    if correction is not None:
        for part, _ in parts:
            part.corrected_by, part.file_factor = correction.corrected_by, correction.file_factor
        seen = whole.report.stated_correction.evidence or correction.corrected_by != OBSERVED
        confirmed = replace(confirmed, corrected_by=correction.corrected_by if seen else "")
        parsed = replace(parsed, layout=confirmed)
    with ExitStack() as stored:
        for part, content in parts:
            stored.enter_context(stored_original(part))
            stored.enter_context(stored_channels(part, content.channels))
        stored.enter_context(transaction.atomic())
        remembered = remember_layout(with_typical_values(confirmed, whole.channels), remember_as)
        results = [
            save_run(part, replace(parsed, content=content, file_layout=remembered))
            for part, content in parts
        ]
    return NamingResult(results[0], (*results[1:], *read_again(run, remembered)))


@contextmanager
def stored_original(run: Run) -> Iterator[None]:
    """Remove the original of a new run again if the run could not be saved."""
    is_new = run.pk is None
    try:
        yield
    except BaseException:
        if is_new:
            run.original.delete(save=False)
        raise


def split_file(run: Run, data: bytes, content: RunFile, each_pull: bool) -> list[tuple[Run, RunFile]]:
    """Return the runs that a file is read into, this one first, and the part of the file that each holds.

    Raises
    ------
    ValueError
        The run is a pull that is not found in the file any more.
    """
    if not run.pull and not each_pull:
        return [(run, content)]
    pulls = find_file_pulls(content)
    if run.pull:
        others = run.job.runs.filter(sha256=run.sha256, pull__gt=0).exclude(pk=run.pk)
        return [(part, take_pull(content, pulls, part.pull)) for part in (run, *others)]
    if len(pulls) < 2:
        return [(run, content)]
    run.pull = 1
    parts = [(run, take_pull(content, pulls, 1))]
    made_at = run.made_at
    for number in range(2, len(pulls) + 1):
        made_at = find_free_time(run.job, made_at + timedelta(seconds=1))
        part = copy_run(run, data, number, made_at)
        parts.append((part, take_pull(content, pulls, number)))
    return parts


def copy_run(run: Run, data: bytes, pull: int, made_at: datetime) -> Run:
    """Return an unsaved run for another pull of the same file, made under the same conditions."""
    details = RunDetails(
        **{name: getattr(run, name) for name in RunDetails.__dataclass_fields__ if name != "made_at"},
        made_at=made_at,
    )
    part = new_run(run.job, run.made_by, run.original_name, data, run.sha256, details)
    part.pull = pull
    return part


def layout_by_fingerprint(data: bytes, run: Run, layout: FileLayoutSpec) -> FileLayoutSpec:
    """Return the layout under the fingerprint by which the next similar file is found.

    Even if the user chose another header line, a new file is first matched by automatic detection.
    """
    try:
        found = sniff(data, run.original_name)
    except RunFileError:
        return layout
    return replace(layout, fingerprint=found.layout.fingerprint)


def remember_layout(layout: FileLayoutSpec, name: str) -> FileLayout:
    stored = FileLayout.objects.filter(fingerprint=layout.fingerprint).first()
    stored = stored or FileLayout(fingerprint=layout.fingerprint)
    stored.name, stored.layout = name or stored.name or "file layout", layout.to_dict()
    stored.save()
    return stored


def read_again(named: Run, remembered: FileLayout) -> list[ImportResult]:
    """Read the job's other files of this layout with it: those that wait, and those read with other columns.

    One that leaves a doubt stays as it was; if it waits, it shows the columns as named and the doubt.
    """
    layout, found = FileLayoutSpec.from_dict(remembered.layout), []
    for run in Run.objects.filter(job=named.job_id).exclude(sha256=named.sha256):
        if not is_concerned(run, layout):
            continue
        data = read_original(run)
        details = RunDetails(kind=Run.Kind.OTHER if run.pull else run.kind, gear=run.gear)
        parsed = read_file(data, run.original_name, details, expected_bike(run.job, without=run.sha256))
        if parsed.file_layout != remembered:
            continue
        if parsed.content is None:
            found += keep_waiting(run, parsed)
            continue
        was_read, samples = run.status == Run.Status.READ, run.samples
        try:
            (_, content), *_ = split_file(run, data, parsed.content, each_pull=False)
            with stored_channels(run, content.channels), transaction.atomic():
                same_rows = run.samples == samples
                result = save_run(run, replace(parsed, content=content), keep_sweep=same_rows)
        except (StaleRecord, ValueError):
            continue  # another user saved it in the meantime, or its pull is not found any more
        found.append(replace(result, sentence=f"Read again: {result.sentence}") if was_read else result)
    return found


def keep_waiting(run: Run, parsed: ParsedFile) -> list[ImportResult]:
    """Store the named columns and the doubts of a file that waits, and return what to say of it."""
    if run.status != Run.Status.TO_NAME or parsed.refusal:
        return []
    try:
        return [save_run(run, parsed)]
    except StaleRecord:
        return []  # another user saved it in the meantime


def is_concerned(run: Run, layout: FileLayoutSpec) -> bool:
    """Return True if a run waits for this layout, or was read with other meanings of the same columns."""
    if run.status == Run.Status.TO_NAME:
        return True
    used = run.layout_used or {}
    if run.status != Run.Status.READ or used.get("fingerprint") != layout.fingerprint:
        return False
    try:
        return not same_meaning(FileLayoutSpec.from_dict(used), layout)
    except ValueError:
        return False


def same_meaning(one: FileLayoutSpec, other: FileLayoutSpec) -> bool:
    """Return True if two layouts read the same columns as the same channels in the same units."""
    return [(c.channel, c.unit) for c in one.columns if c.channel] == [
        (c.channel, c.unit) for c in other.columns if c.channel
    ] and one.stoichiometric_afr == other.stoichiometric_afr
