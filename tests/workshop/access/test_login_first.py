"""Redirects after a session has expired: to the login page, and back to the open page."""

from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.urls import reverse


def next_after_login(client: Client, referer: str | None, method: str = "post") -> str:
    headers = {} if referer is None else {"referer": referer}
    response = getattr(client, method)("/jobs/2026-001/stage/", headers=headers)
    location = urlsplit(response.headers["Location"])
    assert (response.status_code, location.path) == (302, reverse("login"))
    return parse_qs(location.query)["next"][0]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("referer", "expected"),
    [
        # The URL of a form has no page of its own: back to the page with the form.
        ("http://testserver/jobs/2026-001/?from=list", "/jobs/2026-001/?from=list"),
        # Never to another site, whatever the Referer says.
        ("https://elsewhere.example/jobs/", "/jobs/2026-001/stage/"),
        ("//elsewhere.example/jobs/", "/jobs/2026-001/stage/"),
        ("javascript:alert(1)", "/jobs/2026-001/stage/"),
        (None, "/jobs/2026-001/stage/"),
    ],
)
def test_login_after_post_leads_back_to_page_of_form(
    client: Client, referer: str | None, expected: str
) -> None:
    assert next_after_login(client, referer) == expected


@pytest.mark.django_db
def test_login_after_get_leads_back_to_requested_page(client: Client) -> None:
    assert next_after_login(client, "http://testserver/jobs/", method="get") == "/jobs/2026-001/stage/"
