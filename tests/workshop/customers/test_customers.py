"""Pages of customers: list and search, one customer, form, edit conflict, repeated submission."""

import uuid

import pytest
from django.test import Client
from django.urls import reverse

from tests.factories import make_bike, make_customer, make_job
from workshop.models import Customer, Role

pytestmark = pytest.mark.django_db


def payload(**kwargs: object) -> dict[str, object]:
    return {
        "name": "Ines Quill",
        "phone": "+00 555 0101",
        "email": "ines@example.org",
        "language": "en",
        **kwargs,
    }


def names_found(client: Client, wanted: str) -> list[str]:
    page = client.get(reverse("customer-list"), {"q": wanted})
    return [customer.name for customer in page.context["page"]]


@pytest.mark.parametrize(
    "wanted", ["quill", "QUILL", "555 0101", "5550101", "ines@", "demo 22", "DEMO22", "demo-22"]
)
def test_search_finds_customer_by_name_phone_email_and_plate(login, wanted: str) -> None:
    make_bike(plate="DEMO 22")
    make_customer(name="Somebody Else", email="", phone="")
    assert names_found(login(Role.TUNER), wanted) == ["Ines Quill"]


@pytest.mark.parametrize("wanted", ["özer", "ÖZER", "Özer"])
def test_search_ignores_case_of_letters_outside_ascii(login, wanted: str) -> None:
    make_customer(name="Derya Özer")
    assert names_found(login(Role.TUNER), wanted) == ["Derya Özer"]


@pytest.mark.parametrize("wanted", ["%", "_", "' OR 1=1 --", "- -", "x" * 500])
def test_search_takes_wildcards_of_sql_literally(login, wanted: str) -> None:
    make_customer(phone="")
    assert names_found(login(Role.TUNER), wanted) == []


def test_search_finds_owner_of_two_bikes_once(login) -> None:
    bike = make_bike(plate="DEMO 1")
    make_bike(plate="DEMO 2", owner=bike.owner)
    assert names_found(login(Role.DESK), "DEMO") == ["Ines Quill"]


def test_list_query_count_is_constant(login, shop, django_assert_num_queries) -> None:
    client = login(Role.DESK)
    # Session, person, shop, count, customers, bikes.
    for number in range(60):
        make_bike(plate=f"DEMO {number}", owner=make_customer(name=f"Customer {number:02}"))
    with django_assert_num_queries(6):
        page = client.get(reverse("customer-list"))
    assert len(page.context["page"]) == 50
    assert "Page 1 of 2" in page.text
    assert "Customer 59" in client.get(reverse("customer-list"), {"page": "2"}).text


def test_list_is_sorted_and_downloaded_by_the_desk_only(login) -> None:
    make_customer(name="Bo Tarn", email="bo@example.org")
    make_customer(name="Abe Lund", email="")
    desk = login(Role.DESK)
    page = desk.get(reverse("customer-list"), {"sort": "-name"}).text
    assert page.index("Bo Tarn") < page.index("Abe Lund")
    lines = desk.get(reverse("customer-list-csv"), {"q": "tarn"}).text.splitlines()
    assert [line.split(",")[0] for line in lines] == ["name", "Bo Tarn"]
    assert login(Role.MECHANIC).get(reverse("customer-list-csv")).status_code == 403


@pytest.mark.parametrize("page", ["0", "-1", "9999", "abc"])
def test_invalid_page_number_shows_an_existing_page(login, page: str) -> None:
    make_customer()
    assert "Ines Quill" in login(Role.DESK).get(reverse("customer-list"), {"page": page}).text


def test_customer_page_shows_bikes_and_jobs(login, shop, django_assert_num_queries) -> None:
    job = make_job()
    client = login(Role.TUNER)
    # Session, person, shop, customer, bikes, jobs.
    with django_assert_num_queries(6):
        page = client.get(reverse("customer", args=[job.customer.pk]))
    assert job.number in page.text
    assert reverse("bike", args=[job.bike.pk]) in page.text


def test_edit_link_is_shown_to_desk_and_owner_only(login) -> None:
    url = reverse("customer", args=[make_customer().pk])
    edit = url + "edit/"
    assert edit in login(Role.DESK).get(url).text
    assert edit in login(Role.OWNER).get(url).text
    assert edit not in login(Role.MECHANIC).get(url).text


def test_new_customer_may_have_decimal_comma_in_mass(login) -> None:
    response = login(Role.DESK).post(reverse("customer-new"), payload(riding_mass_kg="82,5"))
    customer = Customer.objects.get()
    assert response.headers["Location"] == reverse("customer", args=[customer.pk])
    assert (customer.name, customer.riding_mass_kg) == ("Ines Quill", 82.5)


@pytest.mark.parametrize(
    ("field", "typed", "message"),
    [
        ("riding_mass_kg", "heavy", "is not a number"),
        ("riding_mass_kg", "1.0.82,5", "is ambiguous"),
        ("riding_mass_kg", "825", "less than or equal to 250"),
        ("email", "nobody", "valid email"),
        ("name", " ", "required"),
        ("name", "x" * 121, "at most 120"),
    ],
)
def test_invalid_entry_shows_error_at_field_and_keeps_input(
    login, field: str, typed: str, message: str
) -> None:
    response = login(Role.DESK).post(reverse("customer-new"), payload(note="keep me", **{field: typed}))
    assert response.status_code == 422
    assert message in " ".join(response.context["form"].errors[field])
    assert "keep me" in response.text
    assert f'value="{typed}"' in response.text or not typed.strip()
    assert not Customer.objects.exists()


def test_unchanged_edit_form_changes_nothing(login) -> None:
    customer = make_customer(riding_mass_kg=82.5)
    client, url = login(Role.DESK), reverse("customer-edit", args=[customer.pk])
    form = client.get(url).context["form"]
    client.post(url, {name: form[name].value() or "" for name in form.fields})
    stored = Customer.objects.get()
    assert (stored.riding_mass_kg, stored.email) == (82.5, customer.email)


def test_edit_conflict_warns_keeps_input_and_saves_on_retry(login, staff) -> None:
    customer = make_customer()
    desk, owner = login(Role.DESK), login(Role.OWNER)
    url = reverse("customer-edit", args=[customer.pk])
    version = desk.get(url).context["form"]["version"].value()

    assert desk.post(url, payload(phone="+00 555 0199", version=version)).status_code == 302
    warned = owner.post(url, payload(name="Ines Quill-Marsh", version=version))

    assert warned.status_code == 422
    assert "Dana Desk changed this" in warned.text
    assert "+00 555 0199" in warned.text
    form = warned.context["form"]
    assert form["name"].value() == "Ines Quill-Marsh"
    assert Customer.objects.get().name == "Ines Quill"

    sent_again = {name: form[name].value() or "" for name in form.fields}
    assert owner.post(url, sent_again).status_code == 302
    stored = Customer.objects.get()
    # What the second user never touched is as the first left it.
    assert (stored.name, stored.phone) == ("Ines Quill-Marsh", "+00 555 0199")
    assert [str(row.history_user) for row in stored.history.order_by("version")][1:] == [
        "Dana Desk",
        "Ola Owner",
    ]


def test_second_user_decides_when_both_changed_a_field(login, staff) -> None:
    customer = make_customer()
    client, url = login(Role.DESK), reverse("customer-edit", args=[customer.pk])
    client.post(url, payload(phone="1", version=1))
    warned = client.post(url, payload(phone="2", version=1))
    assert warned.context["form"]["phone"].value() == "2"
    client.post(url, payload(phone="2", version=warned.context["form"]["version"].value()))
    assert Customer.objects.get().phone == "2"


def test_form_submitted_twice_creates_one_customer(login) -> None:
    client, key = login(Role.DESK), str(uuid.uuid4())
    responses = [client.post(reverse("customer-new"), payload(form_key=key)) for _ in range(2)]
    customer = Customer.objects.get()
    assert {response.headers["Location"] for response in responses} == {
        reverse("customer", args=[customer.pk])
    }


def test_form_corrected_after_an_error_is_saved(login) -> None:
    client, key = login(Role.DESK), str(uuid.uuid4())
    assert client.post(reverse("customer-new"), payload(form_key=key, name="")).status_code == 422
    assert client.post(reverse("customer-new"), payload(form_key=key)).status_code == 302
    assert Customer.objects.count() == 1


def test_form_has_a_key_and_a_draft_name(login) -> None:
    page = login(Role.DESK).get(reverse("customer-new")).text
    assert 'name="form_key"' in page
    assert 'data-draft="customer-new"' in page


@pytest.mark.parametrize("name", ["customer", "customer-edit"])
def test_unknown_customer_returns_404(login, name: str) -> None:
    assert login(Role.DESK).get(reverse(name, args=[999])).status_code == 404


def test_editing_is_forbidden_for_tuner(login) -> None:
    url = reverse("customer-edit", args=[make_customer().pk])
    assert login(Role.TUNER).post(url, payload()).status_code == 403
