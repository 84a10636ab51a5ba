"""The records of a job that can show how a wish was answered."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db import models
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from jobs.job.results import JobResults
from jobs.models import (
    BikeChange,
    Check,
    CheckItem,
    ClearanceSet,
    Comparison,
    MixtureStudy,
    Part,
    Run,
    SuspensionSetting,
    ThrottleTable,
    TuneChange,
    TuneRevision,
    Wish,
    WorkItem,
)


@dataclass(frozen=True)
class EvidenceKind:
    """A kind of record that can answer a wish.

    ``section`` is its section of the job page, ``printed`` that of the sheet.
    """

    model: type[models.Model]
    title: str
    section: str
    printed: str
    is_offered: Callable[[Any], bool] = lambda row: True
    describe: Callable[[Any], str] = str


@dataclass(frozen=True)
class EvidenceRecord:
    key: str
    title: str
    name: str
    section: str
    printed: str

    def __str__(self) -> str:
        return f"{self.title}: {self.name}"


def is_held(run: Run) -> bool:
    return run.kind == Run.Kind.HELD and run.counts


def is_checked_before_handover(check: Check) -> bool:
    return check.item.list == CheckItem.List.BEFORE_HANDOVER and not check.not_applicable


def describe_when(row: ClearanceSet | SuspensionSetting) -> str:
    return _(row.get_when_display())


def describe_tune(tune: TuneRevision) -> str:
    return ", ".join(filter(None, [tune.label, tune.title]))


def describe_change(change: TuneChange) -> str:
    return f"{change} ({change.revision.label})"


KINDS = {
    "comparison": EvidenceKind(Comparison, "Comparison", "comparisons", "comparisons"),
    "held": EvidenceKind(Run, "Held-throttle run", "throttle", "throttle", is_held),
    "throttle": EvidenceKind(ThrottleTable, "Throttle table", "throttle", "throttle"),
    "mixture": EvidenceKind(MixtureStudy, "Mixture study", "mixture", "mixture"),
    "clearances": EvidenceKind(
        ClearanceSet, "Valve clearances", "clearances", "clearances", describe=describe_when
    ),
    "tune": EvidenceKind(TuneRevision, "Tune", "tunes", "tune", lambda tune: tune.number > 0, describe_tune),
    "change": EvidenceKind(TuneChange, "Tune change", "tunes", "tune", describe=describe_change),
    "part": EvidenceKind(Part, "Part", "parts", "parts"),
    "bike-change": EvidenceKind(BikeChange, "Change of the bike", "parts", "bike_changes"),
    "setting": EvidenceKind(
        SuspensionSetting, "Suspension and settings", "suspension", "suspension", describe=describe_when
    ),
    "check": EvidenceKind(Check, "Check", "checks", "checks", is_checked_before_handover),
    "work": EvidenceKind(WorkItem, "Work", "work", "brief", lambda item: item.done),
}


def list_evidence(results: JobResults, kinds: Iterable[str] = KINDS) -> Iterator[EvidenceRecord]:
    """Yield the records of a job that a wish can name, by kind."""
    for kind in kinds:
        of = KINDS[kind]
        for row in results.rows(of.model):
            if of.is_offered(row):
                name = of.describe(row)
                name = name if of.model is Run else capfirst(name)  # the name of a file stays as it is
                yield EvidenceRecord(f"{kind}-{row.pk}", of.title, name, of.section, of.printed)


def evidence_of_wishes(results: JobResults) -> dict[int, list[EvidenceRecord]]:
    """Return the records that each wish names, by the key of the wish; those that are gone are left out."""
    wishes = results.rows(Wish)
    named = {key.rpartition("-")[0] for wish in wishes for key in wish.records}
    by_key = {item.key: item for item in list_evidence(results, [kind for kind in KINDS if kind in named])}
    return {wish.pk: [by_key[key] for key in wish.records if key in by_key] for wish in wishes}
