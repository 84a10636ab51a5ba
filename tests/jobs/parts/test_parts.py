"""Parts: added, edited, removed and flagged."""

import uuid
from html import unescape

import pytest
from django.urls import reverse

from jobs.models import Part
from tests.factories import get_part_kind, make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db

SLIP_ON = {
    "name": "Slip-on silencer",
    "maker": "Harrow Pipes",
    "part_number": "HP-204",
    "quantity": "1",
    "fitted_at": "2026-05-04T10:30",
    "times_right": "on",
    "replaces": "original silencer",
    "race_only": "on",
}


def add(client, job, **data: str):
    return client.post(reverse("part-add", args=[job]), {**slip_on(), **data})


def slip_on() -> dict[str, str]:
    return {**SLIP_ON, "kind": str(get_part_kind("exhaust").pk)}


@pytest.mark.parametrize("role", [Role.MECHANIC, Role.TUNER, Role.OWNER])
def test_job_page_shows_a_part_with_its_flags(login, role) -> None:
    job = make_job()
    client = login(role)
    assert add(client, job).status_code == 302
    page = client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    assert "Slip-on silencer" in page
    assert "race use only" in page
    assert "With these parts the bike may not be road legal." in page
    assert "in place of original silencer" in page
    assert "Harrow Pipes, HP-204" in page
    assert '<span class="mark mark-plain">exhaust</span>' in page


def test_part_form_shows_the_caution(login) -> None:
    page = login(Role.MECHANIC).get(reverse("part-add", args=[make_job()])).content.decode()
    assert 'class="caution"' in page
    assert "may make the bike not road legal" in page


def test_fitting_time_defaults_to_now(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    form = client.get(reverse("part-add", args=[job])).context["form"]
    assert form["fitted_at"].value() is not None
    add(client, job, fitted_at="")
    assert Part.objects.get().fitted_at is None
    assert "1 not fitted yet" in client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("name", "", "This field is required."),
        ("quantity", "some", "“some” is not a number."),
        ("quantity", "-1", "greater than or equal to 0"),
        ("quantity", "0", "Enter a number above zero."),
        ("fitted_at", "soon", "Enter a date and time, such as 2026-11-30 09:00."),
    ],
)
def test_invalid_value_shows_error_and_is_preserved(login, field, typed, sentence) -> None:
    response = add(login(Role.MECHANIC), make_job(), **{field: typed})
    page = response.content.decode()
    assert response.status_code == 422
    assert sentence in unescape(page)
    assert sentence in response.context["form"].errors[field][0]
    assert "Harrow Pipes" in page
    assert f'name="{field}" value="{typed}"' in page or typed == ""
    assert not Part.objects.exists()


def test_quantity_accepts_a_comma(login) -> None:
    add(login(Role.MECHANIC), make_job(), name="Fork oil (l)", quantity="0,95")
    assert str(Part.objects.get().quantity) == "0.95"


def test_part_is_edited_and_removed(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    add(client, job)
    part = Part.objects.get()
    edit = reverse("part-edit", args=[part.pk])
    assert 'value="2026-05-04T10:30"' in client.get(edit).content.decode()
    client.post(edit, {**slip_on(), "name": "Silencer", "version": part.version})
    part.refresh_from_db()
    assert part.name == "Silencer"
    assert client.post(reverse("part-remove", args=[part.pk])).status_code == 302
    assert not Part.objects.exists()
    assert client.get(edit).status_code == 404


def test_edit_conflict_names_the_other_user(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    add(client, job)
    part = Part.objects.get()
    edit = reverse("part-edit", args=[part.pk])
    login(Role.TUNER).post(edit, {**slip_on(), "serial": "T-1", "version": part.version})
    refused = client.post(edit, {**slip_on(), "serial": "M-1", "version": part.version})
    page = refused.content.decode()
    assert refused.status_code == 422
    assert "Toni Tuner" in page
    assert "T-1" in page
    assert 'value="M-1"' in page


def test_repeated_submission_saves_one_part(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    key = str(uuid.uuid4())
    add(client, job, form_key=key)
    add(client, job, form_key=key)
    assert Part.objects.count() == 1


def test_parts_require_login_role_known_job_and_post(client, login) -> None:
    job = make_job()
    assert client.get(reverse("part-add", args=[job])).status_code == 302
    assert login(Role.DESK).get(reverse("part-add", args=[job])).status_code == 403
    assert login(Role.TUNER).get(reverse("part-add", args=["2026-999"])).status_code == 404
    assert login(Role.TUNER).get(reverse("part-remove", args=[1])).status_code == 405


def test_remove_button_is_shown_for_stored_parts_only(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    assert "Remove this part" not in client.get(reverse("part-add", args=[job])).content.decode()
    add(client, job)
    part = Part.objects.get()
    page = client.get(reverse("part-edit", args=[part.pk])).content.decode()
    assert f'action="{reverse("part-remove", args=[part.pk])}"' in page
