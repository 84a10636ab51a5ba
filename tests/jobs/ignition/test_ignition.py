"""Ignition sweep on its page and as CSV, for held runs with a known best advance."""

import csv
import io
import re

import numpy as np
import pytest
from django.urls import reverse

from tests.factories import make_channel_run, make_job
from tests.html import read_text
from workshop.models import Role

pytestmark = pytest.mark.django_db

TRIED = (22.0, 26.0, 30.0, 34.0, 38.0, 34.0, 30.0, 26.0, 22.0)
SPELL_S, RATE_HZ = 2.0, 50


def channels(seed: int, tried: tuple[float, ...] = TRIED, best: float = 31.0) -> dict[str, np.ndarray]:
    """Step the advance at 5,000 1/min and 40 % grip: 60 N·m less 0.02 N·m a square degree off the best."""
    rng = np.random.default_rng(seed)
    advance = np.repeat(tried, int(SPELL_S * RATE_HZ))
    spells = np.repeat(rng.normal(0, 0.05, len(tried)), int(SPELL_S * RATE_HZ))
    return {
        "time_s": np.arange(advance.size) / RATE_HZ,
        "engine_speed_rpm": 5_000 + rng.normal(0, 3, advance.size),
        "grip_pct": np.full(advance.size, 40.0),
        "ignition_advance_deg": advance + rng.normal(0, 0.1, advance.size),
        "torque_nm": 60 - 0.02 * (advance - best) ** 2 + spells + rng.normal(0, 0.3, advance.size),
    }


@pytest.fixture
def job(staff):
    job = make_job()
    make_channel_run(job, staff[Role.TUNER], "sweep.csv", channels(1))
    return job


def page(client, job):
    return client.get(reverse("ignition", args=[job]))


def test_best_advance_is_found_with_its_interval(login, job) -> None:
    answer = page(login(Role.TUNER), job)
    (row,) = answer.context["rows"]
    assert (row["title"], row["points"], row["tried"]) == ("5000 rpm, 40 % grip", 9, "22.0° to 38.0°")
    text = read_text(answer)
    figures = re.search(r"Most torque at ([\d.]+)° .*interval ([\d.]+) to ([\d.]+)°", row["finding"]).groups()
    best, low, high = map(float, figures)
    assert best == pytest.approx(31, abs=0.4)
    assert low < 31 < high
    assert high - low < 2
    assert "More advance can make the engine knock" in text


def test_points_of_several_runs_at_one_speed_and_grip_belong_together(login, staff) -> None:
    job = make_job()
    for number, advance in enumerate((24.0, 28.0, 32.0, 36.0, 28.0)):
        make_channel_run(job, staff[Role.TUNER], f"{number}.csv", channels(number, (advance,)))
    (row,) = page(login(Role.MECHANIC), job).context["rows"]
    assert row["points"] == 5


def test_sweep_whose_torque_still_rises_names_no_advance(login, staff) -> None:
    job = make_job()
    make_channel_run(job, staff[Role.TUNER], "sweep.csv", channels(2, best=50.0))
    text = read_text(page(login(Role.TUNER), job))
    assert "Torque still rises with more advance within the advances that were tried." in text


def test_two_advances_are_too_few(login, staff) -> None:
    job = make_job()
    make_channel_run(job, staff[Role.TUNER], "sweep.csv", channels(3, (24.0, 30.0)))
    assert "Not certain: needs five holds at three advances or more." in read_text(
        page(login(Role.TUNER), job)
    )


def test_csv_lists_the_points(login, job, shop) -> None:
    shop.torque_unit = "lbf_ft"
    shop.save()
    answer = login(Role.DESK).get(reverse("ignition-csv", args=[job]))
    rows = list(csv.reader(io.StringIO(answer.text.lstrip("\ufeff"))))
    assert rows[0][5] == "uncorrected torque (lbf·ft)"
    assert [float(row[4]) for row in rows[1:]] == pytest.approx(sorted(TRIED), abs=0.1)
    assert float(rows[5][5]) == pytest.approx((60 - 0.02) * 0.73756, abs=0.15)  # at 30°


def test_job_without_a_sweep_says_how_to_make_one(login) -> None:
    assert "Hold engine speed and grip and change the advance in steps" in read_text(
        page(login(Role.TUNER), make_job())
    )


def test_page_needs_few_queries_for_any_number_of_runs(login, job, staff, django_assert_num_queries) -> None:
    client = login(Role.TUNER)
    page(client, job)
    make_channel_run(job, staff[Role.TUNER], "more.csv", channels(4))
    with django_assert_num_queries(7):
        page(client, job)
