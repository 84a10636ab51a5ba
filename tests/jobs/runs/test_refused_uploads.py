"""Files of a refused upload are stored for the next try, without a script."""

from datetime import timedelta

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from jobs.models import Run
from jobs.runs.refused_uploads import FOLDER, RefusedUpload, discard_old_uploads
from tests.factories import make_job
from tests.html import read_form, read_text
from tests.jobs.run_files import sweep_csv
from workshop.background.abandoned import take_up_steps
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def url(staff) -> str:
    return reverse("run-attach", args=[make_job()])


def send_files(client, url: str, *names: str, **changed: object):
    files = [SimpleUploadedFile(name, sweep_csv(salt=salt)) for salt, name in enumerate(names)]
    form = read_form(client.get(url).content.decode(), "//form[.//select]")
    return client.post(url, {**form, "run_files": files, "temperature_c": "20", **changed})


def read_again(answer) -> dict[str, object]:
    form: dict[str, object] = dict(read_form(answer.content.decode(), "//form[.//select]"))
    form["stored_file"] = list(answer.context["refused"].names)
    return form


def stored_folders() -> list[str]:
    try:
        people = default_storage.listdir(FOLDER)[0]
    except FileNotFoundError:
        return []
    return [folder for person in people for folder in default_storage.listdir(f"{FOLDER}/{person}")[0]]


def test_only_the_answers_are_missing_on_the_second_try(login, url) -> None:
    client = login(Role.TUNER)
    refused = send_files(client, url, "Ölfleck 1.csv", "b.csv")
    assert refused.status_code == 422
    text = read_text(refused)
    assert "Ölfleck 1.csv" in text
    assert "b.csv" in text
    assert not Run.objects.exists()

    air = {"pressure_kpa": "1010 hPa", "humidity_pct": "40"}
    assert client.post(url, {**read_again(refused), **air}).status_code == 302
    assert set(Run.objects.values_list("original_name", "pressure_kpa")) == {
        ("Ölfleck 1.csv", 101.0),
        ("b.csv", 101.0),
    }
    assert stored_folders() == []


def test_a_file_can_be_left_out_and_another_added(login, url) -> None:
    client = login(Role.TUNER)
    again = read_again(send_files(client, url, "a.csv", "b.csv"))
    sent = {**again, "stored_file": ["1"], "temperature_c": ""}
    sent["run_files"] = [SimpleUploadedFile("c.csv", sweep_csv(salt=9))]
    assert client.post(url, sent).status_code == 302
    assert set(Run.objects.values_list("original_name", flat=True)) == {"b.csv", "c.csv"}


def test_another_person_cannot_use_the_files(login, url) -> None:
    again = read_again(send_files(login(Role.TUNER), url, "a.csv"))
    answer = login(Role.OWNER).post(url, {**again, "temperature_c": ""})
    assert answer.status_code == 422
    assert "Choose at least one file." in read_text(answer)
    assert not Run.objects.exists()


def test_files_are_deleted_after_the_stated_time(login, url) -> None:
    assert discard_old_uploads in take_up_steps
    client = login(Role.TUNER)
    refused = send_files(client, url, "a.csv")
    assert "stored for 45 minutes" in read_text(refused)
    discard_old_uploads(timezone.now() + timedelta(minutes=44))
    assert len(stored_folders()) == 1
    discard_old_uploads(timezone.now() + timedelta(minutes=46))
    assert stored_folders() == []
    answer = client.post(url, {**read_again(refused), "temperature_c": ""})
    assert "Choose at least one file." in read_text(answer)


def test_files_beyond_the_size_limit_are_not_stored(login, url, settings) -> None:
    settings.RUN_FILE_LIMIT = int(1.5 * len(sweep_csv()))
    answer = send_files(login(Role.TUNER), url, "a.csv", "b.csv")
    assert list(answer.context["refused"].names.values()) == ["a.csv"]


def test_a_key_that_is_none_is_a_new_one() -> None:
    assert RefusedUpload.parse(1, "../../x").names == {}
