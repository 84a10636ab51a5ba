"""The top speed by a bike's papers, typed in the shop's unit or in another."""

import pytest
from django.urls import reverse

from tests.factories import make_bike
from tests.html import read_form, read_text
from workshop.models import Bike, Role

pytestmark = pytest.mark.django_db


def save_speed(client, typed: str):
    url = reverse("bike-edit", args=[make_bike().pk])
    form = read_form(client.get(url).content.decode(), "//form[.//select]")
    return client.post(url, {**form, "top_speed_kmh": typed})


@pytest.mark.parametrize(
    ("unit", "typed", "stored"),
    [
        ("km", "240", 240),
        ("km", "150 mph", 241),
        ("mi", "150", 241),
        ("mi", "240 km/h", 240),
        ("mi", "", None),
    ],
)
def test_speed_is_understood_in_either_unit(login, shop, unit, typed, stored) -> None:
    shop.distance_unit = unit
    shop.save()
    assert save_speed(login(Role.DESK), typed).status_code == 302
    assert Bike.objects.get().top_speed_kmh == stored


def test_unit_of_an_unlikely_speed_is_asked_in_a_shop_with_miles(login, shop) -> None:
    shop.distance_unit = "mi"
    shop.save()
    asked = save_speed(login(Role.DESK), "240")
    assert asked.status_code == 422
    assert "Add the unit: 240 km/h or 240 mph." in read_text(asked)
