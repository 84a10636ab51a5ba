"""Air that a file states is offered as that of its run, and only stored if someone takes it."""

import pytest
from django.urls import reverse

from jobs.models import Run
from tests.factories import make_job
from tests.html import read_form, read_text
from tests.jobs.run_files import attach_sweep, sweep_csv
from workshop.models import Role

pytestmark = pytest.mark.django_db

OFFER = "24.5\u00a0°C, 99.8\u00a0kPa, 41 % humidity"


def with_air(humidity: float = 41) -> bytes:
    header, *lines = sweep_csv().decode().splitlines()
    names = "Ambient temperature (°C),Barometric pressure (kPa),Relative humidity (%)"
    return "\n".join([f"{header},{names}", *(f"{line},24.5,99.8,{humidity}" for line in lines)]).encode()


@pytest.fixture
def run(staff) -> Run:
    result = attach_sweep(make_job(), staff[Role.TUNER], with_air())
    assert f"The file states its air: {OFFER}." in result.sentence
    return result.run


def read_edit(client, run) -> dict[str, str]:
    return read_form(client.get(reverse("run-edit", args=[run.pk])).content.decode(), "//form[.//select]")


def read_air(run) -> tuple[float | None, ...]:
    run.refresh_from_db()
    return run.temperature_c, run.pressure_kpa, run.humidity_pct


def test_air_is_offered_and_not_stored(run, login) -> None:
    client, url = login(Role.TUNER), reverse("run-edit", args=[run.pk])
    assert f"The file states {OFFER}" in client.get(reverse("run", args=[run.pk])).text
    assert f"Use the air in the file: {OFFER}" in client.get(url).text
    assert client.post(url, {**read_edit(client, run), "note": "windy"}).status_code == 302
    assert read_air(run) == (None, None, None)


def test_air_taken_from_the_file_is_that_of_the_run(run, login) -> None:
    client, url = login(Role.TUNER), reverse("run-edit", args=[run.pk])
    assert client.post(url, {**read_edit(client, run), "use_file_air": "on"}).status_code == 302
    assert read_air(run) == (24.5, 99.8, 41.0)
    assert "Use the air in the file" not in read_text(client.get(url))


def test_typed_values_take_precedence_over_the_file(run, login) -> None:
    client, url = login(Role.TUNER), reverse("run-edit", args=[run.pk])
    sent = {**read_edit(client, run), "use_file_air": "on", "temperature_c": "21"}
    assert client.post(url, sent).status_code == 302
    assert read_air(run) == (21.0, 99.8, 41.0)


def test_impossible_air_is_not_offered(staff) -> None:
    result = attach_sweep(make_job(), staff[Role.TUNER], with_air(humidity=130))
    assert "states its air" not in result.sentence


def test_air_entered_at_the_upload_stays(staff) -> None:
    air = {"temperature_c": 20.0, "pressure_kpa": 100.0, "humidity_pct": 40.0}
    result = attach_sweep(make_job(), staff[Role.TUNER], with_air(), **air)
    assert "states its air" not in result.sentence
    assert read_air(result.run) == (20.0, 100.0, 40.0)
