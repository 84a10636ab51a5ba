"""A file without a time of its own that comes after the job's slots: its time is asked."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from jobs.models import Run, Slot
from tests.factories import get_workstation, make_job
from tests.html import read_form, read_text
from tests.jobs.run_files import sweep_csv
from workshop.models import Role

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture
def job(staff):
    return make_job()


def add_slot(job, ended: timedelta) -> None:
    end = timezone.now().replace(minute=0, second=0, microsecond=0) - ended
    place = get_workstation("dyno")
    Slot.objects.create(job=job, place=place, starts_at=end - 2 * HOUR, ends_at=end)


def upload(client, job, data: bytes, **changed: str):
    url = reverse("run-attach", args=[job])
    form = read_form(client.get(url).content.decode(), "//form[.//select]")
    return client.post(url, {**form, "run_files": SimpleUploadedFile("a.csv", data), **changed})


def test_time_of_a_late_file_is_asked(job, login) -> None:
    add_slot(job, ended=30 * HOUR)
    client = login(Role.TUNER)
    asked = upload(client, job, sweep_csv())
    assert asked.status_code == 422
    assert "a.csv states no time, and this job has no slot now. Enter when it was made." in read_text(asked)
    assert not Run.objects.exists()
    made_at = timezone.localtime(timezone.now() - 31 * HOUR).replace(second=0, microsecond=0)
    sent = {"made_at": made_at.strftime("%Y-%m-%dT%H:%M")}
    assert upload(client, job, sweep_csv(), **sent).status_code == 302
    assert Run.objects.get().made_at == made_at


@pytest.mark.parametrize("ended", [None, -HOUR, HOUR])
def test_file_gets_the_upload_time_during_the_work(job, login, ended) -> None:
    if ended is not None:
        add_slot(job, ended=ended)
    assert upload(login(Role.TUNER), job, sweep_csv()).status_code == 302
    assert timezone.now() - Run.objects.get().made_at < HOUR


def test_late_file_with_its_own_time_is_not_asked_about(job, login) -> None:
    add_slot(job, ended=30 * HOUR)
    data = b"Recorded: 2024-07-05 14:03:22\n" + sweep_csv()
    assert upload(login(Role.TUNER), job, data).status_code == 302
    assert f"{timezone.localtime(Run.objects.get().made_at):%Y-%m-%d}" == "2024-07-05"
