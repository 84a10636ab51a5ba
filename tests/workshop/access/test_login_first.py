"""Where somebody is led whose log-in has run out: to the log-in page, and back to what was open."""

from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.urls import reverse


def back_to(client: Client, stood_at: str | None, ask: str = "post") -> str:
    headers = {} if stood_at is None else {"referer": stood_at}
    answer = getattr(client, ask)("/jobs/2026-001/stage/", headers=headers)
    led_to = urlsplit(answer.headers["Location"])
    assert (answer.status_code, led_to.path) == (302, reverse("login"))
    return parse_qs(led_to.query)["next"][0]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("stood_at", "leads_to"),
    [
        # A form is sent to an address that shows nothing: back to the page on which it stands.
        ("http://testserver/jobs/2026-001/?from=list", "/jobs/2026-001/?from=list"),
        # Never to another site, whatever the request says of where it comes from.
        ("https://elsewhere.example/jobs/", "/jobs/2026-001/stage/"),
        ("//elsewhere.example/jobs/", "/jobs/2026-001/stage/"),
        ("javascript:alert(1)", "/jobs/2026-001/stage/"),
        (None, "/jobs/2026-001/stage/"),
    ],
)
def test_a_sending_leads_back_to_the_page_of_its_form(
    client: Client, stood_at: str | None, leads_to: str
) -> None:
    assert back_to(client, stood_at) == leads_to


@pytest.mark.django_db
def test_a_page_leads_back_to_itself_and_not_to_where_its_link_stood(client: Client) -> None:
    assert back_to(client, "http://testserver/jobs/", ask="get") == "/jobs/2026-001/stage/"
