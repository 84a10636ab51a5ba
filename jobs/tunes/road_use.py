"""What the tune in the bike may mean for road use, over all jobs of the bike.

A job starts with the tune that the job before it left in the bike. A setting counts by its net change: put
back to its first value, or to the value as built, it is no cause. Values are compared only along an unbroken
chain, since the same figure may count from another base in another job.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.job.results import JobResults
from jobs.job.road_use import RoadCause
from jobs.job.sentences import upper_first
from jobs.models import Run, TuneChange, TuneRevision
from jobs.tunes.revisions import ancestry, current_tune

AS_BUILT = {"as built", "standard", "original"}
UNKNOWN = gettext_noop("Its changes are not recorded. Emissions, noise and power may not be as approved.")


@dataclass(frozen=True)
class TuneStep:
    """A tune in the bike, with the changes that it made."""

    revision: TuneRevision
    changes: list[TuneChange]

    @property
    def is_unknown(self) -> bool:
        """True for a tune that is more than the one it is based on, without a record of how."""
        tune = self.revision
        if not tune.number or tune.is_as_built or self.changes:
            return False
        return bool(tune.calibration_name or tune.title or tune.note)


def tune_steps(results: JobResults) -> list[TuneStep]:
    """Return the tunes behind what is in the bike, oldest first, from the last calibration as built on."""
    changes: dict[int, list[TuneChange]] = {}
    for change in results.bike_rows(TuneChange):
        changes.setdefault(change.revision_id, []).append(change)
    runs = results.bike_rows(Run)
    steps: list[TuneStep] = []
    for revisions in revisions_by_job(results.bike_rows(TuneRevision)):
        used = [run for run in runs if run.job_id == revisions[0].job_id]
        for revision in reversed(ancestry(current_tune(revisions, used), revisions)):
            if revision.is_as_built:
                steps = []
            steps.append(TuneStep(revision, changes.get(revision.pk, [])))
    return steps


def revisions_by_job(revisions: Iterable[TuneRevision]) -> list[list[TuneRevision]]:
    """Return the tunes of each job, the job with the first tune first."""
    by_job: dict[int, list[TuneRevision]] = {}
    for revision in revisions:
        by_job.setdefault(revision.job_id, []).append(revision)
    return sorted(by_job.values(), key=lambda rows: (min(row.loaded_at for row in rows), rows[0].job_id))


def settings_in_bike(results: JobResults) -> list[TuneChange]:
    """Return the last change of each setting that differs from its first value and from that as built."""
    by_setting: dict[tuple[int, str, str], list[TuneChange]] = {}
    for step in results.get(tune_steps):
        for change in step.changes:
            key = (change.kind_id, change.detail.casefold(), change.unit.casefold())
            by_setting.setdefault(key, []).append(change)
    found = (find_in_effect(changes) for changes in by_setting.values())
    return [change for change in found if change is not None]


def find_in_effect(changes: Sequence[TuneChange]) -> TuneChange | None:
    """Return the last change of a setting that was not put back; None if all were."""
    last = changes[-1]
    if plain_value(last.to_value) in {*AS_BUILT, plain_value(last.kind.as_built)} - {""}:
        return None
    in_effect = (chain[-1] for chain in split_chains(changes) if not is_put_back(chain))
    return max(in_effect, key=lambda change: changes.index(change), default=None)


def split_chains(changes: Sequence[TuneChange]) -> Iterator[list[TuneChange]]:
    """Yield runs of changes in which each starts from the value that the one before it left."""
    chain: list[TuneChange] = []
    for change in changes:
        starts_from = plain_value(change.from_value)
        if chain and starts_from and starts_from != plain_value(chain[-1].to_value):
            yield chain
            chain = []
        chain.append(change)
    yield chain


def is_put_back(chain: Sequence[TuneChange]) -> bool:
    first = plain_value(chain[0].from_value)
    return bool(first) and first == plain_value(chain[-1].to_value)


def plain_value(text: str) -> str:
    """Return a typed value such that equal ones are equal texts: '+4,0' and '4'."""
    plain = " ".join(text.casefold().split())
    try:
        return f"{float(plain.replace(',', '.').replace('−', '-')) + 0.0:g}"
    except ValueError:
        return plain


def tune_causes(results: JobResults) -> list[RoadCause]:
    """Return the effects of the settings in the bike, and of tunes whose changes are not recorded."""
    changes = [change for change in results.get(settings_in_bike) if change.kind.affects_road_use]
    groups: dict[tuple[str, int], list[TuneChange]] = {}
    for change in changes:
        groups.setdefault((change.kind.road_use_effect, change.revision.job_id), []).append(change)
    causes = [group_cause(effect, group) for (effect, _job), group in groups.items()]
    return [*causes, *(unknown_cause(step.revision) for step in results.get(tune_steps) if step.is_unknown)]


def group_cause(effect: str, changes: Sequence[TuneChange]) -> RoadCause:
    """Return one cause for the settings of a job with the same effect."""
    names = dict.fromkeys(_(change.kind.name) for change in changes)
    return RoadCause(
        subject=_("Tune, %(settings)s") % {"settings": ", ".join(names)},
        effect=_(effect) if effect else "",
        job=changes[-1].revision.job,
        at=changes[-1].revision.loaded_at,
        inform=any(change.kind.inform for change in changes),
    )


def unknown_cause(revision: TuneRevision) -> RoadCause:
    subject = upper_first(revision.label)
    if revision.calibration_name:
        subject = _("%(tune)s, a calibration file") % {"tune": subject}
    return RoadCause(subject, _(UNKNOWN), revision.job, revision.loaded_at)
