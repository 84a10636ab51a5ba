"""The tune log: revisions as a tree, the one in the bike and the difference of two."""

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db import models, transaction

from jobs.job.results import JobResults
from jobs.job.sentences import listed
from jobs.models import Job, Run, ThrottleTable, TuneChange, TuneChangeKind, TuneRevision
from workshop.models import StaffMember

Changes = Mapping[int, Sequence[TuneChange]]  # by revision id

MAX_NAME_LENGTH = 200
MAX_NAMED = 3  # changes in a heading
MEGABYTE = 1024 * 1024


def current_tune(revisions: Sequence[TuneRevision], runs: Iterable[Run] = ()) -> TuneRevision | None:
    """Return the revision loaded last, by the log or by the runs made with it."""
    by_pk = {revision.pk: revision for revision in revisions}
    loads = [(revision.loaded_at, False, revision.number, revision.pk) for revision in revisions]
    for run in runs:
        revision = by_pk.get(run.tune_revision_id or 0)
        if revision is not None:
            loads.append((run.made_at, True, revision.number, revision.pk))
    return by_pk[max(loads)[-1]] if loads else None


def tune_in_bike(results: JobResults) -> TuneRevision | None:
    return current_tune(results.rows(TuneRevision), results.rows(Run))


def changes_by_revision(results: JobResults) -> dict[int, list[TuneChange]]:
    found: dict[int, list[TuneChange]] = {}
    for change in results.rows(TuneChange):
        found.setdefault(change.revision_id, []).append(change)
    return found


def changes_in_bike(results: JobResults) -> list[TuneChange]:
    """Return the changes in the tune in the bike, the oldest first."""
    in_bike, revisions = results.get(tune_in_bike), results.rows(TuneRevision)
    return all_changes(in_bike, revisions, results.get(changes_by_revision))


def parent(revision: TuneRevision, revisions: Sequence[TuneRevision]) -> TuneRevision | None:
    """Return the revision it is based on: the one before it unless another was chosen."""
    if revision.made_from_id:
        return next((other for other in revisions if other.pk == revision.made_from_id), None)
    earlier = [other for other in revisions if other.number < revision.number]
    return max(earlier, key=lambda other: other.number, default=None)


def ancestry(revision: TuneRevision | None, revisions: Sequence[TuneRevision]) -> list[TuneRevision]:
    """Return a revision and all it is based on, back to the first."""
    line: list[TuneRevision] = []
    while revision is not None and revision not in line:
        line.append(revision)
        revision = parent(revision, revisions)
    return line


def all_changes(
    revision: TuneRevision | None, revisions: Sequence[TuneRevision], changes: Changes
) -> list[TuneChange]:
    """Return the changes of a revision and of all it is based on, the oldest first."""
    line = reversed(ancestry(revision, revisions))
    return [change for ancestor in line for change in changes.get(ancestor.pk, ())]


@dataclass(frozen=True)
class ChangeStep:
    """One change on the way from one revision to another, undone on the way back."""

    change: TuneChange
    revision: TuneRevision
    from_value: str
    to_value: str
    is_undone: bool


@dataclass(frozen=True)
class NetChange:
    """Total change of one setting between two revisions."""

    kind: str
    detail: str
    unit: str
    from_value: str
    to_value: str
    steps: int

    @property
    def is_reverted(self) -> bool:
        return self.from_value == self.to_value


@dataclass(frozen=True)
class TuneDifference:
    """The way between two revisions: back to their common ancestor, then forward."""

    steps: list[ChangeStep]
    net: list[NetChange]


def compare_revisions(
    first: TuneRevision, second: TuneRevision, revisions: Sequence[TuneRevision], changes: Changes
) -> TuneDifference:
    back, forward = ancestry(first, revisions), ancestry(second, revisions)
    steps = [
        ChangeStep(change, revision, change.to_value, change.from_value, is_undone=True)
        for revision in back
        if revision not in forward
        for change in reversed(changes.get(revision.pk, ()))
    ]
    steps += [
        ChangeStep(change, revision, change.from_value, change.to_value, is_undone=False)
        for revision in reversed(forward)
        if revision not in back
        for change in changes.get(revision.pk, ())
    ]
    return TuneDifference(steps, net_changes(steps))


def net_changes(steps: Sequence[ChangeStep]) -> list[NetChange]:
    """Sum up the steps of each setting, from the first value to the last."""
    by_setting: dict[tuple[str, str, str], list[ChangeStep]] = {}
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
    """A revision with what the log shows about it."""

    revision: TuneRevision
    made_from: TuneRevision | None
    changes: Sequence[TuneChange]
    runs: list[Run]
    tables: int
    is_in_bike: bool


def build_tune_log(results: JobResults) -> list[LogEntry]:
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
        for revision in sorted(revisions, key=lambda revision: -revision.number)
    ]


def get_as_received(*, job: Job, by: StaffMember) -> TuneRevision:
    """Return the tune as received of a job, created if it has none."""
    since = job.received_at or job.created_at
    revision, _ = TuneRevision.objects.get_or_create(
        job=job, number=0, defaults={"loaded_by": by, "loaded_at": since}
    )
    return revision


def describe_changes(revision: TuneRevision, changes: Sequence[TuneChange]) -> str:
    """Return what a tune changes in a few words, for its heading."""
    if not changes:
        return "no recorded change" if revision.number else "the tune that the bike came with"
    names = [f"{change.kind}{f' ({change.detail})' if change.detail else ''}" for change in changes]
    return listed(names, MAX_NAMED)


def original_file(revisions: Sequence[TuneRevision]) -> TuneRevision | None:
    """Return the tune as received if its calibration file is stored."""
    return next((tune for tune in revisions if tune.number == 0 and tune.calibration_sha256), None)


@transaction.atomic
def save_tune(
    *,
    revision: TuneRevision,
    changes: Iterable[TuneChange] = (),
    removed: Iterable[TuneChange] = (),
    calibration: UploadedFile | None = None,
) -> None:
    """Save a revision with its changes, all or nothing; number a new one.

    Raises
    ------
    StaleRecord
        Someone else saved the revision or one of the changes in the meantime.
    """
    if revision._state.adding:
        assign_number(revision)
    if calibration is not None:
        store_calibration(revision, calibration)
    revision.save()
    for change in removed:
        change.delete()
    for change in changes:
        change.revision = revision
        change.save()


def assign_number(revision: TuneRevision) -> None:
    """Assign the next number of the job, locked so that two tuners never get the same."""
    job = Job.objects.select_for_update().get(pk=revision.job_id)
    get_as_received(job=job, by=revision.loaded_by)
    last = job.tune_revisions.aggregate(last=models.Max("number"))["last"]
    revision.number = last + 1


def check_calibration(upload: UploadedFile) -> None:
    """Reject a file that cannot be a calibration, without reading it.

    Raises
    ------
    ValueError
        The file is empty or larger than the limit.
    """
    if not upload.size:
        raise ValueError(f"“{upload.name}” is empty.")
    if upload.size > settings.CALIBRATION_LIMIT:
        limit = settings.CALIBRATION_LIMIT / MEGABYTE
        raise ValueError(f"“{upload.name}” is larger than {limit:g} MB. Check that it is a calibration file.")


def store_calibration(revision: TuneRevision, upload: UploadedFile) -> None:
    """Store the file byte for byte; an earlier one stays in the storage for the change log."""
    digest = hashlib.sha256()
    for chunk in upload.chunks():
        digest.update(chunk)
    upload.seek(0)
    name = PurePath(upload.name or "calibration").name
    revision.calibration_name = name[-MAX_NAME_LENGTH:]
    revision.calibration_sha256 = digest.hexdigest()
    revision.calibration.save(f"{revision.calibration_sha256[:16]}.bin", upload, save=False)


def available_kinds(*selected: int | None) -> list[TuneChangeKind]:
    """Return the change types on offer and those selected already."""
    is_available = models.Q(retired=False) | models.Q(pk__in=[pk for pk in selected if pk])
    return list(TuneChangeKind.objects.filter(is_available))
