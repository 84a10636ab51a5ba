"""Heat soak on its page and as CSV, for repeats whose power falls with the intake air by a known rate."""

import csv
import io

import numpy as np
import pytest
from django.urls import reverse

from jobs.models import SuspensionSetting
from tests.factories import make_channel_run, make_job
from tests.html import read_text
from tests.jobs.comparisons.test_comparisons import minutes
from workshop.models import Role

pytestmark = pytest.mark.django_db

RATE_PCT_PER_C = -0.2
INTAKE_C = (30.0, 36.0, 41.0, 47.0, 33.0, 38.0, 44.0, 50.0)
SCATTER_PCT = (0.05, -0.04, -0.06, 0.05, 0.03, -0.05, 0.06, -0.04)


def channels(intake_c: float, scatter_pct: float, level: float) -> dict[str, np.ndarray]:
    rpm = np.linspace(3_000, 11_000, 801)
    share = 1 + (RATE_PCT_PER_C * (intake_c - 40) + scatter_pct) / 100
    return {
        "time_s": np.linspace(0, 8, 801),
        "engine_speed_rpm": rpm,
        "power_kw": level * share * rpm / 200,
        "intake_air_temperature_c": np.full(801, intake_c),
        "coolant_temperature_c": np.full(801, 85.0),
    }


@pytest.fixture
def job(staff):
    """Four repeats before a change of the settings and four after it, with 5 % more power."""
    job, tuner = make_job(), staff[Role.TUNER]
    for number, (intake, scatter) in enumerate(zip(INTAKE_C, SCATTER_PCT, strict=True)):
        level, later = (1.0, 0) if number < 4 else (1.05, 40)
        file = channels(intake, scatter, level)
        make_channel_run(job, tuner, f"{number}.csv", file, kind="sweep", made_at=minutes(later + number))
    SuspensionSetting.objects.create(job=job, when="as_left", set_at=minutes(20), by=tuner, front_preload="4")
    return job


def page(client, job):
    return client.get(reverse("heat-soak", args=[job]))


def test_power_falls_with_the_intake_air_by_the_rate_in_the_runs(login, job) -> None:
    answer = page(login(Role.TUNER), job)
    slope = answer.context["soak"].slopes["intake_air_temperature_c"]
    assert slope.slope == pytest.approx(RATE_PCT_PER_C, abs=0.02)
    assert abs(slope.slope - RATE_PCT_PER_C) < slope.half_width < 0.02
    text = read_text(answer)
    assert "Power falls by 2.0 % per 10 °C more." in text
    assert "8 runs in 2 states of the bike" in text
    assert "30 to 50 °C" in text


def test_temperature_that_hardly_changed_is_said(login, job) -> None:
    assert "Coolant temperature Not certain: too few repeats" in read_text(page(login(Role.MECHANIC), job))


def test_slope_is_stated_in_the_shops_degrees(login, job, shop) -> None:
    shop.temperature_unit = "f"
    shop.save()
    text = read_text(page(login(Role.TUNER), job))
    assert "Power falls by 1.1 % per 10 °F more." in text  # 2.0 · 5/9
    assert "86 to 122 °F" in text
    assert "°C" not in text


def test_csv_lists_the_repeats(login, job) -> None:
    answer = login(Role.DESK).get(reverse("heat-soak-csv", args=[job]))
    rows = list(csv.reader(io.StringIO(answer.text.lstrip("\ufeff"))))
    assert rows[0][4] == "intake air temperature (°C)"
    assert [row[0] for row in rows[1:]] == [f"{number}.csv" for number in range(8)]
    assert [row[1] for row in rows[1:]] == ["1"] * 4 + ["2"] * 4
    assert sum(float(row[2]) for row in rows[1:5]) == pytest.approx(0, abs=0.002)


def test_job_without_repeats_says_what_is_needed(login) -> None:
    assert "No repeated runs with temperature data." in read_text(page(login(Role.TUNER), make_job()))


def test_page_needs_few_queries_for_any_number_of_runs(login, job, staff, django_assert_num_queries) -> None:
    client = login(Role.TUNER)
    page(client, job)
    make_channel_run(job, staff[Role.TUNER], "more.csv", channels(40, 0, 1), kind="sweep")
    with django_assert_num_queries(8):
        page(client, job)
