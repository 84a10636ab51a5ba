"""Customers and bikes known already: found in any spelling, shown while typing and asked about when sent."""

from typing import Any

import pytest
from django.urls import reverse

from jobs.models import Job
from tests.factories import make_bike, make_customer, make_job
from tests.html import by_id, find
from workshop.customers.duplicates import find_known_bikes, find_known_customers, is_same_phone
from workshop.models import Bike, Customer, Role

pytestmark = pytest.mark.django_db

WORK = {"work-TOTAL_FORMS": "4", "work-INITIAL_FORMS": "0"}
NEW = {"bike-make": "Pellorin", "bike-model": "Tern 660", "customer-name": "Jorun Vail"}


# The spellings of one invented number in the range 020 7946 0000 to 0999, which Ofcom keeps for drama.
@pytest.mark.parametrize(
    "other",
    [
        "020 7946 0018",
        "+44 20 7946 0018",
        "+44 (0)20 7946 0018",
        "0044-20-7946-0018",
        "7946 0018",
        "02079460018",
    ],
)
def test_phone_is_the_same_in_any_spelling(other: str) -> None:
    assert is_same_phone("+44 20 7946 0018", other)
    customer = make_customer(name="Ines Quill", phone=other, email="")
    for typed in ("+44 20 7946 0018", "(020) 79460018", other):
        assert [known.customer for known in find_known_customers(phone=typed)] == [customer]


@pytest.mark.parametrize("other", ["020 7946 0019", "+44 20 7946 001", "0018", "", "+44 121 7946 0018"])
def test_other_phone_is_another(other: str) -> None:
    assert not is_same_phone("+44 20 7946 0018", other)


def test_customer_is_known_by_email_and_name_in_other_capitals_and_order() -> None:
    customer = make_customer(name="Derya Özer", phone="", email="Derya@Example.org")
    assert [known.same for known in find_known_customers(email="derya@example.ORG")] == ["e-mail"]
    assert [known.same for known in find_known_customers(name="OZER,  Derya")] == ["name"]
    assert find_known_customers(name="Derya") == find_known_customers(email="derya@example.com") == []
    assert find_known_customers(name="Derya Özer", besides=customer) == []


def test_customer_with_more_in_common_comes_first() -> None:
    make_customer(name="Ines Quill", phone="", email="other@example.org")
    both = make_customer(name="Ines Quill", phone="+00 555 0101", email="")
    found = find_known_customers(name="Ines Quill", phone="+00 555 0101")

    assert [known.same for known in found] == ["phone and name", "name"]
    assert found[0].customer == both


@pytest.mark.parametrize("typed", ["DEMO 22", "demo22", "De-Mo 22"])
def test_bike_is_known_by_its_plate_in_any_spelling(typed: str) -> None:
    bike = make_bike(plate="DEMO 22")
    make_bike(plate="DEMO 221", owner=bike.owner)
    assert [known.bike for known in find_known_bikes(typed)] == [bike]


def test_search_for_known_entries_takes_few_queries(django_assert_max_num_queries: Any) -> None:
    for number in range(30):
        make_customer(name=f"Ines Quill {number}", phone=f"+00 555 {number:04}", email="")
    with django_assert_max_num_queries(4):
        find_known_customers(name="Ines Quill 3", phone="+00 555 0007", email="ines@example.org")
    with django_assert_max_num_queries(2):
        find_known_bikes("DEMO 22")


def book(client: Any, **fields: str) -> Any:
    sent = {"job-brief": "Valves", "job-intended_use": "road", **WORK, **NEW, **fields}
    return client.post(reverse("job-book"), sent)


def test_booking_a_known_plate_shows_the_bike_with_its_last_job(login: Any) -> None:
    earlier = make_job(bike=make_bike(plate="DEMO 22"), brief="Stutters at half throttle")
    asked = book(login(Role.DESK), **{"bike-plate": "demo-22"})
    assert (asked.status_code, Job.objects.count()) == (422, 1)
    known = by_id(asked, f"known-bike-{earlier.bike_id}").getparent().text_content()
    assert "DEMO 22, of Ines Quill (same plate)" in known
    assert f"Last visit: {earlier}, booked: Stutters at half throttle" in known
    assert 'value="demo-22"' in asked.text
    assert 'value="Jorun Vail"' in asked.text


def test_known_bike_is_taken_with_one_choice(login: Any) -> None:
    bike = make_bike(plate="DEMO 22")
    assert book(login(Role.DESK), **{"bike-plate": "DEMO22", "known": f"bike-{bike.pk}"}).status_code == 302
    job = Job.objects.get()
    assert (job.bike, job.customer) == (bike, bike.owner)
    assert (Bike.objects.count(), Customer.objects.count()) == (1, 1)


def test_known_customer_is_taken_for_the_new_bike(login: Any) -> None:
    known = make_customer(name="Jorun Vail", phone="020 7946 0018", email="")
    typed = {"customer-phone": "+44 20 7946 0018", "bike-plate": "DEMO 5"}
    asked = book(login(Role.DESK), **typed)
    assert "(same phone and name)" in asked.text
    assert "No earlier jobs." in asked.text
    assert book(login(Role.DESK), **typed, known=f"customer-{known.pk}").status_code == 302
    assert (Customer.objects.get(), Bike.objects.get().owner) == (known, known)


def test_another_person_of_the_same_name_is_booked_when_confirmed(login: Any) -> None:
    make_customer(name="Jorun Vail", phone="020 7946 0018", email="")
    assert book(login(Role.DESK)).status_code == 422
    assert book(login(Role.DESK), known="new").status_code == 302
    assert Customer.objects.filter(name="Jorun Vail").count() == 2


@pytest.mark.parametrize("answer", ["bike-999999", "bike-x", "customer-", "nonsense", "customer-٣"])
def test_invalid_answer_takes_nobody(login: Any, answer: str) -> None:
    make_customer(name="Jorun Vail")
    assert book(login(Role.DESK), known=answer).status_code == 422
    assert not Job.objects.exists()


def test_known_entries_are_shown_while_typing(login: Any) -> None:
    bike = make_bike(plate="DEMO 22")
    desk = login(Role.DESK)
    given = {"bike-plate": "demo22", "customer-phone": "00-555-0101", "known": f"bike-{bike.pk}"}
    page = desk.get(reverse("known-entries"), given).text
    assert f'value="bike-{bike.pk}" id="known-bike-{bike.pk}" checked' in page
    assert f'value="customer-{bike.owner_id}"' in page
    plain = desk.get(reverse("known-entries"), {"name": "ines quill", "phone": "", "email": ""}).text
    assert reverse("customer", args=[bike.owner_id]) in plain
    assert "radio" not in plain
    assert desk.get(reverse("known-entries"), {"name": "Somebody"}).text.strip() == ""


def test_new_customer_who_seems_known_is_asked_about(login: Any) -> None:
    known = make_customer(name="Ines Quill", phone="020 7946 0018", email="")
    desk, sent = login(Role.DESK), {"name": "I. Quill", "phone": "+44 (0)20 7946 0018", "language": "en"}
    asked = desk.post(reverse("customer-new"), sent)
    assert asked.status_code == 422
    assert reverse("customer", args=[known.pk]) in asked.text
    assert "This is another person" in asked.text
    assert desk.post(reverse("customer-new"), {**sent, "known_anyway": "on"}).status_code == 302
    assert Customer.objects.count() == 2


def test_new_bike_with_a_known_plate_is_asked_about(login: Any) -> None:
    bike = make_bike(plate="DEMO 22")
    sent = {"owner": str(bike.owner_id), "make": "Pellorin", "model": "Tern 660", "plate": "demo22"}
    asked = login(Role.DESK).post(reverse("bike-new"), sent)
    assert asked.status_code == 422
    assert reverse("bike", args=[bike.pk]) in asked.text
    assert login(Role.DESK).post(reverse("bike-new"), {**sent, "known_anyway": "on"}).status_code == 302


def test_customers_of_one_name_can_be_told_apart(login: Any) -> None:
    make_bike(plate="DEMO 22", owner=make_customer(name="Bo Lind", phone="", email=""))
    make_customer(name="Bo Lind", phone="020 7946 0018", email="")
    plain = make_customer(name="Bo Lind", phone="", email="")
    entered = f"entered {plain.created_at:%-d %b %Y}"
    desk = login(Role.DESK)
    pages = (
        desk.get(reverse("search"), {"q": "lind"}).text,
        desk.get(reverse("customer-list"), {"q": "lind"}).text,
        desk.get(reverse("customer-choices"), {"whose-text": "lind"}).text,
    )
    for page in pages:
        assert "DEMO 22" in page
        assert "020 7946 0018" in page
        assert page.count(entered) == 1


def test_lone_candidate_of_a_merge_is_preselected(login: Any) -> None:
    keep = make_customer(name="Ines Quill", phone="020 7946 0018", email="")
    other = make_customer(name="Quill family", phone="+44 20 7946 0018", email="")
    url, desk = reverse("customer-merge", args=[keep.pk]), login(Role.DESK)
    assert by_id(desk.get(url), f"other-{other.pk}").get("checked") is not None
    make_customer(name="Ines Quill", phone="", email="")
    assert find(desk.get(url), "//input[@name='other'][@checked]") == []
