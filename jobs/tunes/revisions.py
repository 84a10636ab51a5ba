"""The tune log: revisions as a tree, which one is in the bike, and what lies between two of them."""

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db import models, transaction

from jobs.job.results import JobResults
from jobs.models import Job, Run, ThrottleTable, TuneChange, TuneChangeKind, TuneRevision
from workshop.models import StaffMember

Changes = Mapping[int, Sequence[TuneChange]]  # by revision id

MAX_NAME_LENGTH = 200
MEGABYTE = 1024 * 1024


def in_the_bike(revisions: Sequence[TuneRevision], runs: Iterable[Run] = ()) -> TuneRevision | None:
    """The revision loaded last, by the log or by what a run says it was made with."""
    by_pk = {revision.pk: revision for revision in revisions}
    loads = [(revision.loaded_at, False, revision.number, revision.pk) for revision in revisions]
    for run in runs:
        revision = by_pk.get(run.tune_revision_id or 0)
        if revision is not None:
            loads.append((run.made_at, True, revision.number, revision.pk))
    return by_pk[max(loads)[-1]] if loads else None


def tune_in_bike(results: JobResults) -> TuneRevision | None:
    return in_the_bike(results.rows(TuneRevision), results.rows(Run))


def changes_by_revision(results: JobResults) -> dict[int, list[TuneChange]]:
    found: dict[int, list[TuneChange]] = {}
    for change in results.rows(TuneChange):
        found.setdefault(change.revision_id, []).append(change)
    return found


def changes_in_bike(results: JobResults) -> list[TuneChange]:
    """List the changes that the tune in the bike carries, the oldest first."""
    in_bike, revisions = results.get(tune_in_bike), results.rows(TuneRevision)
    return carried_changes(in_bike, revisions, results.get(changes_by_revision))


def parent(revision: TuneRevision, revisions: Sequence[TuneRevision]) -> TuneRevision | None:
    """What a revision was made from: the one before it, where nobody said."""
    if revision.made_from_id:
        return next((each for each in revisions if each.pk == revision.made_from_id), None)
    earlier = [each for each in revisions if each.number < revision.number]
    return max(earlier, key=lambda each: each.number) if earlier else None


def line_of(revision: TuneRevision | None, revisions: Sequence[TuneRevision]) -> list[TuneRevision]:
    """A revision, what it was made from, and so on back to the first."""
    line: list[TuneRevision] = []
    while revision is not None and revision not in line:
        line.append(revision)
        revision = parent(revision, revisions)
    return line


def carried_changes(
    revision: TuneRevision | None, revisions: Sequence[TuneRevision], changes: Changes
) -> list[TuneChange]:
    """The changes that a revision carries, the oldest first: its own and those of what it was made from."""
    line = reversed(line_of(revision, revisions))
    return [change for each in line for change in changes.get(each.pk, ())]


def road_effects(changes: Iterable[TuneChange]) -> dict[str, list[str]]:
    """Effects on road use, each with the kinds of change that bring it."""
    found: dict[str, list[str]] = {}
    for change in changes:
        kinds = found.setdefault(change.kind.road_use_effect, []) if change.kind.affects_road_use else []
        if change.kind.name not in kinds:
            kinds.append(change.kind.name)
    return found


@dataclass(frozen=True)
class Step:
    """One change on the way from one revision to another; taken back where the way goes against it."""

    change: TuneChange
    revision: TuneRevision
    from_value: str
    to_value: str
    taken_back: bool


@dataclass(frozen=True)
class NetChange:
    """What one setting comes to over the whole way."""

    kind: str
    detail: str
    unit: str
    from_value: str
    to_value: str
    steps: int

    @property
    def is_back(self) -> bool:
        return self.from_value == self.to_value


@dataclass(frozen=True)
class Difference:
    """The way between two revisions: back to where they part, then on."""

    steps: list[Step]
    net: list[NetChange]


def difference(
    first: TuneRevision, second: TuneRevision, revisions: Sequence[TuneRevision], changes: Changes
) -> Difference:
    back, on = line_of(first, revisions), line_of(second, revisions)
    steps = [
        Step(change, each, change.to_value, change.from_value, taken_back=True)
        for each in back
        if each not in on
        for change in reversed(changes.get(each.pk, ()))
    ]
    steps += [
        Step(change, each, change.from_value, change.to_value, taken_back=False)
        for each in reversed(on)
        if each not in back
        for change in changes.get(each.pk, ())
    ]
    return Difference(steps, net_changes(steps))


def net_changes(steps: Sequence[Step]) -> list[NetChange]:
    """Steps of the same setting taken together: from where the first starts to where the last ends."""
    by_setting: dict[tuple[str, str, str], list[Step]] = {}
    for step in steps:
        change = step.change
        key = (change.kind.name, change.detail.casefold(), change.unit)
        by_setting.setdefault(key, []).append(step)
    return [
        NetChange(
            kind, group[0].change.detail, unit, group[0].from_value, group[-1].to_value, steps=len(group)
        )
        for (kind, _, unit), group in by_setting.items()
    ]


@dataclass
class LogEntry:
    """A revision as the log shows it."""

    revision: TuneRevision
    made_from: TuneRevision | None
    changes: Sequence[TuneChange]
    runs: list[Run]
    tables: int
    is_in_bike: bool


def log_of(results: JobResults) -> list[LogEntry]:
    """Return the tune log, the newest tune first."""
    revisions, changes = results.rows(TuneRevision), results.get(changes_by_revision)
    in_bike, tables = (
        results.get(tune_in_bike),
        Counter(row.revision_id for row in results.rows(ThrottleTable)),
    )
    return [
        LogEntry(
            revision,
            parent(revision, revisions),
            changes.get(revision.pk, []),
            [run for run in results.rows(Run) if run.tune_revision_id == revision.pk],
            tables[revision.pk],
            revision == in_bike,
        )
        for revision in sorted(revisions, key=lambda each: -each.number)
    ]


def as_received(*, job: Job, by: StaffMember) -> TuneRevision:
    """The calibration the bike came with; jobs are booked with one."""
    since = job.received_at or job.created_at
    revision, _ = TuneRevision.objects.get_or_create(
        job=job, number=0, defaults={"loaded_by": by, "loaded_at": since}
    )
    return revision


@transaction.atomic
def save_tune(
    *,
    revision: TuneRevision,
    changes: Iterable[TuneChange] = (),
    removed: Iterable[TuneChange] = (),
    calibration: UploadedFile | None = None,
) -> None:
    """Save a revision with its changes, all or nothing; a new one is given its number.

    Raises
    ------
    StaleRecord
        The revision or one of the changes was saved by somebody else meanwhile.
    """
    if revision._state.adding:
        give_number(revision)
    if calibration is not None:
        keep_calibration(revision, calibration)
    revision.save()
    for change in removed:
        change.delete()
    for change in changes:
        change.revision = revision
        change.save()


def give_number(revision: TuneRevision) -> None:
    """The next number of the job, under the job's lock, so that two tuners never take the same."""
    job = Job.objects.select_for_update().get(pk=revision.job_id)
    as_received(job=job, by=revision.loaded_by)
    last = job.tune_revisions.aggregate(last=models.Max("number"))["last"]
    revision.number = last + 1


def check_calibration(upload: UploadedFile) -> None:
    """Refuse a file that can't be a calibration, whatever is in it.

    Raises
    ------
    ValueError
        It is empty or larger than the limit.
    """
    if not upload.size:
        raise ValueError(f"“{upload.name}” is empty.")
    if upload.size > settings.CALIBRATION_LIMIT:
        limit = settings.CALIBRATION_LIMIT / MEGABYTE
        raise ValueError(f"“{upload.name}” is larger than {limit:g} MB, which no calibration should be.")


def keep_calibration(revision: TuneRevision, upload: UploadedFile) -> None:
    """Keep the file byte for byte, unread; one kept before stays in the storage, where history names it."""
    digest = hashlib.sha256()
    for chunk in upload.chunks():
        digest.update(chunk)
    upload.seek(0)
    name = PurePath(upload.name or "calibration").name
    revision.calibration_name = name[-MAX_NAME_LENGTH:]
    revision.calibration_sha256 = digest.hexdigest()
    revision.calibration.save(f"{revision.calibration_sha256[:16]}.bin", upload, save=False)


def kinds_offered(*also: int | None) -> list[TuneChangeKind]:
    """The kinds of change to choose from: those in use, and those chosen already."""
    wanted = models.Q(retired=False) | models.Q(pk__in=[pk for pk in also if pk])
    return list(TuneChangeKind.objects.filter(wanted))
