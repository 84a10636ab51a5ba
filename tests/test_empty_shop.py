"""Every list of an empty shop shows every role what to do next."""

import pytest
from django.test import Client
from django.urls import reverse

from jobs.models import CheckItem, TuneChangeKind, WorkPlace
from tests.factories import make_bike, make_job
from tests.html import by_class, find, read_links, read_text
from tests.test_access import PATTERNS, PUBLIC
from workshop.models import Role

pytestmark = pytest.mark.django_db

# The role named in the sentence if the reader may not do it.
ROLE_NAMES = {Role.DESK: "service desk", Role.MECHANIC: "mechanic", Role.TUNER: "tuner", Role.OWNER: "owner"}
# Never empty: someone is logged in, and the creation of that person is an entry.
NEVER_EMPTY = {"staff-list", "shop-history"}


def has_post_form(page: str) -> bool:
    return bool(find(page, "//main//form[@method='post']"))


def pages_of(client: Client, role: Role) -> dict[str, str]:
    """Return every whole page without arguments that is open to a role."""
    names = [
        name
        for name, pattern in PATTERNS.items()
        if not pattern.pattern.converters and name not in PUBLIC and role in pattern.callback.open_to
    ]
    responses = {name: client.get(reverse(name)) for name in names}
    return {
        name: response.text
        for name, response in responses.items()
        if response.status_code == 200 and not response.streaming and b"<main" in response.content
    }


@pytest.mark.parametrize("role", Role)
def test_page_of_empty_shop_shows_the_next_step(role: Role, login) -> None:
    for model in (CheckItem, TuneChangeKind, WorkPlace):
        model.objects.all().delete()
    client = login(role)
    other_roles = [role_name for other, role_name in ROLE_NAMES.items() if other is not role]
    pages = pages_of(client, role)
    assert {"today", "job-list", "bike-list", "customer-list", "engine-list", "shim-stock"} <= set(pages)
    for name, page in pages.items():
        empty, has_form = by_class(page, "empty"), has_post_form(page)
        has_guide = "Get started" in page or "page-note" in page
        assert empty or has_form or has_guide or name in NEVER_EMPTY, f"{name} is empty and says nothing"
        for element in empty:
            words, links = read_text(element), read_links(element)
            names_role = any(role_name in words for role_name in other_roles)
            assert links or has_form or names_role, f"{name} does not say what to do next: {words}"
            for link in links:
                assert client.get(link).status_code == 200, f"{name} leads to {link}"


@pytest.mark.parametrize("role", Role)
def test_empty_section_of_new_job_shows_the_next_step(role: Role, login) -> None:
    job = make_job(bike=make_bike(engine_spec=None))
    page = login(role).get(reverse("job", args=[job]), {"open": "all"}).text
    # The first section has what the desk entered; the others are empty.
    empty = [fold for fold in by_class(page, "fold") if "Not started" in read_text(fold)]
    assert len(empty) >= 9
    for section in empty:
        words, links = read_text(section), read_links(section)
        assert "." in words, f"no sentence: {words}"
        assert links or any(role_name in words for role_name in ROLE_NAMES.values()), f"no way on: {words}"
