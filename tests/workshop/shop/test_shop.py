"""Page of the shop's profile."""

from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from jobs.calc.dyno.air import STANDARDS
from tests.html import read_text
from workshop.models import Role, ShopProfile

pytestmark = pytest.mark.django_db
URL = "/shop/"


def values_of(page: Any) -> dict[str, Any]:
    """Return what a browser would submit unchanged."""
    form, bands = page.context["form"], page.context["bands"]
    values = {bound.html_name: bound.value() for bound in form if bound.name != "logo"}
    for part in (bands.management_form, *bands.forms):
        values |= {bound.html_name: bound.value() for bound in part}
    return {name: "" if value is None else value for name, value in values.items()}


def picture(kind: str = "PNG", size: tuple[int, int] = (8, 8), *, mode: str = "RGB") -> SimpleUploadedFile:
    file = BytesIO()
    Image.new(mode, size).save(file, kind)
    return SimpleUploadedFile(f"logo.{kind.lower()}", file.getvalue())


@pytest.fixture
def owner(login):
    return login(Role.OWNER)


@pytest.fixture
def values(owner) -> dict[str, Any]:
    return values_of(owner.get(URL))


def test_unchanged_form_changes_nothing(owner, values) -> None:
    before = ShopProfile.current()
    assert owner.post(URL, values).status_code == 302
    after = ShopProfile.current()
    kept = [
        field.attname for field in ShopProfile._meta.fields if field.name not in ("version", "updated_at")
    ]
    assert [getattr(after, name) for name in kept] == [getattr(before, name) for name in kept]


def test_units_and_numbers_are_saved(owner, values) -> None:
    changed = {"name": "Quill & Daughter", "power_unit": "ps", "elevation_m": "512,5", "currency": "chf"}
    assert owner.post(URL, {**values, **changed}).status_code == 302
    shop = ShopProfile.current()
    assert (shop.name, shop.power_unit, shop.elevation_m, shop.currency) == (
        "Quill & Daughter",
        "ps",
        512.5,
        "CHF",
    )


def test_form_offers_every_correction_standard(owner) -> None:
    page = owner.get(URL).text
    assert all(f'<option value="{key}"' in page for key in STANDARDS)


def test_default_is_the_regulation_whose_scope_includes_motorcycles() -> None:
    (covering,) = [key for key, one in STANDARDS.items() if "motorcycles among them" in one.scope]
    assert ShopProfile.current().correction_standard == covering == "eu_134_2014"


def test_standards_page_shows_scope_limits_and_their_source(owner) -> None:
    page = read_text(owner.get(reverse("correction-standards")))
    for part in (
        "This shop uses EU 134/2014.",
        "Vehicles of category L, motorcycles among them",
        "Air 10.1 to 45.1 °C (the regulation, Appendix 2.2, point 3.2.3.1)",
        "Factor 0.93 to 1.07 (from memory; no public text was available)",
        "The engine controls its boost pressure",
    ):
        assert part in page


def test_bands_are_added_changed_and_removed(owner, values) -> None:
    rows = {
        "band-0-name": "",
        "band-1-name": "drive band",
        "band-1-low_rpm": "4500",
        "band-1-high_rpm": "",
        "band-2-name": "top end",
        "band-2-low_rpm": "",
        "band-2-high_rpm": "11000,5",
    }
    assert owner.post(URL, {**values, **rows}).status_code == 302
    assert ShopProfile.current().bands == [
        {"name": "drive band", "low_rpm": 4500, "high_rpm": None},
        {"name": "top end", "low_rpm": None, "high_rpm": 11000.5},
    ]


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"band-1-low_rpm": "9000"}, "end of the band must be above its start"),
        ({"band-2-low_rpm": "3000"}, "Name the band"),
        ({"band-2-name": "Drive Band"}, "Another band already has this name"),
        ({"band-1-low_rpm": "fast"}, "is not a number"),
        ({"elevation_m": "9000"}, "less than or equal to 5500"),
        ({"smoothing_width_rpm": "20"}, "Must be at least the grid step"),
        ({"time_zone": "Mars/Olympus"}, "not one of the available choices"),
        ({"correction_standard": "none"}, "not one of the available choices"),
        ({"currency": "euro"}, "Three letters"),
        ({"link_days": "0"}, "greater than or equal to 1"),
        ({"repeatability_pct": "0"}, "greater than or equal to 0.05"),
    ],
)
def test_invalid_entry_shows_error_and_keeps_input(
    owner, values, changed: dict[str, str], message: str
) -> None:
    response = owner.post(URL, {**values, "address": "12 Kiln Lane", **changed})
    assert response.status_code == 422
    assert message in response.text
    assert "12 Kiln Lane" in response.text
    (typed,) = changed.values()
    assert typed in response.text or typed in ("Mars/Olympus", "none")
    assert ShopProfile.current().address == ""


def test_logo_is_shown_to_staff_only(owner, values, login, client) -> None:
    owner.post(URL, {**values, "logo": picture()})
    response = login(Role.TUNER).get(reverse("shop-logo"))
    assert response.headers["Content-Type"] == "image/png"
    assert b"".join(response.streaming_content).startswith(b"\x89PNG")
    response.close()
    assert client.get(reverse("shop-logo")).status_code == 302


@pytest.mark.parametrize(
    ("file", "message"),
    [
        (SimpleUploadedFile("logo.png", b"rpm;torque\n"), "Choose a PNG or JPEG file"),
        (SimpleUploadedFile("logo.png", b""), "empty"),
        (
            SimpleUploadedFile("logo.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
            "Choose a PNG or JPEG",
        ),
        (picture("GIF"), "Choose a PNG or JPEG file"),
        (
            SimpleUploadedFile("logo.jpg", picture("JPEG", (300, 300)).read()[:-200]),
            "This file is damaged or not an image",
        ),
        (picture("PNG", (5001, 1)), "at most 5000 pixels per side"),
        (picture("PNG", (10_000, 10_000), mode="1"), "at most 5000 pixels per side"),
    ],
)
def test_unusable_logo_is_refused_with_a_reason(
    owner, values, file: SimpleUploadedFile, message: str
) -> None:
    response = owner.post(URL, {**values, "logo": file})
    assert response.status_code == 422
    assert message in response.text


@pytest.mark.parametrize("name", ["scan", "logo.jpg", "ع" * 150 + ".png", "logo.svg"])
@pytest.mark.parametrize("mode", ["RGBA", "P", "1", "I;16"])
def test_logo_is_recognised_by_content_not_name(owner, values, name: str, mode: str) -> None:
    file = SimpleUploadedFile(name, picture(mode=mode).read())
    assert owner.post(URL, {**values, "logo": file}).status_code == 302
    kept = owner.get(reverse("shop-logo"))
    assert kept.headers["Content-Type"] == "image/png"
    kept.close()


def test_cmyk_jpeg_is_accepted_as_logo(owner, values) -> None:
    file = picture("JPEG", mode="CMYK")
    assert owner.post(URL, {**values, "logo": file}).status_code == 302
    assert ShopProfile.current().logo.name.endswith(".jpg")


def test_logo_over_2_mb_is_refused(owner, values) -> None:
    large = SimpleUploadedFile("logo.png", picture().read() + b"\0" * (2 * 1024 * 1024))
    response = owner.post(URL, {**values, "logo": large})
    assert response.status_code == 422
    assert "larger than 2 MB" in response.text


@pytest.mark.parametrize("then", ["replaced", "removed"])
def test_file_of_former_logo_is_deleted(owner, values, then, django_capture_on_commit_callbacks) -> None:
    owner.post(URL, {**values, "logo": picture()})
    logo = ShopProfile.current().logo
    version = {"version": ShopProfile.current().version}
    with django_capture_on_commit_callbacks(execute=True):
        change = {"logo": picture("JPEG")} if then == "replaced" else {"remove_logo": "on"}
        assert owner.post(URL, {**values, **version, **change}).status_code == 302
    assert not logo.storage.exists(logo.name)
    current = ShopProfile.current().logo
    assert logo.storage.exists(current.name) if then == "replaced" else not current


def test_missing_logo_returns_404(login) -> None:
    assert login(Role.DESK).get(reverse("shop-logo")).status_code == 404


def test_edit_conflict_shows_changes_and_keeps_input(owner, values) -> None:
    owner.post(URL, {**values, "name": "First Name", "band-1-high_rpm": "9000"})
    response = owner.post(URL, {**values, "phone": "+00 555 0100"})
    assert response.status_code == 422
    assert "Ola Owner changed this" in response.text
    assert "drive band 4000–9000 rpm" in response.text
    assert response.context["form"]["phone"].value() == "+00 555 0100"


def test_profile_is_forbidden_for_mechanic(login) -> None:
    assert login(Role.MECHANIC).get(URL).status_code == 403


def test_logo_can_be_removed(owner, values) -> None:
    owner.post(URL, {**values, "logo": picture()})
    page = owner.get(URL)
    assert 'href="shop/logo' not in page.text
    assert owner.post(URL, {**values_of(page), "remove_logo": "on"}).status_code == 302
    assert not ShopProfile.current().logo
    assert "Remove the logo" not in owner.get(URL).text


def test_edit_conflict_ignores_line_endings(owner, values) -> None:
    shop = ShopProfile.current()
    shop.address = "Pier Row 7\nFennport"
    shop.save()
    typed = {**values_of(owner.get(URL)), "address": "Pier Row 7\r\nFennport"}
    owner.post(URL, {**typed, "phone": "+00 1"})
    response = owner.post(URL, {**typed, "phone": "+00 2"})
    assert [change.label for change in response.context["form"].conflict.changes] == ["phone"]
