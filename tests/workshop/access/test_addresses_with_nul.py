"""NUL and other control characters in a request: PostgreSQL takes none, and nobody types one."""

import pytest
from django.test import Client
from django.urls import reverse

from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "address",
    [
        "/sheets/%00abc/",
        "/jobs/2026-001%00/",
        "/calendar/a%00b.ics",
        "/jobs/%0A/",
        "/jobs/%7F/",
        "/customers/?q=a%00b",
        "/customers/?%00=1",
        "/changes/?kind=%00",
        "/log-in/?next=/%00",
        "/no-such-page/%00",
    ],
)
def test_address_with_control_characters_is_not_found(login, address: str) -> None:
    assert login(Role.OWNER).get(address).status_code == 404
    assert Client().get(address).status_code == 404


def test_search_with_line_ends_and_tabs_is_answered(login) -> None:
    assert login(Role.DESK).get("/customers/", {"q": "a\tb\r\n"}).status_code == 200


@pytest.mark.parametrize("name", ["sessionid", "csrftoken", "known_device", "messages"])
def test_cookie_with_nul_counts_as_none(name: str) -> None:
    # RFC 6265 has no escapes, but Python reads \\000 within quotes as NUL.
    client = Client(headers={"cookie": f'{name}="abcdefgh\\000abcdefghijkl"'})
    assert client.get(reverse("today")).status_code == 302
    assert client.post(reverse("login"), {"username": "x", "password": "y"}).status_code == 422


def test_field_with_nul_is_refused_with_a_sentence(client: Client) -> None:
    response = client.post(reverse("login"), {"username": "a\0b", "password": "c\0d"})
    assert response.status_code == 422
    assert "Null characters are not allowed." in response.text


def test_header_with_strange_bytes_is_answered(client: Client) -> None:
    strange = {"user-agent": "\x01\x7fÿ", "referer": "http://[", "accept": "\x02", "hx-request": "\x03"}
    sent = {"username": "x", "password": "y"}
    assert client.post(reverse("login"), sent, headers=strange).status_code == 422
    assert client.post(reverse("customer-list"), headers=strange).status_code == 302
