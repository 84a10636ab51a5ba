"""Pages of the stock of shims."""

import uuid
from decimal import Decimal

import pytest
from django.urls import reverse

from workshop.models import Role, ShimStock

pytestmark = pytest.mark.django_db


def payload(**kwargs: object) -> dict[str, object]:
    return {"diameter_mm": "7,48", "thickness_mm": "2.35", "count": "4", **kwargs}


def test_new_size_is_stored_exactly(login) -> None:
    assert login(Role.MECHANIC).post(reverse("shim-stock-add"), payload()).status_code == 302
    shims = ShimStock.objects.get()
    assert (shims.diameter_mm, shims.thickness_mm, shims.count) == (Decimal("7.48"), Decimal("2.35"), 4)


def test_adding_known_size_raises_its_count(login) -> None:
    client = login(Role.MECHANIC)
    client.post(reverse("shim-stock-add"), payload())
    client.post(reverse("shim-stock-add"), payload(diameter_mm="7.480", thickness_mm="2,350", count="3"))
    assert ShimStock.objects.get().count == 7


def test_form_submitted_twice_counts_once(login) -> None:
    client, key = login(Role.MECHANIC), str(uuid.uuid4())
    for _ in range(2):
        client.post(reverse("shim-stock-add"), payload(form_key=key))
    assert ShimStock.objects.get().count == 4


@pytest.mark.parametrize(
    ("field", "typed", "message"),
    [
        ("thickness_mm", "235", "A shim cannot be larger than 20 mm"),
        ("thickness_mm", "0", "not a plausible shim size"),
        ("thickness_mm", "-2", "not a plausible shim size"),
        ("diameter_mm", "abc", "is not a number"),
        ("count", "0", "greater than or equal to 1"),
        ("count", "99999999999999999999", "less than or equal to 10000"),
    ],
)
def test_invalid_entry_shows_error_and_keeps_input(login, field: str, typed: str, message: str) -> None:
    response = login(Role.MECHANIC).post(reverse("shim-stock-add"), payload(**{field: typed}))
    assert response.status_code == 422
    assert message in " ".join(response.context["form"].errors[field])
    assert f'value="{typed}"' in response.text
    assert not ShimStock.objects.exists()


def test_stock_is_listed_by_diameter(login, shop, django_assert_num_queries) -> None:
    for diameter in ("9.48", "7.48"):
        for hundredths in range(120, 350, 5):
            ShimStock.objects.create(
                diameter_mm=diameter, thickness_mm=Decimal(hundredths) / 100, count=hundredths % 3
            )
    client = login(Role.TUNER)
    # Session, person, shop, diameters, count, shims.
    with django_assert_num_queries(6):
        page = client.get(reverse("shim-stock")).text
    assert page.index("Ø 7.48") < page.index("Ø 9.48")
    assert "3.45\N{NO-BREAK SPACE}mm" in page
    assert reverse("shim-stock-add") not in page


def sizes(response) -> list[str]:
    return [str(shims) for shims in response.context["page"]]


def test_stock_is_filtered_sorted_and_downloaded_as_listed(login) -> None:
    for diameter, thickness, count in (("7.48", "2.35", 3), ("7.48", "2.40", 0), ("9.48", "2.10", 7)):
        ShimStock.objects.create(diameter_mm=diameter, thickness_mm=thickness, count=count)
    client, url = login(Role.TUNER), reverse("shim-stock")
    assert sizes(client.get(url, {"sort": "-count"})) == [
        "Ø 9.48 × 2.1 mm",
        "Ø 7.48 × 2.35 mm",
        "Ø 7.48 × 2.4 mm",
    ]
    assert sizes(client.get(url, {"diameter": "9.48"})) == ["Ø 9.48 × 2.1 mm"]
    assert sizes(client.get(url, {"stock": "none"})) == ["Ø 7.48 × 2.4 mm"]
    assert "No such size" in client.get(url, {"diameter": "8.00"}).text
    asked = {"diameter": "7.48", "sort": "-thickness"}
    assert "?diameter=7.48&amp;sort=-thickness" in client.get(url, asked).text  # the link to the file
    lines = client.get(reverse("shim-stock-csv"), asked).content.decode().splitlines()
    assert lines == ["diameter_mm,thickness_mm,count", "7.48,2.4,0", "7.48,2.35,3"]


@pytest.mark.parametrize("diameter", ["", "seven", "9" * 30, "-7.48", "7,48"])
def test_unknown_diameter_in_the_address_shows_all(login, diameter: str) -> None:
    ShimStock.objects.create(diameter_mm="7.48", thickness_mm="2.35", count=3)
    assert sizes(login(Role.DESK).get(reverse("shim-stock"), {"diameter": diameter})) == ["Ø 7.48 × 2.35 mm"]


def test_count_is_corrected_and_edit_conflict_warns(login, staff) -> None:
    shims = ShimStock.objects.create(diameter_mm="7.48", thickness_mm="2.35", count=3)
    client, url = login(Role.MECHANIC), reverse("shim-stock-edit", args=[shims.pk])
    assert client.post(url, {"count": "5", "version": 1}).status_code == 302
    response = client.post(url, {"count": "2", "version": 1})
    assert response.status_code == 422
    assert "Mika Mechanic changed this" in response.text
    assert 'value="2"' in response.text
    assert ShimStock.objects.get().count == 5


def test_unknown_shim_returns_404(login) -> None:
    assert login(Role.MECHANIC).get(reverse("shim-stock-edit", args=[999])).status_code == 404


def test_adding_is_forbidden_for_desk(login) -> None:
    assert login(Role.DESK).post(reverse("shim-stock-add"), payload()).status_code == 403
