"""Export of a customer's personal data: their records and files, and no one else's."""

import io
import json
import zipfile

import pytest
from django.urls import reverse

from tests.factories import make_bike, make_customer, make_job
from tests.workshop.privacy.records import make_named_job
from workshop.models import Customer, Role

pytestmark = pytest.mark.django_db


def exported(client, customer: Customer) -> tuple[dict, dict[str, bytes]]:
    answer = client.get(reverse("customer-export", args=[customer.pk]))
    archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    files = {name: archive.read(name) for name in archive.namelist() if name != "records.json"}
    return json.loads(archive.read("records.json")), files


def test_export_holds_the_customers_records_and_files(login, staff) -> None:
    job = make_named_job(staff)
    other_job = make_job(bike=make_bike(owner=make_customer(name="Bo Tarn"), plate="X 1"))
    records, files = exported(login(Role.DESK), job.customer)
    assert records["workshop.customer"][0]["name"] == "Ines Quill"
    assert records["workshop.bike"][0]["plate"] == "DEMO 22"
    assert [each["number"] for each in records["jobs.job"]] == [job.number] != [other_job.number]
    assert len(records["jobs.clearancereading"]) == 12
    assert list(files.values()) == [b"a picture"]
    assert "Bo Tarn" not in json.dumps(records)


def test_export_for_a_later_owner_leaves_out_the_earlier_owners_jobs(login, staff) -> None:
    job = make_named_job(staff)
    bike = job.bike
    bike.owner = make_customer(name="Bo Tarn")
    bike.save()
    records, _ = exported(login(Role.DESK), bike.owner)
    assert "jobs.job" not in records
    assert "Quill" not in json.dumps(records)
