"""Whether the engine was cold when its clearances were measured.

Clearances are measured on a cold engine (common practice, no single source: service manuals ask for it),
so those of an engine that ran earlier on the same day are questioned.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time
from zoneinfo import ZoneInfo

from django.db.models import CharField, F, Value
from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.calc.units.numbers import format_number
from jobs.job.results import JobResults
from jobs.models import ClearanceSet, Run, Slot, Stage, StageEntry, WorkPlace

RUN, SLOT, STAGE = "run", "slot", "stage"
SENTENCES = {
    RUN: "A run of this bike was made at {at} that day.",
    SLOT: "This bike had a slot on the dyno from {at} that day.",
    STAGE: "This bike went on the dyno at {at} that day.",
}


@dataclass(frozen=True)
class EngineRan:
    """When an engine last ran, or most likely did, and how that is known."""

    at: datetime
    known_by: str

    @property
    def sentence(self) -> str:
        return SENTENCES[self.known_by].format(at=f"{timezone.localtime(self.at):%H:%M}")


def engine_ran_before(bike_pk: int, at: datetime) -> EngineRan | None:
    """Return when the engine of a bike last ran earlier on the same day, in one query."""
    day = {"gte": datetime.combine(timezone.localdate(at), time(), timezone.get_current_timezone()), "lt": at}
    runs = Run.objects.filter(**within("made_at", day))
    slots = Slot.objects.filter(place__kind=WorkPlace.Kind.DYNO, **within("starts_at", day))
    stages = StageEntry.objects.filter(stage=Stage.ROLLER, **within("at", day))
    found = [
        rows.filter(job__bike=bike_pk)
        .order_by()
        .values_list(F(column), Value(known_by, output_field=CharField()))
        for rows, column, known_by in (
            (runs, "made_at", RUN),
            (slots, "starts_at", SLOT),
            (stages, "at", STAGE),
        )
    ]
    last = max(found[0].union(*found[1:], all=True), default=None)
    return EngineRan(*last) if last else None


def within(column: str, day: dict[str, datetime]) -> dict[str, datetime]:
    return {f"{column}__{lookup}": at for lookup, at in day.items()}


def run_times(results: JobResults) -> list[datetime]:
    """Return when the runs of a job were made."""
    return sorted(run.made_at for run in results.rows(Run))


def describe_heat(measured: ClearanceSet, made_at: Iterable[datetime], zone: ZoneInfo) -> str:
    """Say whether the engine was cold, or that it is not known; "" if it did not run that day.

    A run counts that was imported after the clearances were saved, too.
    """
    ran_at = last_run_at(measured, made_at, zone)
    values = {"at": f"{ran_at.astimezone(zone):%H:%M}" if ran_at else ""}
    if not measured.engine_cold:
        text = _("The engine ran that day (%(at)s). It is not known whether it was cold when measured.")
        return text % values if ran_at else ""
    hours = measured.stood_hours
    state = (
        _("%(state)s when measured")
        if hours is None
        else _("%(state)s when measured, after %(hours)s h at rest")
    )
    known = {"state": _(measured.get_engine_cold_display()), "hours": format_number(hours or 0, 1)}
    text = (
        _("The engine ran that day (%(at)s). It was %(state)s.") if ran_at else _("The engine was %(state)s.")
    )
    sentence = text % {**values, "state": state % known}
    if is_warm(measured):
        sentence += " " + _("Clearances of a warm engine may differ from those of a cold one.")
    return sentence


def is_warm(measured: ClearanceSet) -> bool:
    return measured.engine_cold == ClearanceSet.Cold.WARM


def last_run_at(measured: ClearanceSet, made_at: Iterable[datetime], zone: ZoneInfo) -> datetime | None:
    """Return when the engine last ran before a measurement on its day, as far as is on record."""
    day, at = measured.measured_at.astimezone(zone).date(), measured.measured_at
    times = [run_at for run_at in made_at if run_at < at and run_at.astimezone(zone).date() == day]
    return max([*times, *([measured.ran_at] if measured.ran_at else [])], default=None)
