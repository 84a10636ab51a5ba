"""Tunes on the handover sheet."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.job.by_job import ByJob, group_by_job
from jobs.job.json_values import moment
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.job.sentences import listed
from jobs.models import TuneChange, TuneRevision
from jobs.tunes.revisions import changes_by_revision, tune_in_bike
from workshop.models import Bike, ShopProfile

MAX_VALUE_LENGTH = 24  # in a sentence
AS_RECEIVED = "as received"


@dataclass(frozen=True)
class TuneChangeFacts:
    kind: str
    detail: str
    from_: str
    to: str
    unit: str
    reason: str
    affects_road_use: bool


@dataclass(frozen=True)
class RevisionFacts:
    label: str
    title: str
    made_from: str
    loaded_at: str | None
    loaded_by: str
    in_bike: bool
    calibration_name: str
    calibration_sha256: str
    note: str
    changes: list[TuneChangeFacts]
    received: bool = False

    @property
    def came_with_bike(self) -> bool:
        """True for the tune as received; older sheets know it by its label."""
        return self.received or self.label == AS_RECEIVED


@dataclass(frozen=True)
class TuneFacts:
    in_bike: str
    revisions: list[RevisionFacts]


def tune_facts(results: JobResults) -> TuneFacts | None:
    """Return every revision with something recorded and its changes; None if there is no such revision."""
    changes = results.get(changes_by_revision)
    recorded = [revision for revision in results.rows(TuneRevision) if has_content(revision, changes)]
    if not recorded:
        return None
    in_bike = results.get(tune_in_bike)
    return TuneFacts(
        in_bike=in_bike.label if in_bike else "",
        revisions=[revision_facts(revision, results) for revision in recorded],
    )


def has_content(revision: TuneRevision, changes: dict[int, list[TuneChange]]) -> bool:
    return bool(
        revision.number
        or revision.full_title
        or revision.calibration
        or revision.note
        or changes.get(revision.pk)
    )


def revision_facts(revision: TuneRevision, results: JobResults) -> RevisionFacts:
    changes = results.get(changes_by_revision).get(revision.pk, [])
    made_from = next((r.label for r in results.rows(TuneRevision) if r.pk == revision.made_from_id), "")
    return RevisionFacts(
        label=revision.label,
        title=revision.full_title,
        made_from=made_from,
        loaded_at=moment(revision.loaded_at),
        loaded_by=str(revision.loaded_by),
        in_bike=revision == results.get(tune_in_bike),
        calibration_name=revision.calibration_name,
        calibration_sha256=revision.calibration_sha256,
        note=revision.note,
        changes=[change_facts(change) for change in changes],
        received=revision.number == 0,
    )


def change_facts(change: TuneChange) -> TuneChangeFacts:
    return TuneChangeFacts(
        kind=change.kind.name,
        detail=change.detail,
        from_=change.from_value,
        to=change.to_value,
        unit=change.unit,
        reason=change.reason,
        affects_road_use=change.kind.affects_road_use,
    )


def tune_done(results: JobResults) -> Iterator[str]:
    """Yield which calibration is in the bike and what it changes."""
    tune = results.get(tune_facts)
    if tune is None or not tune.in_bike:
        return
    revision = next((revision for revision in tune.revisions if revision.in_bike), None)
    if revision is None or revision.came_with_bike:
        yield _("Tune in the bike: as received")
        return
    title = f" ({revision.title})" if revision.title else ""
    what = f": {listed(list(map(describe_change, revision.changes)), 4)}" if revision.changes else ""
    yield _("Tune in the bike: %(tune)s") % {"tune": f"{revision.label}{title}{what}"}


def describe_change(change: TuneChangeFacts) -> str:
    """Return a change as in 'idle speed 1300 → 1450 1/min'; long values are left to the table."""
    name = f"{_(change.kind)} ({change.detail})" if change.detail else _(change.kind)
    if max(len(change.from_), len(change.to)) > MAX_VALUE_LENGTH:
        return name
    came = f"{change.from_} → " if change.from_ else ""
    return f"{name} {came}{change.to} {change.unit}".strip()


def tunes_by_job(bike: Bike, shop: ShopProfile) -> ByJob:
    """Return every calibration loaded into a bike, with its changes."""
    changes: dict[int, list[TuneChangeFacts]] = defaultdict(list)
    for change in TuneChange.objects.filter(revision__job__bike=bike).select_related("kind"):
        changes[change.revision_id].append(change_facts(change))
    revisions = TuneRevision.objects.filter(job__bike=bike).order_by("job", "number")
    return group_by_job(
        (
            revision.job_id,
            {
                "label": revision.label,
                "title": revision.full_title,
                "loaded_at": moment(revision.loaded_at),
                "calibration_name": revision.calibration_name,
                "changes": changes[revision.pk],
            },
        )
        for revision in revisions
        if revision.number or revision.full_title or revision.calibration_name or changes[revision.pk]
    )


TUNE: Printed[TuneFacts | None] = Printed(
    "tune",
    tune_facts,
    TuneFacts | None,
    heading="Tune",
    title="tune",
    template="jobs/tunes/_sheet.html",
)
