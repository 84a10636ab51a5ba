"""Everything that changes a bike during a job, and every run, in the order of time.

The state of the bike at a run is what the timeline holds before it. Two groups of runs can be laid
against each other only with every change that stands between them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from jobs.models import (
    BikeChange,
    ClearanceSet,
    Job,
    Part,
    Run,
    ShimPlan,
    StageEntry,
    SuspensionSetting,
    TuneRevision,
)
from jobs.suspension.settings import changed_settings
from workshop.models import ShopProfile


class EventKind(StrEnum):
    STAGE = "stage"
    PART = "part"
    CLEARANCES = "clearances"
    TUNE = "tune"
    BIKE = "bike"
    SETTINGS = "settings"
    RUN = "run"


@dataclass(frozen=True)
class Event:
    """One thing that happened, and whether it changed the bike.

    ``run`` is the run where the event is one; ``revision`` what was loaded then, where that is known.
    """

    at: datetime
    kind: EventKind
    text: str
    changes_bike: bool
    run: Run | None = None
    revision: TuneRevision | None = None


def events(job: Job, shop: ShopProfile | None = None) -> list[Event]:
    """All of a job's events in order; of two at the same time the change stands before the run.

    Where a run names a tune revision other than the one last loaded, that revision was loaded before
    the run, and an event says so. Settings are told in the shop's units where a shop is given.
    """
    found = [
        *map(of_stage, job.stage_entries.select_related("by")),
        *map(of_part, job.parts.exclude(fitted_at=None)),
        *of_clearances(list(job.clearance_sets.select_related("shim_plan"))),
        *map(of_tune, job.tune_revisions.prefetch_related("changes__kind")),
        *map(of_bike_change, job.bike_changes.all()),
        *of_settings(list(job.suspension_settings.all()), shop),
        *map(of_run, job.runs.select_related("tune_revision")),
    ]
    return with_reloads(in_order(found))


def in_order(found: Iterable[Event]) -> list[Event]:
    return sorted(found, key=lambda event: (event.at, event.run is not None))


def changes(found: Iterable[Event]) -> list[Event]:
    return [event for event in found if event.changes_bike]


def between(found: Iterable[Event], start: datetime, end: datetime) -> list[Event]:
    """Everything that changed the bike after ``start`` and not later than ``end``.

    Given the time of the last run before and of the first run after, it is what the two differ by.
    """
    return [event for event in changes(found) if start < event.at <= end]


def state_before(job: Job, at: datetime) -> list[Event]:
    """The state of the bike at a time: everything that changed it since the job began, in order."""
    return [event for event in changes(events(job)) if event.at <= at]


def of_stage(entry: StageEntry) -> Event:
    waiting = f" for {entry.get_waiting_for_display()}" if entry.waiting_for else ""
    why = f": {entry.why}" if entry.why else ""
    text = f"{entry.get_stage_display()}{waiting}, {entry.by}{why}"
    return Event(entry.at, EventKind.STAGE, text, changes_bike=False)


def of_part(part: Part) -> Event:
    assert part.fitted_at is not None  # only fitted parts are asked for
    instead = f" in place of {part.replaces}" if part.replaces else ""
    changed = f" (changes the {', the '.join(part.changes)})" if part.changes else ""
    return Event(part.fitted_at, EventKind.PART, f"{part.name} fitted{instead}{changed}", changes_bike=True)


def of_tune(revision: TuneRevision) -> Event:
    if revision.number == 0:
        text = "calibration as received"
        return Event(revision.loaded_at, EventKind.TUNE, text, changes_bike=False, revision=revision)
    said = [revision.title, *map(str, revision.changes.all())]
    what = "; ".join(words for words in said if words)
    text = f"{revision.label} loaded" + (f": {what}" if what else "")
    return Event(revision.loaded_at, EventKind.TUNE, text, changes_bike=True, revision=revision)


def of_bike_change(change: BikeChange) -> Event:
    text = f"{change.get_kind_display()} changed: {change.description}"
    return Event(change.at, EventKind.BIKE, text, changes_bike=True)


def of_run(run: Run) -> Event:
    aside = f", set aside: {run.set_aside_reason}" if run.set_aside else ""
    with_tune = f" with {run.tune_revision}" if run.tune_revision else ""
    text = f"{run.get_kind_display()} {run.original_name}{with_tune}{aside}"
    return Event(run.made_at, EventKind.RUN, text, changes_bike=False, run=run, revision=run.tune_revision)


def of_settings(settings: Sequence[SuspensionSetting], shop: ShopProfile | None = None) -> list[Event]:
    """Settings read, and settings changed where the ones as left differ from those before them."""
    found = []
    before: SuspensionSetting | None = None
    for setting in settings:
        as_left = setting.when == SuspensionSetting.When.AS_LEFT
        changed = changed_settings(before, setting, shop) if as_left else []
        text = f"suspension and settings {setting.get_when_display()}"
        if changed:
            text += f": {'; '.join(changed)}"
        found.append(Event(setting.set_at, EventKind.SETTINGS, text, changes_bike=bool(changed)))
        before = setting
    return found


def of_clearances(sets: Sequence[ClearanceSet]) -> list[Event]:
    """Clearances measured, and each adjustment once: by its shim plan, else by the set as left."""
    found = []
    plan: ShimPlan | None = None
    for measured in sets:
        text = f"valve clearances measured {measured.get_when_display()}"
        if measured.when == ClearanceSet.When.AS_FOUND:
            found += carried_out(plan, None)
            plan = getattr(measured, "shim_plan", None)
            found.append(Event(measured.measured_at, EventKind.CLEARANCES, text, changes_bike=False))
            continue
        adjusted = carried_out(plan, measured.measured_at)
        plan = None
        found += adjusted
        if not adjusted:
            text = "valve clearances adjusted, measured as left"
        found.append(Event(measured.measured_at, EventKind.CLEARANCES, text, changes_bike=not adjusted))
    return found + carried_out(plan, None)


def carried_out(plan: ShimPlan | None, measured_at: datetime | None) -> list[Event]:
    """The shims were in by the time they were booked out, or measured, whichever came first."""
    if plan is None or plan.stock_booked_out_at is None:
        return []
    at = min(plan.stock_booked_out_at, measured_at or plan.stock_booked_out_at)
    return [Event(at, EventKind.CLEARANCES, "valve clearances adjusted by the shim plan", changes_bike=True)]


def with_reloads(found: Sequence[Event]) -> list[Event]:
    """Add the load that a run speaks of where the log holds another revision, or none yet, at its time."""
    told: list[Event] = []
    loaded: TuneRevision | None = None
    for event in found:
        if event.run and event.revision and loaded and event.revision != loaded:
            text = f"{event.revision.label} loaded, as the run {event.run} says"
            told.append(Event(event.at, EventKind.TUNE, text, changes_bike=True, revision=event.revision))
        already_in = event.run is None and event.revision is not None and event.revision == loaded
        told.append(replace(event, changes_bike=False) if already_in else event)
        loaded = event.revision or loaded
    return told
