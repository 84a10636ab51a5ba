"""Booking: known and new bikes and customers; one submission, one job."""

import uuid
from datetime import UTC, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import Job, StageEntry, TuneRevision, WorkItem
from tests.factories import make_bike, make_customer, make_engine, make_job
from tests.html import find
from workshop.models import Bike, Customer, Role

pytestmark = pytest.mark.django_db

BLANK_WORK = {"work-TOTAL_FORMS": "4", "work-INITIAL_FORMS": "0"}
ASKED = {
    "job-brief": "Smoother pick-up from closed throttle",
    "job-intended_use": "road",
    **BLANK_WORK,
}


def book(client, **data: str):
    return client.post(reverse("job-book"), {**ASKED, **data})


def test_known_bike_is_booked_from_the_list(login, staff) -> None:
    bike = make_bike()
    response = book(login(Role.DESK), **{"which-chosen": str(bike.pk)})
    job = Job.objects.get()
    assert response.status_code == 302
    assert response.headers["Location"] == reverse("job", args=[job])
    assert (job.bike, job.customer, job.stage) == (bike, bike.owner, "booked")
    assert StageEntry.objects.get().by == staff[Role.DESK]


def test_booking_creates_the_tune_as_received(login, staff) -> None:
    bike = make_bike()
    book(login(Role.DESK), **{"which-chosen": str(bike.pk)})
    revision = TuneRevision.objects.get(job=Job.objects.get())
    assert (revision.number, revision.label) == (0, "as received")
    assert revision.loaded_by == staff[Role.DESK]


def test_known_bike_is_found_by_plate_without_space(login) -> None:
    bike = make_bike(plate="DEMO 22")
    make_bike(owner=bike.owner, plate="DEMO 31")
    assert book(login(Role.DESK), **{"which-text": "demo22"}).status_code == 302
    assert Job.objects.get().bike == bike


def test_several_matching_bikes_are_offered_and_input_preserved(login) -> None:
    bike = make_bike(plate="DEMO 22")
    make_bike(owner=bike.owner, plate="DEMO 31")
    response = book(login(Role.DESK), **{"which-text": "demo", "work-0-description": "Valves"})
    page = response.content.decode()
    assert response.status_code == 422
    assert "More than one bike matches “demo”. Choose one." in page
    assert "DEMO 22" in page
    assert "DEMO 31" in page
    assert "Smoother pick-up from closed throttle" in page
    assert 'value="Valves"' in page
    assert not Job.objects.exists()


def test_matching_bike_is_not_used_if_new_bike_was_chosen(login) -> None:
    make_bike(plate="DEMO 22")
    response = book(login(Role.DESK), **{"which-text": "demo 22", "which-chosen": ""})
    assert response.status_code == 422
    assert "Enter the new bike below, or choose an existing one here." in response.text
    assert 'id="which-chosen-new" checked' in response.text
    assert "<details open>" in response.text
    assert not Job.objects.exists()


def test_matching_customer_is_not_used_if_new_customer_was_chosen(login) -> None:
    make_customer(name="Ines Quill")
    response = book(login(Role.DESK), **NEW_BIKE, **{"whose-text": "quill", "whose-chosen": ""})
    assert response.status_code == 422
    assert "Enter the new customer below, or choose an existing one here." in response.text
    assert not Bike.objects.exists()


def test_bike_choice_shows_the_last_job(login) -> None:
    bike = make_bike(plate="DEMO 22")
    make_job(bike=bike, brief="Oil")
    last = make_job(bike=bike, brief="Valves and chain", odometer_km=24310.0, stage="handed_over")
    make_bike(owner=bike.owner, plate="DEMO 31")
    client = login(Role.DESK)
    typed = client.get(reverse("bike-choices"), {"which-text": "demo"}).text
    for page in (typed, client.get(reverse("job-book"), {"bike": bike.pk}).text):
        shown = " ".join(page.split()).replace("\N{NO-BREAK SPACE}", " ").replace("\N{THIN SPACE}", " ")
        assert f"Last visit: {last}, handed over, 24 310 km: Valves and chain" in shown
        assert "Oil" not in shown
    assert "No earlier jobs." in typed


def test_doubtful_vin_shows_a_hint_after_booking(login) -> None:
    # The check digit of 1M8GDM9AXKP042788 is its ninth character, X (49 CFR 565.15, from memory its example).
    right, wrong = "1M8GDM9AXKP042788", "1M8GDM9A1KP042788"
    client = login(Role.DESK)
    for vin, is_hinted in ((wrong, True), (right, False)):
        response = book(client, **NEW_BIKE, **NEW_CUSTOMER, **{"bike-vin": vin, "known": "new"})
        assert response.status_code == 302
        page = client.get(response.headers["Location"]).text
        assert (
            f"VIN {vin}: Check the VIN. On a North American bike the 9th character should be X" in page
        ) is is_hinted


def test_agreed_work_above_the_customer_limit_is_rejected(login) -> None:
    bike = make_bike()
    sent = {
        "which-chosen": str(bike.pk),
        "job-authorised_amount": "300",
        "work-0-description": "Valves",
        "work-0-price": "240,50",
        "work-1-description": "Synchronise",
        "work-1-price": "60",
    }
    response = book(login(Role.DESK), **sent)
    assert response.status_code == 422
    assert "The agreed work adds up to 300.50, 0.50 over the customer&#x27;s limit." in response.text
    assert 'value="240,50"' in response.text
    assert book(login(Role.DESK), **{**sent, "job-authorised_amount": "300,50"}).status_code == 302


def test_search_without_match_shows_error_at_the_field(login) -> None:
    response = book(login(Role.DESK), **{"which-text": "nobody"})
    assert response.status_code == 422
    assert "No bike found for “nobody”" in response.content.decode()


def test_booking_without_bike_is_rejected(login) -> None:
    response = book(login(Role.DESK))
    assert response.status_code == 422
    assert "Find a bike or enter a new one below." in response.content.decode()


NEW_BIKE = {"bike-make": "Ostler", "bike-model": "Kite 400", "bike-plate": "demo 77"}
NEW_CUSTOMER = {"customer-name": "Orla Venn", "customer-phone": "+00 555 0107"}


def test_booking_creates_new_customer_with_new_bike(login) -> None:
    engine = make_engine()
    response = book(
        login(Role.DESK),
        **NEW_BIKE,
        **NEW_CUSTOMER,
        **{"bike-engine_spec": str(engine.pk), "experience": "novice"},
    )
    assert response.status_code == 302
    job = Job.objects.select_related("bike__owner").get()
    assert (job.bike.make, job.bike.plate, job.bike.engine_spec) == ("Ostler", "DEMO 77", engine)
    assert (job.customer.name, job.customer.experience) == ("Orla Venn", "novice")
    assert job.bike.owner == job.customer


def test_booking_creates_new_bike_of_known_customer(login) -> None:
    customer = make_customer(name="Ines Quill")
    assert book(login(Role.DESK), **NEW_BIKE, **{"whose-text": "quill"}).status_code == 302
    assert Job.objects.get().bike.owner == customer
    assert Customer.objects.count() == 1


def test_new_bike_without_owner_is_rejected_and_input_preserved(login) -> None:
    response = book(login(Role.DESK), **NEW_BIKE)
    page = response.content.decode()
    assert response.status_code == 422
    assert "Find a customer or enter a new one below." in page
    assert 'value="Kite 400"' in page
    assert not Bike.objects.exists()


def test_new_customer_without_bike_is_rejected(login) -> None:
    bike = make_bike()
    response = book(login(Role.DESK), **NEW_CUSTOMER, **{"which-chosen": str(bike.pk)})
    assert response.status_code == 422
    assert "You entered a new customer without a bike" in response.content.decode()
    assert not Job.objects.exists()


def test_known_and_new_bike_at_once_are_rejected(login) -> None:
    bike = make_bike()
    response = book(login(Role.DESK), **NEW_BIKE, **NEW_CUSTOMER, **{"which-chosen": str(bike.pk)})
    assert response.status_code == 422
    assert "You chose an existing bike and also entered a new one below." in response.content.decode()


def test_agreed_work_accepts_prices_with_a_comma(login) -> None:
    bike = make_bike()
    rows = {"work-0-description": "Valve clearances", "work-0-price": "240,50", "work-2-description": "Sync"}
    book(login(Role.DESK), **rows, **{"which-chosen": str(bike.pk), "job-authorised_amount": "300"})
    assert [(item.description, str(item.price)) for item in WorkItem.objects.all()] == [
        ("Valve clearances", "240.50"),
        ("Sync", "None"),
    ]
    assert str(Job.objects.get().authorised_amount) == "300.00"


def test_price_without_description_is_rejected(login) -> None:
    bike = make_bike()
    response = book(login(Role.DESK), **{"which-chosen": str(bike.pk), "work-0-price": "12"})
    assert response.status_code == 422
    assert "Describe the work for this price." in response.content.decode()


def test_problem_of_the_agreed_work_names_its_line(login) -> None:
    bike = make_bike()
    rows = {
        "work-0-description": "Sync",
        "work-0-price": "x",
        "work-2-description": "Chain",
        "work-2-price": "y",
    }
    response = book(login(Role.DESK), **{"which-chosen": str(bike.pk), **rows})
    assert find(response, "//*[@role='alert']//a/text()") == ["Price, line 1", "Price, line 3"]


def test_invalid_number_shows_error_at_the_field_and_is_preserved(login) -> None:
    bike = make_bike()
    response = book(login(Role.DESK), **{"which-chosen": str(bike.pk), "job-authorised_amount": "about 300"})
    page = response.content.decode()
    assert response.status_code == 422
    assert "“about 300” is not a number." in page
    assert 'value="about 300"' in page


def test_promised_time_before_drop_off_is_rejected(login) -> None:
    bike = make_bike()
    times = {"job-booked_for": "2026-06-10T09:00", "job-promised_at": "2026-06-09T17:00"}
    response = book(login(Role.DESK), **times, **{"which-chosen": str(bike.pk)})
    assert response.status_code == 422
    assert "“Ready by” must be after “Drop-off”." in response.content.decode()


def test_drop_off_has_the_same_clock_time_across_dst_change(login, shop) -> None:
    shop.time_zone = "Europe/Paris"
    shop.save()
    bike = make_bike()
    client = login(Role.DESK)
    # Paris leaves summer time on 25 October 2026.
    times = {"job-booked_for": "2026-11-16T09:00", "job-times_right": "on"}
    book(client, **times, **{"which-chosen": str(bike.pk)})
    job = Job.objects.get()
    assert (
        "Mon 16 Nov 2026, 09:00" in client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    )
    assert 'value="2026-11-16T09:00"' in client.get(reverse("job-edit", args=[job])).content.decode()


@pytest.mark.parametrize(
    ("typed", "error"),
    [
        ("0001-01-01T00:00", "Check the year: 1."),
        ("9999-12-31T23:59", "Check the year: 9999."),
        ("2027-03-28T02:30", "02:30 does not exist on that day"),
        (
            "2026-10-25T02:30",
            "02:30 occurs twice on that day because the clocks go back. Enter a time one hour",
        ),
        ("2027-02-30T10:00", "Enter a date and time, such as 2026-11-30 09:00."),
        ("tomorrow", "Enter a date and time, such as 2026-11-30 09:00."),
    ],
)
@pytest.mark.parametrize("zone", ["Europe/Paris", "America/New_York"])
def test_impossible_time_shows_error_at_the_field(login, shop, zone: str, typed: str, error: str) -> None:
    shop.time_zone = zone
    shop.save()
    if zone == "America/New_York":  # its clocks change on 14 March 2027 and 1 November 2026
        typed = typed.replace("2027-03-28", "2027-03-14").replace("2026-10-25T02", "2026-11-01T01")
        error = error.replace("02:30 occurs", "01:30 occurs")
    bike = make_bike()
    sent = {"which-chosen": str(bike.pk), "job-promised_at": typed}
    response = book(login(Role.DESK), **sent)
    assert response.status_code == 422
    assert error in response.text
    assert not Job.objects.exists()


def test_time_in_the_repeated_hour_survives_another_edit(login, shop) -> None:
    shop.time_zone = "Europe/Paris"
    shop.save()
    second = datetime(2026, 10, 25, 1, 30, tzinfo=UTC)  # 02:30 for the second time
    job = make_job(booked_for=second)
    sent = {
        "version": "1",
        "brief": "Something else",
        "intended_use": "road",
        "booked_for": "2026-10-25T02:30",
    }
    response = login(Role.DESK).post(reverse("job-edit", args=[job]), sent)
    assert response.status_code == 302
    job.refresh_from_db()
    assert (job.brief, job.booked_for) == ("Something else", second)


def test_repeated_submission_books_one_job(login) -> None:
    bike = make_bike()
    client = login(Role.DESK)
    data = {"which-chosen": str(bike.pk), "form_key": str(uuid.uuid4())}
    first, second = book(client, **data), book(client, **data)
    assert Job.objects.count() == 1
    assert second.headers["Location"] == first.headers["Location"]


def test_bike_in_the_url_is_preselected(login) -> None:
    bike = make_bike(plate="DEMO 31")
    page = login(Role.DESK).get(reverse("job-book"), {"bike": bike.pk}).content.decode()
    assert f'name="which-chosen" value="{bike.pk}"' in page
    assert "DEMO 31" in page


@pytest.mark.parametrize("nonsense", ["no number", "99999999", "-1", "9" * 5000, "٣"])
def test_invalid_bike_in_the_url_is_ignored(login, nonsense) -> None:
    assert login(Role.DESK).get(reverse("job-book"), {"bike": nonsense}).status_code == 200


def test_choices_match_the_text_typed_so_far(login) -> None:
    make_bike(plate="DEMO 22")
    client = login(Role.DESK)
    page = client.get(reverse("bike-choices"), {"which-text": "quill tern"}).content.decode()
    assert "DEMO 22" in page
    assert "No bike found" in client.get(reverse("bike-choices"), {"which-text": "zebra"}).content.decode()
    assert "Ines Quill" in client.get(reverse("customer-choices"), {"whose-text": "ines"}).content.decode()


@pytest.mark.parametrize("role", [Role.MECHANIC, Role.TUNER])
@pytest.mark.parametrize("name", ["job-book", "bike-choices", "customer-choices"])
def test_booking_requires_desk_role(login, role, name) -> None:
    assert login(role).get(reverse(name)).status_code == 403


def test_booking_requires_login(client) -> None:
    assert reverse("login") in client.get(reverse("job-book")).headers["Location"]


def test_job_numbers_are_consecutive(login) -> None:
    first = make_job()
    book(login(Role.DESK), **{"which-chosen": str(first.bike_id)})
    second = Job.objects.exclude(pk=first.pk).get()
    assert (second.year, second.sequence) == (first.year, first.sequence + 1)


def test_booking_page_needs_few_queries(login) -> None:
    make_bike()
    client = login(Role.DESK)
    client.get(reverse("job-book"))
    with CaptureQueriesContext(connection) as queries:
        client.get(reverse("job-book"))
    # Session, person, shop (again for its unit of top speed), closed days, bike, engines, people, places.
    assert len(queries) == 10
