"""Traceability: what a job was measured with, and the last check before the day of use."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.template.loader import render_to_string

from jobs.models import ClearanceReading, DynoCheck, Job, WorkPlace
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import from_json, to_json
from reports.handover.snapshot.schema import InstrumentFacts, Snapshot
from tests.factories import (
    add_check,
    load_results,
    make_channel_run,
    make_clearance_set,
    make_instrument,
    make_job,
)
from tests.html import find, read_text
from workshop.models import Role

pytestmark = pytest.mark.django_db

FOUND_AT = datetime(2026, 3, 10, 9, tzinfo=UTC)
AIR = {"temperature_c": 20.0, "pressure_kpa": 101.0, "humidity_pct": 40.0}


def snapshot_of(job: Job, staff) -> Snapshot:
    at = FOUND_AT + timedelta(days=30)
    return make_snapshot(load_results(job), issue_number=1, issued_by=staff[Role.OWNER], at=at)


def add_run(job: Job, by, name: str, at: datetime, **given) -> None:
    channels = {"engine_speed_rpm": [3000.0, 3100.0], "lambda": [0.9, 0.9]}
    make_channel_run(job, by, name, channels, made_at=at, **AIR, **given)


def test_check_is_the_one_before_the_day_of_use(staff) -> None:
    job, blades = make_job(), make_instrument("feeler", "Feeler gauges", "FG-2")
    add_check(blades, date(2025, 2, 1), date(2026, 3, 9), certificate="L-1")
    add_check(blades, date(2026, 3, 11), date(2027, 3, 11), by="Mechanic")
    for day in (0, 1, 2):
        make_clearance_set(
            job, staff[Role.MECHANIC], measured_at=FOUND_AT + timedelta(days=day), feeler_gauge=blades
        )
    assert snapshot_of(job, staff).instruments == [
        InstrumentFacts(
            name="Feeler gauges",
            number="FG-2",
            checked="1 Feb 2025, Fennport laboratory, certificate L-1",
            used="valve clearances, 10 Mar 2026",
            overdue=True,
        ),
        InstrumentFacts(
            name="Feeler gauges",
            number="FG-2",
            checked="11 Mar 2026, Mechanic",
            used="valve clearances, 11 Mar 2026 and 12 Mar 2026",
            overdue=False,
        ),
    ]


def test_check_on_its_due_day_is_not_overdue(staff) -> None:
    job, blades = make_job(), make_instrument("feeler", "Feeler gauges")
    add_check(blades, date(2025, 3, 10), date(2026, 3, 10))
    make_clearance_set(job, staff[Role.MECHANIC], measured_at=FOUND_AT, feeler_gauge=blades)
    assert [one.overdue for one in snapshot_of(job, staff).instruments] == [False]


def test_micrometer_is_named_only_if_a_shim_was_measured(staff) -> None:
    job, micrometer = make_job(), make_instrument("micrometer", "Micrometer", "MM-1")
    measured = make_clearance_set(job, staff[Role.MECHANIC], measured_at=FOUND_AT, micrometer=micrometer)
    assert [one.name for one in snapshot_of(job, staff).instruments] == ["Feeler gauges"]
    ClearanceReading.objects.filter(pk=measured.readings.first().pk).update(shim_measured_mm="2.502")
    assert [(one.name, one.used) for one in snapshot_of(job, staff).instruments] == [
        ("Feeler gauges", "valve clearances, 10 Mar 2026"),
        ("Micrometer", "shims, 10 Mar 2026"),
    ]


def test_runs_name_dyno_weather_station_and_lambda_probe(staff) -> None:
    job, tuner = make_job(), staff[Role.TUNER]
    WorkPlace.objects.filter(kind="dyno").update(name="Dyno by the yard")
    station = make_instrument("weather", "Weather station", "WS-1")
    weights = make_instrument("weight", "Weight, 20 kg", "W-20")
    add_check(weights, date(2025, 9, 1), by="Laboratory")
    DynoCheck.objects.create(
        method="weight", subject="20 kg", unit="nm", reading=99.05, true_value=98.07, by=tuner,
        at=FOUND_AT - timedelta(days=5), instrument=weights,
    )  # fmt: skip
    later = {"at": FOUND_AT + timedelta(days=5), "subject": "Shop's bike", "reading": 50.0, "by": tuner}
    DynoCheck.objects.create(**later)
    add_run(job, tuner, "before", FOUND_AT, weather_station=station)
    rows = [(one.name, one.number, one.checked, one.used) for one in snapshot_of(job, staff).instruments]
    assert rows == [
        # 99.05 of 98.07 is +1.0 %.
        ("Dyno", "Dyno by the yard", "5 Mar 2026 by dead weight, +1.0 %", "runs, 10 Mar 2026"),
        ("Weight, 20 kg", "W-20", "1 Sep 2025, Laboratory", "verification of the dyno, 5 Mar 2026"),
        ("Weather station", "WS-1", "", "air data of the runs, 10 Mar 2026"),
        ("Lambda probe or meter", "", "", "lambda of the runs, 10 Mar 2026"),
    ]


def table_rows(snapshot: Snapshot) -> list[list[str]]:
    html = render_to_string("reports/handover/sheet/_instruments.html", {"s": snapshot})
    return [[read_text(cell) for cell in row] for row in find(html, "//tbody/tr")]


def test_sheet_says_plainly_what_is_overdue_or_not_recorded(staff) -> None:
    job, blades = make_job(), make_instrument("feeler", "Feeler gauges", "FG-2")
    add_check(blades, date(2025, 2, 1), date(2026, 2, 1))
    make_clearance_set(job, staff[Role.MECHANIC], measured_at=FOUND_AT, feeler_gauge=blades)
    add_run(job, staff[Role.TUNER], "run", FOUND_AT)
    rows = table_rows(from_json(to_json(snapshot_of(job, staff))))
    assert rows[0][1:] == ["not recorded", "not recorded"]
    assert rows[-1][0].startswith("Feeler gauges")
    assert rows[-1][1:] == [
        "FG-2",
        "1 Feb 2025, Fennport laboratory Check overdue on the day of use.",
    ]


def test_issued_sheet_keeps_the_check_that_was_true_then(staff) -> None:
    job, blades = make_job(), make_instrument("feeler", "Feeler gauges", "FG-2")
    check = add_check(blades, date(2025, 12, 1), date(2026, 12, 1))
    make_clearance_set(job, staff[Role.MECHANIC], measured_at=FOUND_AT, feeler_gauge=blades)
    stored = to_json(snapshot_of(job, staff))
    check.checked_by = "Someone else"
    check.save()
    assert from_json(stored).instruments[0].checked == "1 Dec 2025, Fennport laboratory"
