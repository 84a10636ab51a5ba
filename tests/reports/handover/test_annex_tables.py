"""Tables of the annex: readings near a limit, and runs by session."""

from datetime import UTC, datetime, timedelta

import pytest
from django.template.loader import render_to_string
from django.utils import timezone

from jobs.clearances.facts import clearance_facts
from jobs.models import ClearanceReading, ClearanceSet, DynoSession, Job
from jobs.runs.facts import printed_runs
from jobs.templatetags.facts import run_groups
from tests.factories import (
    load_results,
    make_channel_run,
    make_clearance_set,
    make_job,
    make_simulated_runs,
)
from tests.html import find, read_text
from workshop.models import Role, ShopProfile

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 10, 8, tzinfo=UTC)
COOL = {"temperature_c": 16.0, "pressure_kpa": 101.0, "humidity_pct": 40.0}
WARM = {"temperature_c": 24.0, "pressure_kpa": 101.0, "humidity_pct": 35.0}


def print_clearances(job: Job) -> str:
    results = load_results(job)
    context = {"facts": clearance_facts(results), "u": ShopProfile.current()}
    return render_to_string("jobs/clearances/_sheet.html", context)


def print_runs(job: Job) -> str:
    context = {"facts": printed_runs(load_results(job)), "u": ShopProfile.current()}
    with timezone.override("Europe/Lisbon"):
        return render_to_string("jobs/runs/_sheet.html", context)


def test_reading_near_a_limit_has_a_sign_that_is_explained(staff) -> None:
    job = make_job()  # intake 0.10 to 0.20 mm, exhaust 0.25 to 0.35 mm
    measured = make_clearance_set(job, staff[Role.MECHANIC], "0.15")
    exhaust = ClearanceReading.objects.filter(clearance_set=measured, side="exhaust")
    exhaust.update(clearance_mm="0.30")
    exhaust.filter(cylinder=2).update(clearance_mm="0.26")
    page = print_clearances(job)
    marked = [read_text(row)[:18] for row in find(page, "//tbody/tr") if "‡" in read_text(row)]
    assert marked == ["cylinder 2, exhaus"] * 2
    text = read_text(page).replace("\N{NO-BREAK SPACE}", " ")
    assert "‡ Less than 0.014 mm from a limit. Two careful readings may differ by 0.02 mm" in text


def test_table_without_a_reading_near_a_limit_explains_no_sign(staff) -> None:
    job = make_job()
    measured = make_clearance_set(job, staff[Role.MECHANIC], "0.15", when=ClearanceSet.When.AS_LEFT)
    ClearanceReading.objects.filter(clearance_set=measured, side="exhaust").update(clearance_mm="0.30")
    assert "‡" not in print_clearances(job)


def test_runs_are_grouped_by_session_and_air(staff) -> None:
    job, tuner = make_job(), staff[Role.TUNER]
    again = DynoSession.objects.create(job=job, number=2, started_at=AT + timedelta(hours=3), by=tuner)
    channels = {"engine_speed_rpm": [3000.0, 3100.0]}
    for name, minutes, air, session in (
        ("first", 0, COOL, None),
        ("second", 10, COOL, None),
        ("third", 90, WARM, None),
        ("fourth", 200, WARM, again),
    ):
        at = AT + timedelta(minutes=minutes)
        make_channel_run(job, tuner, name, channels, made_at=at, session=session, gear=4, **air)
    groups = [[read_text(row) for row in find(body, ".//tr")] for body in find(print_runs(job), "//tbody")]
    heads = [group[0].replace("\N{NO-BREAK SPACE}", " ") for group in groups]
    assert [head.split(" Air:")[0] for head in heads] == [
        "10 Mar 2026, dyno session 1, Toni Tuner",
        "10 Mar 2026, dyno session 1, Toni Tuner",
        "10 Mar 2026, dyno session 2, Toni Tuner",
    ]
    assert "Air: 16.0 °C, 101.0 kPa, 40 % humidity." in heads[0]
    rows = [[row.split()[0] for row in group[1:]] for group in groups]
    assert rows == [["first", "second"], ["third"], ["fourth"]]
    assert "08:10" in groups[0][2]


def test_runs_of_a_job_with_one_session_name_none(staff) -> None:
    job = make_job()
    make_channel_run(job, staff[Role.TUNER], "only", {"engine_speed_rpm": [3000.0, 3100.0]}, made_at=AT)
    text = read_text(print_runs(job))
    assert "10 Mar 2026, Toni Tuner Air not recorded." in text
    assert "session" not in text.replace("by session", "")


def test_idle_run_stays_with_the_sweeps_of_its_session(staff) -> None:
    job, tuner = make_job(), staff[Role.TUNER]
    sweeps = make_simulated_runs(job, tuner, "marl", "before", "sweep", made_at=AT, **COOL)
    (idle,) = make_simulated_runs(job, tuner, "marl", "before", "idle", made_at=AT, **COOL)
    (group,) = run_groups(printed_runs(load_results(job)))
    assert [run.name for run in group.runs] == [run.original_name for run in (*sweeps, idle)]
    assert group.first.peak_power_kw
    assert "Corrected by" in read_text(find(print_runs(job), "//tbody/tr")[0])
