"""Throttle response on its page and as CSV, for runs with a plate that lags by a known time."""

import csv
import io
import math
import re

import numpy as np
import pytest
from django.urls import reverse

from jobs.throttle.step_tables import describe_mean
from tests.factories import make_channel_run, make_job, make_revision
from tests.html import read_text
from workshop.models import Role

pytestmark = pytest.mark.django_db

TAU_S, TIME = 0.05, np.arange(0, 8, 0.005)


def channels(latency_s: float) -> dict[str, np.ndarray]:
    """Open the grip at 2 s and close it at 5 s; the plate lags by ``latency_s`` and 50 ms of first order."""
    shares = [1 - np.exp(-np.maximum(TIME - at - latency_s, 0) / TAU_S) for at in (2.0, 5.0)]
    grip = 10 + 50 * ((TIME >= 2.0) & (TIME < 5.0))
    return {
        "time_s": TIME,
        "engine_speed_rpm": np.full(TIME.size, 4_000.0),
        "grip_pct": grip.astype(float),
        "plate_pct": 5 + 40 * (shares[0] - shares[1]),
    }


@pytest.fixture
def job(staff):
    job, tuner = make_job(), staff[Role.TUNER]
    standard, softer = make_revision(job, tuner), make_revision(job, tuner, number=1)
    for number, (revision, latency) in enumerate([(standard, 0.08), (standard, 0.09), (softer, 0.03)]):
        make_channel_run(job, tuner, f"{number}.csv", channels(latency), tune_revision=revision)
    return job


def test_latency_and_rise_are_shown_by_tune(login, job) -> None:
    rows = login(Role.TUNER).get(reverse("throttle-response", args=[job])).context["rows"]
    assert [(row.output, row.opens, len(row.steps)) for row in rows] == [
        ("plate", True, 2),
        ("plate", False, 2),
        ("plate", True, 1),
        ("plate", False, 1),
    ]
    # 10 % of the lag is reached after 5 ms, 10 to 90 % takes τ ln 9 = 110 ms; samples of 5 ms.
    latencies = [np.mean([one.step.latency_ms for one in row.steps]) for row in rows]
    assert latencies == pytest.approx([90, 90, 35, 35], abs=5)
    assert rows[2].rise == "110 ms"
    assert [one.step.rise_ms for row in rows for one in row.steps] == pytest.approx(
        [1000 * TAU_S * math.log(9)] * 6, abs=2.5
    )


def test_interval_is_that_of_the_mean_of_the_turns(login, job) -> None:
    row = login(Role.MECHANIC).get(reverse("throttle-response", args=[job])).context["rows"][0]
    # Two values 10 ms apart: s = 7.07, t(1) = 12.706, half-width 63.5 ms (NIST e-Handbook 1.3.6.7.2).
    assert row.latency.endswith("± 64 ms")


def test_answer_names_the_plate_and_its_delay(login, job) -> None:
    page = read_text(login(Role.MECHANIC).get(reverse("throttle-response", args=[job])))
    delay = re.search(r"Tune 1: as the grip opens, the plate opens after (\d+) ms", page)
    assert float(delay[1]) == pytest.approx(35, abs=5)
    assert "out of step" not in page


def test_plate_that_moves_before_the_grip_shows_that_the_channels_are_out_of_step(login, staff) -> None:
    early = make_job()
    tune = make_revision(early, staff[Role.TUNER])
    make_channel_run(early, staff[Role.TUNER], "early.csv", channels(-0.04), tune_revision=tune)
    page = read_text(login(Role.TUNER).get(reverse("throttle-response", args=[early])))
    assert "earlier than the grip. The channels of the logger are out of step." in page


def test_interval_below_a_millisecond_is_not_zero() -> None:
    assert describe_mean([7.01, 7.02]) == "7 ± less than 1 ms"


def test_csv_lists_every_turn(login, job) -> None:
    answer = login(Role.DESK).get(reverse("throttle-response-csv", args=[job]))
    rows = list(csv.reader(io.StringIO(answer.text.lstrip("\ufeff"))))
    assert len(rows) == 7
    assert rows[1][0:4:2] == ["0.csv", "plate"]
    assert [float(cell) for cell in rows[1][5:7]] == [10, 60]


def test_run_that_is_set_aside_is_left_out(login, job) -> None:
    job.runs.update(set_aside=True, set_aside_reason="slipped")
    page = read_text(login(Role.TUNER).get(reverse("throttle-response", args=[job])))
    assert "No run has a quick turn of the grip" in page


def test_page_needs_few_queries_for_any_number_of_runs(login, job, staff, django_assert_num_queries) -> None:
    client = login(Role.TUNER)
    url = reverse("throttle-response", args=[job])
    client.get(url)
    make_channel_run(job, staff[Role.TUNER], "more.csv", channels(0.05))
    with django_assert_num_queries(8):
        client.get(url)
