"""Names of runs: proposed, typed, and shown wherever a run is named."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from jobs.models import Run
from tests.factories import make_job
from tests.html import read_form, read_text
from tests.jobs.run_files import attach_sweep, sweep_csv
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(staff):
    return make_job()


def read_run_form(client, url) -> dict[str, str]:
    return read_form(client.get(url).content.decode(), "//form[.//select]")


def test_unnamed_run_shows_its_file_and_is_offered_a_name(job, staff, login) -> None:
    run = attach_sweep(job, staff[Role.TUNER], sweep_csv(), name="new map.csv", gear=4).run
    client, url = login(Role.TUNER), reverse("run-edit", args=[run.pk])
    assert "new map.csv" in read_text(client.get(reverse("runs", args=[job])))
    form = read_run_form(client, url)
    assert form["name"] == "Sweep, gear 4: new map"
    assert Run.objects.get().name == ""

    assert client.post(url, {**form, "name": "Second map"}).status_code == 302
    for page in (reverse("runs", args=[job]), reverse("comparison-new", args=[job]), run_page(run)):
        assert "Second map" in read_text(client.get(page))
    assert "new map.csv" in read_text(client.get(run_page(run)))
    curves = client.get(reverse("runs-csv", args=[job]), {"of": "figures"}).content.decode()
    assert '"Run 1, Second map",new map.csv' in curves


def run_page(run) -> str:
    return reverse("run", args=[run.pk])


def test_name_can_be_taken_away_again(job, staff, login) -> None:
    run = attach_sweep(job, staff[Role.TUNER], sweep_csv(), name="a.csv").run
    run.name = "Typed"
    run.save()
    client, url = login(Role.TUNER), reverse("run-edit", args=[run.pk])
    assert client.post(url, {**read_run_form(client, url), "name": ""}).status_code == 302
    assert str(Run.objects.get()) == "a.csv"


def test_files_of_one_upload_are_numbered_under_the_name(job, login) -> None:
    client, url = login(Role.TUNER), reverse("run-attach", args=[job])
    files = [SimpleUploadedFile(f"{salt}.csv", sweep_csv(salt=salt)) for salt in range(3)]
    sent = {**read_run_form(client, url), "name": "Baseline", "run_files": files}
    assert client.post(url, sent).status_code == 302
    assert {run.original_name: str(run) for run in Run.objects.all()} == {
        "0.csv": "Baseline",
        "1.csv": "Baseline 2",
        "2.csv": "Baseline 3",
    }


def test_name_proposed_while_naming_columns_follows_what_they_show(job, staff, login) -> None:
    rows = "".join(f"{n / 10:.1f};{1400 + n % 7};0.0\n" for n in range(200))
    run = attach_sweep(job, staff[Role.TUNER], f"K;A;B\n{rows}".encode(), name="x.csv", kind="").run
    client, url = login(Role.TUNER), reverse("run-layout", args=[run.pk])
    named = {
        "column-0-channel": "time_s",
        "column-0-unit": "s",
        "column-1-channel": "engine_speed_rpm",
        "column-1-unit": "rpm",
        "column-2-channel": "grip_pct",
        "column-2-unit": "pct",
    }
    sent = {**read_run_form(client, url), **named}
    looked = client.post(url, {**sent, "look": "1"})
    shown = read_form(looked.content.decode(), "//form[.//select]")
    assert shown["run_name"] == "Idle: x"
    typed = client.post(url, {**shown, "run_name": "Cold idle", "look": "1"})
    assert read_form(typed.content.decode(), "//form[.//select]")["run_name"] == "Cold idle"
    assert client.post(url, shown).status_code == 302
    run.refresh_from_db()
    assert (run.kind, run.name) == ("idle", "Idle: x")
