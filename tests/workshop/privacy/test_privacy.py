"""Two entries taken together; all that is held given out; the name erased and the work kept."""

import io
import json
import zipfile

import pytest
from django.apps import apps
from django.core.files.base import ContentFile
from django.db import models
from django.urls import reverse

from jobs.models import Job, Part, Photo
from tests.factories import make_bike, make_clearance_set, make_customer, make_job
from workshop.models import Bike, Customer, Role

pytestmark = pytest.mark.django_db


def test_two_entries_become_one_with_all_bikes_and_jobs(login) -> None:
    keep = make_customer(name="Ines Quill", phone="", email="ines@example.org")
    other = make_customer(name="I. Quill", phone="+00 555 0101", email="", riding_mass_kg=71.0)
    job = make_job(bike=make_bike(owner=other))
    answer = login(Role.DESK).post(reverse("customer-merge", args=[keep.pk]), {"other": str(other.pk)})
    assert answer.status_code == 302
    keep.refresh_from_db()
    job.refresh_from_db()
    assert not Customer.objects.filter(pk=other.pk).exists()
    assert job.customer == job.bike.owner == keep
    assert (keep.phone, keep.email, keep.riding_mass_kg) == ("+00 555 0101", "ines@example.org", 71.0)
    assert "I. Quill" in keep.note
    assert job.history.first().history_user.username == "desk"


def test_the_likely_other_entry_is_offered(login) -> None:
    keep = make_customer(name="Ines Quill", phone="+00 555 0101", email="")
    make_customer(name="Ines Quil-Venn", phone="+00 555 0101", email="")
    make_customer(name="Somebody Else", phone="+00 555 0999", email="")
    client = login(Role.DESK)
    page = client.get(reverse("customer-merge", args=[keep.pk])).text
    assert "Ines Quil-Venn" in page
    assert "Somebody Else" not in page
    assert "Somebody Else" in client.get(reverse("customer-merge", args=[keep.pk]), {"q": "else"}).text


@pytest.mark.parametrize("other", ["", "0", "x", "itself", "9" * 5000])
def test_without_another_entry_nothing_is_merged(login, other: str) -> None:
    keep = make_customer()
    sent = {"other": str(keep.pk) if other == "itself" else other}
    answer = login(Role.DESK).post(reverse("customer-merge", args=[keep.pk]), sent)
    assert answer.status_code == 422
    assert Customer.objects.count() == 1


def whole_job(staff) -> Job:
    """A job that holds its customer's name in many places, handed over."""
    job = make_job(
        brief="Quill wants it smooth. Call +00 555 0101.", stage="handed_over", signed_by="Ines Quill"
    )
    make_clearance_set(job, staff[Role.MECHANIC])
    Part.objects.create(job=job, name="Seat for Ines Quill")
    photo = Photo(job=job, by=staff[Role.DESK], original_name="dent.jpg")
    photo.image.save("dent.jpg", ContentFile(b"a picture"))
    return job


def exported(client, customer: Customer) -> tuple[dict, dict[str, bytes]]:
    answer = client.get(reverse("customer-export", args=[customer.pk]))
    archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    files = {name: archive.read(name) for name in archive.namelist() if name != "records.json"}
    return json.loads(archive.read("records.json")), files


def test_all_that_is_held_is_given_out(login, staff) -> None:
    job = whole_job(staff)
    other_job = make_job(bike=make_bike(owner=make_customer(name="Bo Tarn"), plate="X 1"))
    records, files = exported(login(Role.DESK), job.customer)
    assert records["workshop.customer"][0]["name"] == "Ines Quill"
    assert records["workshop.bike"][0]["plate"] == "DEMO 22"
    assert [each["number"] for each in records["jobs.job"]] == [job.number] != [other_job.number]
    assert len(records["jobs.clearancereading"]) == 12
    assert list(files.values()) == [b"a picture"]
    assert "Bo Tarn" not in json.dumps(records)


def test_a_later_owner_of_the_bike_is_not_given_the_earlier_ones_jobs(login, staff) -> None:
    job = whole_job(staff)
    bike = job.bike
    bike.owner = make_customer(name="Bo Tarn")
    bike.save()
    records, _ = exported(login(Role.DESK), bike.owner)
    assert "jobs.job" not in records
    assert "Quill" not in json.dumps(records)


def everything_stored() -> str:
    """Every text of every row of every table, histories included, but the issued sheets."""
    texts = []
    for model in apps.get_models():
        if model._meta.app_label in ("workshop", "jobs", "reports") and "sheet" not in model._meta.model_name:
            names = [
                each.attname
                for each in model._meta.concrete_fields
                if isinstance(each, models.CharField | models.TextField | models.JSONField)
            ]
            texts += [str(row) for row in model._base_manager.values_list(*names)]
    return "\n".join(texts)


def test_the_name_is_nowhere_and_the_work_is_still_there(login, staff) -> None:
    job = whole_job(staff)
    customer, readings = job.customer, job.clearance_sets.get().readings.count()
    customer.note = "Prefers mornings"
    customer.save()
    assert "Quill" in everything_stored()
    answer = login(Role.OWNER).post(reverse("customer-erase", args=[customer.pk]), {"name": "Ines Quill"})
    assert answer.status_code == 302
    left = everything_stored()
    for personal in ("quill", "0101", "ines@", "demo 22", "demo22", "prefers mornings"):
        assert personal not in left.lower()
    job = Job.objects.get()
    assert str(job.customer) == f"Erased customer {customer.pk}"
    assert job.clearance_sets.get().readings.count() == readings == 12
    with job.photos.get().image.open() as picture:
        assert picture.read() == b"a picture"
    assert "wants it smooth" in job.brief
    assert Bike.objects.get().make == "Pellorin"


def test_an_open_job_still_needs_the_name(login) -> None:
    job = make_job()
    client = login(Role.OWNER)
    url = reverse("customer-erase", args=[job.customer.pk])
    assert f"Open jobs still need the name: {job}" in client.get(url).text
    assert client.post(url, {"name": "Ines Quill"}).status_code == 422
    assert Customer.objects.get().name == "Ines Quill"


def test_what_stays_and_why_is_said_and_the_name_is_asked_for(login) -> None:
    customer = make_customer()
    client = login(Role.OWNER)
    url = reverse("customer-erase", args=[customer.pk])
    assert "What stays, and why" in client.get(url).text
    answer = client.post(url, {"name": "Ines"})
    assert answer.status_code == 422
    assert "Type the name as it stands here: Ines Quill" in answer.text
    assert login(Role.DESK).post(url, {"name": "Ines Quill"}).status_code == 403
