"""Search across jobs, customers, phone numbers, plates and VINs."""

import pytest
from django.urls import reverse

from jobs.models import Wish
from tests.factories import make_bike, make_customer, make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def job():
    owner = make_customer(name="Zoë Åkerby", phone="+00 555 0199")
    return make_job(bike=make_bike(owner=owner, plate="DEMO 88", vin="PLR66T00000000042"))


def search(client, words: str) -> str:
    return client.get(reverse("search"), {"q": words}).content.decode()


@pytest.mark.parametrize("words", ["DEMO 88", "demo-88", "0042", "plr66t", "åkerby", "ÅKERBY", "Zoë", "tern"])
def test_search_finds_job_and_bike(login, job, words) -> None:
    page = search(login(Role.TUNER), words)
    assert job.get_absolute_url() in page
    assert reverse("bike", args=[job.bike_id]) in page


@pytest.mark.parametrize(
    "words", ["åkerby", "555 0199", "5550199", "+00 555 0199", "0555-0199", "0199", "demo88"]
)
def test_search_finds_the_customer(login, job, words) -> None:
    assert reverse("customer", args=[job.customer_id]) in search(login(Role.DESK), words)


@pytest.mark.parametrize("number", ["+00 555 0199", "555-0199", "0199"])
def test_phone_number_finds_the_job_and_the_bike_too(login, job, number) -> None:
    page = search(login(Role.TUNER), number)
    assert job.get_absolute_url() in page
    assert reverse("bike", args=[job.bike_id]) in page


def test_job_number_leads_to_the_job(login, job) -> None:
    response = login(Role.DESK).get(reverse("search"), {"q": f" {job.number} "})
    assert response.headers["Location"] == job.get_absolute_url()


def test_job_is_found_by_a_wish_as_it_reads_now(login, job) -> None:
    client = login(Role.DESK)
    wish = Wish.objects.create(job=job, text="Nothing happens until late")
    assert job.get_absolute_url() in search(client, "happens")
    wish.text = "Stalls when warm"
    wish.save()
    assert job.get_absolute_url() in search(client, "stalls")
    assert "No results." in search(client, "happens")
    wish.delete()
    assert "No results." in search(client, "stalls")


def test_search_requires_all_words(login, job) -> None:
    assert "No results." in search(login(Role.DESK), "åkerby zebra")


def test_empty_search_finds_nothing(login, job) -> None:
    page = search(login(Role.DESK), "  ")
    assert job.get_absolute_url() not in page


@pytest.mark.parametrize("words", ["%", "_", "'; drop", "x" * 3000, "<script>", "--", "/ / -"])
def test_search_text_is_escaped(login, job, words) -> None:
    response = login(Role.DESK).get(reverse("search"), {"q": words})
    assert response.status_code == 200
    assert "<script>" not in response.content.decode().split("<main")[1]


def test_search_requires_login(client, staff) -> None:
    assert client.get(reverse("search"), {"q": "demo"}).status_code == 302
