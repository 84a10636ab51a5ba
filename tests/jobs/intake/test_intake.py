"""Check-in of a bike: condition, odometer, fuel, keys, photos."""

import uuid

import pytest
from django.contrib.messages import get_messages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from jobs.models import Job, StageEntry
from tests.factories import make_job
from tests.jobs.images import jpeg
from workshop.models import Role

pytestmark = pytest.mark.django_db


def receive(client, job: Job, **data):
    values = {"condition": "scratch on the tank", "fuel": "half", "keys": "2", "version": job.version}
    return client.post(reverse("job-receive", args=[job]), {**values, **data})


def test_check_in_saves_readings_and_photos(login, staff) -> None:
    job = make_job()
    response = receive(
        login(Role.DESK),
        job,
        odometer_km="18 240",
        engine_hours="310,5",
        photos=[jpeg("left.jpg"), jpeg("right.jpg")],
    )
    job.refresh_from_db()
    assert response.status_code == 302
    assert (job.stage, job.odometer_km, job.engine_hours) == ("received", 18240, 310.5)
    assert job.received_at is not None
    entry = StageEntry.objects.get()
    assert (entry.stage, entry.by) == ("received", staff[Role.DESK])
    assert [photo.original_name for photo in job.photos.all()] == ["left.jpg", "right.jpg"]


def test_odometer_is_entered_in_the_unit_of_the_shop(login, shop) -> None:
    shop.distance_unit = "mi"
    shop.save()
    job = make_job()
    client = login(Role.DESK)
    assert "odometer (mi)" in client.get(reverse("job-receive", args=[job])).content.decode().lower()
    receive(client, job, odometer_km="10000")
    job.refresh_from_db()
    # a mile is 1.609344 km exactly
    assert job.odometer_km == pytest.approx(16093.44, abs=1e-6)
    assert (
        "10\N{NARROW NO-BREAK SPACE}000"
        in client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    )


def test_odometer_below_last_reading_needs_confirmation(login) -> None:
    earlier = make_job(odometer_km=20_000)
    job = make_job(bike=earlier.bike)
    client = login(Role.DESK)
    refused = receive(client, job, odometer_km="2000")
    page = refused.content.decode().replace("\N{NO-BREAK SPACE}", " ")
    assert refused.status_code == 422
    assert (
        f"2000 km is less than the 20\N{NARROW NO-BREAK SPACE}000 km recorded on job {earlier}. "
        "Is that correct?" in page
    )
    assert 'name="meters_confirmed"' in page
    assert "scratch on the tank" in page
    job.refresh_from_db()
    assert job.stage == "booked"
    assert receive(client, job, odometer_km="2000", meters_confirmed="on").status_code == 302


def test_engine_hours_below_last_reading_need_confirmation(login) -> None:
    earlier = make_job(engine_hours=120.5)
    client = login(Role.DESK)
    job = make_job(bike=earlier.bike)
    refused = receive(client, job, engine_hours="20,5")
    page = refused.content.decode().replace("\N{NO-BREAK SPACE}", " ")
    assert refused.status_code == 422
    assert f"20.5 h is less than the 120.5 h recorded on job {earlier}. Is that correct?" in page
    assert receive(client, job, engine_hours="20,5", meters_confirmed="on").status_code == 302
    assert receive(client, make_job(bike=earlier.bike), engine_hours="3020").status_code == 422
    assert receive(client, make_job(bike=earlier.bike), engine_hours="131").status_code == 302


def test_odometer_far_above_last_reading_needs_confirmation(login) -> None:
    earlier = make_job(odometer_km=20_000)
    job = make_job(bike=earlier.bike)
    assert receive(login(Role.DESK), job, odometer_km="201000").status_code == 422


def test_odometer_above_last_reading_is_accepted(login) -> None:
    earlier = make_job(odometer_km=20_000)
    job = make_job(bike=earlier.bike)
    assert receive(login(Role.DESK), job, odometer_km="21500").status_code == 302


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("twelve", "“twelve” is not a number."),
        ("-5", "Enter a value from 0 to 2000000 km."),
        ("3000000", "Enter a value from 0 to 2000000 km."),
        ("nan", "“nan” is not a number."),
    ],
)
def test_impossible_odometer_shows_error_at_the_field_and_is_preserved(login, typed, sentence) -> None:
    job = make_job()
    response = receive(login(Role.DESK), job, odometer_km=typed)
    page = response.content.decode()
    assert response.status_code == 422
    assert sentence in page
    assert f'value="{typed}"' in page


def test_invalid_photo_is_named_and_the_good_ones_are_kept(login) -> None:
    job = make_job()
    bad = SimpleUploadedFile("notes.jpg", b"not an image at all", "image/jpeg")
    response = receive(login(Role.DESK), job, photos=[jpeg("good.jpg"), bad])
    sentences = [str(message) for message in get_messages(response.wsgi_request)]
    assert response.status_code == 302
    assert "Not saved: “notes.jpg” is not an image we can read. Use a JPEG, PNG or WebP file." in sentences
    job.refresh_from_db()
    assert (job.stage, job.condition) == ("received", "scratch on the tank")
    assert [photo.original_name for photo in job.photos.all()] == ["good.jpg"]


def test_photos_without_script_are_to_be_chosen_again_after_an_error(login) -> None:
    job = make_job()
    response = receive(login(Role.DESK), job, keys="many", photos=[jpeg("good.jpg")])
    assert response.status_code == 422
    assert "Choose the photos again" in response.text
    assert not job.photos.exists()


def test_edit_conflict_names_the_other_user(login, staff) -> None:
    job = make_job()
    client = login(Role.DESK)
    seen = job.version
    login(Role.OWNER).post(
        reverse("job-receive", args=[job]), {"condition": "dent in the exhaust", "version": seen}
    )
    response = receive(client, job, version=seen)
    page = response.content.decode()
    assert response.status_code == 422
    assert "Ola Owner" in page
    assert "dent in the exhaust" in page
    assert "scratch on the tank" in page


def test_check_in_can_be_corrected_without_changing_the_stage(login) -> None:
    job = make_job()
    client = login(Role.DESK)
    receive(client, job)
    job.refresh_from_db()
    client.post(reverse("job-stage", args=[job]), {"stage": "bench"})
    job.refresh_from_db()
    receive(client, job, condition="scratch on tank and tail")
    job.refresh_from_db()
    assert (job.stage, job.condition) == ("bench", "scratch on tank and tail")
    assert StageEntry.objects.count() == 2


def test_repeated_submission_checks_in_once(login) -> None:
    job = make_job()
    client = login(Role.DESK)
    key = str(uuid.uuid4())
    for _ in range(2):
        assert receive(client, job, form_key=key, photos=[jpeg("a.jpg")]).status_code == 302
    assert job.photos.count() == 1
    assert StageEntry.objects.count() == 1


def test_check_in_requires_login_desk_role_and_known_job(client, login) -> None:
    url = reverse("job-receive", args=[make_job()])
    assert client.get(url).status_code == 302
    assert login(Role.MECHANIC).get(url).status_code == 403
    assert login(Role.DESK).get(reverse("job-receive", args=["2026-999"])).status_code == 404
