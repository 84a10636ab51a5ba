"""Files of another bike are questioned before they are stored; kind and gear are found for each file."""

from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from jobs.models import Run
from tests.factories import make_bike, make_engine, make_job
from tests.html import read_form, read_text
from tests.jobs.run_files import attach_sweep, sweep_csv
from workshop.models import Role

pytestmark = pytest.mark.django_db

HEADER = "Time (s),Engine speed (rpm),Power (kW),Grip (%),Road speed (km/h)"
TIME_S = np.linspace(0, 8, 401)


def sweep(top_rpm: float = 11_000, peak_kw: float = 55.0, rpm_per_kmh: float = 80.0, salt: int = 0) -> bytes:
    speed = 3000 + (top_rpm - 3000) * TIME_S / 8
    rows = [
        f"{t:.3f},{n:.1f},{peak_kw * n / top_rpm:.3f},100.0,{n / rpm_per_kmh:.2f}"
        for t, n in zip(TIME_S, speed, strict=True)
    ]
    return "\n".join([HEADER, *rows, "" + "\n" * salt]).encode()


@pytest.fixture
def job():
    return make_job(bike=make_bike(engine_spec=make_engine(rev_limit_rpm=11_500)))


@pytest.fixture
def take(staff, job):
    def attach(data: bytes, name: str = "a.csv", **details: Any) -> Any:
        return attach_sweep(job, staff[Role.TUNER], data, name=name, **details)

    return attach


@pytest.mark.parametrize(
    ("other", "sentence"),
    [
        (
            {"top_rpm": 14_000},
            "the rev limit of this bike is 11 500. Check whether the file is from another bike.",
        ),
        ({"peak_kw": 150}, "Power reaches 149"),
        ({"peak_kw": 20}, "Check whether the file is from another bike or in another unit."),
        ({"rpm_per_kmh": 60}, "in gear 4 of this bike it is 80.0. Check the gear and the bike."),
    ],
)
def test_a_file_of_another_bike_is_questioned_and_read_after_a_nod(take, login, other, sentence) -> None:
    assert take(sweep(), gear=4).run.status == Run.Status.READ
    result = take(sweep(**other), "b.csv", gear=4)
    assert result.run.status == Run.Status.TO_NAME
    plain = result.sentence.replace("\u2009", " ").replace("\u202f", " ")
    assert sentence in plain
    client, url = login(Role.TUNER), reverse("run-layout", args=[result.run.pk])
    page = client.get(url)
    assert sentence in read_text(page).replace("\u2009", " ").replace("\u202f", " ")
    sent = read_form(page.content.decode(), "//form[.//select]")
    assert client.post(url, sent).status_code == 302
    result.run.refresh_from_db()
    assert result.run.status == Run.Status.READ


@pytest.mark.parametrize("other", [{"top_rpm": 12_000}, {"peak_kw": 80}, {"rpm_per_kmh": 84}])
def test_what_the_same_bike_may_do_is_not_questioned(take, other) -> None:
    take(sweep(), gear=4)
    assert take(sweep(**other), "b.csv", gear=4).run.status == Run.Status.READ


def test_first_file_of_a_bike_without_entries_is_not_questioned(staff) -> None:
    assert attach_sweep(make_job(), staff[Role.TUNER], sweep(14_000)).run.status == Run.Status.READ


def test_files_of_several_kinds_are_sent_together(login, job) -> None:
    idle = "\n".join([HEADER, *(f"{t:.2f},{1400 + 30 * np.sin(t):.0f},0.0,0.0,0.0" for t in TIME_S)])
    held = "\n".join(
        [HEADER, *(f"{t:.2f},{4000 + 600 * t:.0f},20.0,40.0,{50 + 7.5 * t:.2f}" for t in TIME_S)]
    )
    files = [
        SimpleUploadedFile("one.csv", sweep()),
        SimpleUploadedFile("two.csv", idle.encode()),
        SimpleUploadedFile("three gear 3.csv", held.encode()),
    ]
    client = login(Role.TUNER)
    url = reverse("run-attach", args=[job])
    data = {**read_form(client.get(url).content.decode(), "//form[.//select]"), "run_files": files}
    assert data["kind"] == ""
    page = read_text(client.get(client.post(url, data).url))
    assert dict(Run.objects.values_list("original_name", "kind")) == {
        "one.csv": "sweep",
        "two.csv": "idle",
        "three gear 3.csv": "held",
    }
    assert Run.objects.get(kind="held").gear == 3
    assert "Imported as held-throttle run at 40 % grip, gear 3. Edit the run if that is wrong." in page
    listed = read_text(client.get(reverse("runs", args=[job]), {"kind": "all"}))
    assert ", 40 % grip three gear 3.csv" in listed


def test_kind_of_a_file_to_be_named_is_proposed_on_its_page(take, login) -> None:
    rows = "".join(f"{t:.2f};{1400 + 30 * np.sin(t):.0f};0.0\n" for t in TIME_S)
    run = take(f"K;A;B\n{rows}".encode(), "x.csv", kind="").run
    assert run.status == Run.Status.TO_NAME
    client, url = login(Role.TUNER), reverse("run-layout", args=[run.pk])
    named = {
        "column-0-channel": "time_s",
        "column-0-unit": "s",
        "column-1-channel": "engine_speed_rpm",
        "column-1-unit": "rpm",
        "column-2-channel": "grip_pct",
        "column-2-unit": "pct",
        "name": "logger",
    }
    page = client.get(url)
    sent = read_form(page.content.decode(), "//form[.//select]")
    looked = client.post(url, {**sent, **named, "look": "1"})
    assert "as its columns show: idle" in read_text(looked)
    shown = read_form(looked.content.decode(), "//form[.//select]")
    assert client.post(url, {**shown, "gear": "2"}).status_code == 302
    run.refresh_from_db()
    assert (run.kind, run.gear) == ("idle", 2)


def test_kind_chosen_by_a_person_stays(take) -> None:
    assert take(sweep_csv(), "idle.csv", kind="other").run.kind == "other"
