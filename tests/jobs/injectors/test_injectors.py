"""Injector duty on its page and as CSV."""

import csv
import io

import numpy as np
import pytest
from django.urls import reverse

from tests.factories import make_bike, make_channel_run, make_engine, make_job
from tests.html import read_json, read_row, read_text
from workshop.models import EngineSpec, Role

pytestmark = pytest.mark.django_db


def channels(most_ms: float) -> dict[str, np.ndarray]:
    """Rise to 12,000 1/min, where two turns take 10 ms."""
    speed = np.linspace(3000, 12_000, 901)
    return {
        "time_s": np.arange(901) / 100,
        "engine_speed_rpm": speed,
        "injector_time_ms": most_ms * speed / 12_000,
    }


@pytest.fixture
def job(staff):
    job = make_job()
    for name, most_ms in (("room.csv", 7.0), ("little.csv", 9.0), ("none.csv", 10.4)):
        make_channel_run(job, staff[Role.TUNER], name, channels(most_ms), kind="sweep")
    return job


def test_page_says_what_room_the_injectors_have(login, job) -> None:
    answer = login(Role.MECHANIC).get(reverse("injectors", args=[job]))
    text = read_text(answer)
    assert "some reserve left" in " ".join(read_row(answer, "room.csv"))
    assert "above 85 %: little reserve" in " ".join(read_row(answer, "little.csv"))
    assert "open all the time" in " ".join(read_row(answer, "none.csv"))
    # by hand: 9.0 ms of 10 ms at 12,000; in the bin below, 9·11,950/12,000 ms of 120,000/11,950 ms is 89.3 %
    (duty,) = [float(cell) for cell in read_row(answer, "little.csv")[2:3]]
    assert 89.0 < duty <= 90.0
    assert "An injector at its limit leaves the engine lean" in text
    assert len(read_json(answer, "injector-duty")["panels"][0]["series"]) == 3


def test_duty_is_twice_with_an_opening_in_each_turn(login, job, staff) -> None:
    page = login(Role.TUNER).get(reverse("injectors", args=[job]), {"openings": "turn"})
    assert float(read_row(page, "room.csv")[2]) == pytest.approx(140, abs=1.5)
    two_stroke = make_job(
        bike=make_bike(engine_spec=make_engine(name="Two", cycle=EngineSpec.Cycle.TWO_STROKE))
    )
    make_channel_run(two_stroke, staff[Role.TUNER], "two.csv", channels(4.0), kind="sweep")
    page = login(Role.TUNER).get(reverse("injectors", args=[two_stroke]))
    assert float(read_row(page, "two.csv")[2]) == pytest.approx(80, abs=1)


def test_csv_has_duty_and_opening_time_by_engine_speed(login, job) -> None:
    answer = login(Role.DESK).get(reverse("injectors-csv", args=[job]))
    rows = list(csv.DictReader(io.StringIO(answer.text.lstrip("\ufeff"))))
    for row in rows:
        speed, opening = float(row["engine speed (rpm)"]), float(row["pulse width (ms)"])
        assert float(row["highest duty (%)"]) == pytest.approx(opening * speed / 1200, rel=0.05)
    assert {row["openings"] for row in rows} == {"one in two turns of the crank"}


def test_job_without_opening_time_says_what_to_do(login) -> None:
    answer = login(Role.DESK).get(reverse("injectors", args=[make_job()]))
    assert "names its column" in read_text(answer)
