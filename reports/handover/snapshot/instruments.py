"""What was measured with what, for the traceability of the sheet."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.calc.units.numbers import format_number
from jobs.job.results import JobResults
from jobs.models import ClearanceReading, ClearanceSet, DynoCheck, Run, WorkPlace
from reports.handover.snapshot.schema import InstrumentFacts
from workshop.languages import format_day
from workshop.models import Instrument, InstrumentCheck


class Measured(NamedTuple):
    """What was measured, with which instrument (None if that is not recorded), and what it is called then."""

    what: str
    instrument: int | None
    unrecorded: str


Use = tuple[Measured, datetime]


def instrument_facts(results: JobResults) -> list[InstrumentFacts]:
    """Return the dyno and the instruments that the job's values came from, with their last check before.

    A check made after the measurement, but before the sheet was issued, says nothing of the day of use.
    """
    zone = ZoneInfo(results.shop.time_zone)
    runs = [run for run in results.rows(Run) if run.status == Run.Status.READ]
    verified = group_by_verification(runs)
    days: dict[Measured, set[date]] = {}
    for measured, at in (*verification_uses(verified), *run_uses(runs), *clearance_uses(results)):
        days.setdefault(measured, set()).add(timezone.localdate(at, zone))
    known = Instrument.objects.prefetch_related("checks").in_bulk(
        {measured.instrument for measured in days if measured.instrument is not None}
    )
    found = list(dyno_facts(verified, zone))
    for measured, used_on in days.items():
        if measured.instrument is None:
            used = describe_use(measured.what, used_on)
            found.append(InstrumentFacts(measured.unrecorded, used=used))
        else:
            found += checked_facts(known[measured.instrument], measured.what, used_on)
    return found


def run_uses(runs: Iterable[Run]) -> Iterator[Use]:
    for run in runs:
        air = Measured(_("air data of the runs"), run.weather_station_id, _("Weather station"))
        mixture = Measured(_("lambda of the runs"), run.lambda_probe_id, _("Lambda probe or meter"))
        if run.temperature_c is not None or run.pressure_kpa is not None:
            yield air, run.made_at
        if "lambda" in run.channel_names:
            yield mixture, run.made_at


def clearance_uses(results: JobResults) -> Iterator[Use]:
    readings = results.rows(ClearanceReading)
    with_shims = {row.clearance_set_id for row in readings if row.shim_measured_mm is not None}
    for measured in results.rows(ClearanceSet):
        blades = Measured(
            _("valve clearances"), measured.feeler_gauge_id, measured.instrument or _("Feeler gauges")
        )
        if any(row.clearance_set_id == measured.pk for row in readings):
            yield blades, measured.measured_at
        if measured.pk in with_shims:
            yield Measured(_("shims"), measured.micrometer_id, _("Micrometer")), measured.measured_at


# --- the dyno, which has a log of its own


def group_by_verification(runs: Iterable[Run]) -> dict[DynoCheck | None, list[datetime]]:
    """Return the times of the runs by the last verification of the dyno before them, or None."""
    times = sorted(run.made_at for run in runs)
    checks = DynoCheck.objects.filter(at__lte=times[-1]).order_by("at", "pk") if times else ()
    log, found = list(checks), dict[DynoCheck | None, list[datetime]]()
    for at in times:
        before = [check for check in log if check.at <= at]
        found.setdefault(before[-1] if before else None, []).append(at)
    return found


def verification_uses(verified: Iterable[DynoCheck | None]) -> Iterator[Use]:
    for check in verified:
        if check is not None and check.instrument_id is not None:
            yield Measured(_("verification of the dyno"), check.instrument_id, ""), check.at


def dyno_facts(verified: dict[DynoCheck | None, list[datetime]], zone: ZoneInfo) -> Iterator[InstrumentFacts]:
    for check, times in verified.items():
        used = describe_use(_("runs"), {timezone.localdate(at, zone) for at in times})
        checked = describe_verification(check, zone) if check else ""
        yield InstrumentFacts(_("Dyno"), dyno_name(), checked, used)


def dyno_name() -> str:
    """Return what the shop calls its dyno; empty if it has several, or only the name of a new shop."""
    dynos = WorkPlace.objects.filter(kind=WorkPlace.Kind.DYNO, retired=False)
    names = list(dynos.values_list("name", flat=True))
    return "" if len(names) != 1 or names[0].casefold() == "dyno" else names[0]


def describe_verification(check: DynoCheck, zone: ZoneInfo) -> str:
    values = {"day": format_day(check.at, zone), "method": _(check.get_method_display())}
    text = _("%(day)s by %(method)s") % values
    if not check.true_value:
        return text
    error = format_number(100 * (check.reading / check.true_value - 1), 1, signed=True)
    return f"{text}, {error} %"


# --- the instruments


def checked_facts(instrument: Instrument, what: str, days: Iterable[date]) -> list[InstrumentFacts]:
    """Return a row for each check that was the last one on a day of use."""
    by_check: dict[tuple[InstrumentCheck | None, bool], list[date]] = {}
    for day in sorted(days):
        check = last_check_before(instrument, day)
        by_check.setdefault((check, check is not None and check.is_overdue_on(day)), []).append(day)
    return [
        InstrumentFacts(
            name=instrument.name,
            number=instrument.number,
            checked=describe_check(check) if check else "",
            used=describe_use(what, used_on),
            overdue=overdue,
        )
        for (check, overdue), used_on in by_check.items()
    ]


def last_check_before(instrument: Instrument, day: date) -> InstrumentCheck | None:
    """Return the last check on or before a day."""
    before = [check for check in instrument.checks.all() if check.checked_on <= day]
    return before[-1] if before else None


def describe_check(check: InstrumentCheck) -> str:
    values = {"day": format_day(check.checked_on), "by": check.checked_by, "number": check.certificate}
    if check.certificate:
        return _("%(day)s, %(by)s, certificate %(number)s") % values
    return _("%(day)s, %(by)s") % values


def describe_use(what: str, days: Iterable[date]) -> str:
    """Return what was measured with the days, as 'valve clearances, 10 Mar 2026 and 11 Mar 2026'."""
    first, *more = sorted(days)
    if not more:
        return f"{what}, {format_day(first)}"
    text = _("%(first)s and %(last)s") if len(more) == 1 else _("%(low)s to %(high)s")
    ends = {"first": format_day(first), "last": format_day(more[-1])}
    days_text = text % {**ends, "low": ends["first"], "high": ends["last"]}
    return f"{what}, {days_text}"
