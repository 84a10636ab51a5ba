"""Forms of bikes, with hints about the VIN."""

import uuid

import pytest
from django.urls import reverse

from tests.factories import make_bike, make_customer, make_engine
from workshop.models import Bike, Role

pytestmark = pytest.mark.django_db

# The usual example of a valid check digit (49 CFR 565.15): all ones.
GOOD_VIN = "11111111111111111"


def payload(**kwargs: object) -> dict[str, object]:
    return {"make": "Pellorin", "model": "Tern 660", "year": "2021", "plate": "demo  22", **kwargs}


def send(client, **kwargs: object):
    owner = make_customer().pk
    return client.post(reverse("bike-new"), payload(owner=owner, **kwargs), follow=True)


def messages(response) -> str:
    return " ".join(str(message) for message in response.context["messages"]) if response.context else ""


def test_new_bike_is_saved_with_plate_in_capitals(login) -> None:
    engine = make_engine()
    send(login(Role.DESK), engine_spec=engine.pk, vin="1111 1111 1111 1111 1")
    bike = Bike.objects.get()
    assert (bike.plate, bike.vin, bike.engine_spec) == ("DEMO 22", GOOD_VIN, engine)


@pytest.mark.parametrize(
    ("vin", "hint"),
    [
        (GOOD_VIN, ""),
        ("", ""),
        ("AB12345", "7 characters, not 17"),
        ("1111111111111111O", "contains O"),
        ("21111111111111111", "9th character"),
    ],
)
def test_doubtful_vin_is_saved_with_a_hint(login, vin: str, hint: str) -> None:
    client = login(Role.DESK)
    send(client, vin=vin)
    bike = Bike.objects.get()
    assert bike.vin == vin
    page = client.get(reverse("bike-edit", args=[bike.pk]))
    assert (hint in page.text) if hint else ('class="notice"' not in page.text)


def test_vin_of_more_than_17_characters_is_rejected(login) -> None:
    response = send(login(Role.DESK), vin="1" * 18)
    assert response.status_code == 422
    assert "at most 17 characters. This one has 18" in response.text
    assert 'value="111111111111111111"' in response.text


def test_vin_of_another_bike_is_rejected_with_its_owner(login) -> None:
    make_bike(vin=GOOD_VIN)
    response = send(login(Role.DESK), vin=GOOD_VIN)
    assert response.status_code == 422
    assert "Ines Quill&#x27;s Pellorin Tern 660 2021 already has this VIN." in response.text


def test_edited_bike_keeps_its_vin(login) -> None:
    bike = make_bike(vin=GOOD_VIN)
    values = payload(owner=bike.owner_id, vin=GOOD_VIN, model="Tern 660 R", version=bike.version)
    response = login(Role.DESK).post(reverse("bike-edit", args=[bike.pk]), values)
    assert response.status_code == 302
    assert Bike.objects.get().model == "Tern 660 R"


@pytest.mark.parametrize(
    ("field", "typed"), [("year", "1850"), ("front_sprocket", "99999999999999999999"), ("year", "new")]
)
def test_invalid_number_shows_error_and_preserves_input(login, field: str, typed: str) -> None:
    response = send(login(Role.DESK), **{field: typed})
    assert response.status_code == 422
    assert response.context["form"].errors[field]
    assert f'value="{typed}"' in response.text
    assert not Bike.objects.exists()


def test_owner_is_preselected_from_customer_page(login) -> None:
    owner = make_customer()
    page = login(Role.DESK).get(reverse("bike-new"), {"owner": owner.pk})
    assert f'<option value="{owner.pk}" selected>' in page.text


def test_invalid_owner_in_url_is_ignored(login) -> None:
    assert login(Role.DESK).get(reverse("bike-new"), {"owner": "x"}).status_code == 200


def test_form_submitted_twice_creates_one_bike(login) -> None:
    client, key = login(Role.DESK), str(uuid.uuid4())
    values = payload(owner=make_customer().pk, form_key=key)
    for _ in range(2):
        client.post(reverse("bike-new"), values)
    assert Bike.objects.count() == 1


def test_edit_conflict_warns_and_preserves_input(login, staff) -> None:
    bike = make_bike()
    client, url = login(Role.DESK), reverse("bike-edit", args=[bike.pk])
    client.post(url, payload(owner=bike.owner_id, front_sprocket="15", version=1))
    response = client.post(url, payload(owner=bike.owner_id, rear_sprocket="45", version=1))
    assert response.status_code == 422
    assert "Dana Desk changed this" in response.text
    assert 'value="45"' in response.text


def test_unknown_bike_returns_404(login) -> None:
    assert login(Role.DESK).get(reverse("bike-edit", args=[999])).status_code == 404
