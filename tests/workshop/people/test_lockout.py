"""Wrong tries lock the guesser, not the owner of the name."""

import pytest
from django.test import Client
from django.urls import reverse

from tests.factories import make_staff
from workshop.access.proxy import resolve_client
from workshop.models import Role
from workshop.people.devices import COOKIE
from workshop.settings import trusted_proxies

pytestmark = pytest.mark.django_db
PASSWORD = "a long enough pass phrase"


@pytest.fixture(autouse=True)
def _tuner(db) -> None:
    make_staff(Role.TUNER)


def log_in(client: Client, password: str = PASSWORD, username: str = "tuner", **extra: str) -> int:
    data = {"username": username, "password": password}
    return client.post(reverse("login"), data, **extra).status_code


def lock_out(client: Client, **extra: str) -> None:
    assert [log_in(client, "wrong", **extra) for _ in range(10)] == [422] * 9 + [429]


def test_tries_of_others_do_not_lock_a_device_that_logged_in_before() -> None:
    owner = Client()
    assert log_in(owner) == 302
    owner.post(reverse("logout"))
    lock_out(Client())  # from the same address
    assert log_in(Client()) == 429
    assert log_in(owner) == 302


def test_known_device_has_its_own_limit() -> None:
    owner = Client()
    log_in(owner)
    owner.post(reverse("logout"))
    lock_out(owner)
    assert log_in(owner) == 429
    assert log_in(Client(REMOTE_ADDR="198.51.100.7")) == 302


def test_device_is_known_to_each_person_who_logged_in_there() -> None:
    make_staff(Role.DESK)
    shared = Client()
    for name in ("tuner", "desk"):
        log_in(shared, username=name)
        shared.post(reverse("logout"))
    lock_out(Client())
    lock_out(Client(), username="desk")
    assert log_in(shared, username="tuner") == 302
    shared.post(reverse("logout"))
    assert log_in(shared, username="desk") == 302


def test_device_of_another_person_is_unknown() -> None:
    make_staff(Role.DESK)
    guesser = Client()
    log_in(guesser, username="desk")
    guesser.post(reverse("logout"))
    lock_out(guesser)
    assert log_in(Client(), "wrong") == 429  # counted for the address


@pytest.mark.parametrize("forged", ["x", "W1siYSIsW11d:1:2", '["a", ["b"]]'])
def test_forged_device_gains_no_tries(forged: str) -> None:
    for turn in range(10):
        client = Client(headers={"user-agent": f"known device {turn}"})
        client.cookies[COOKIE] = forged
        status = log_in(client, "wrong")
    assert status == 429


def test_cookie_names_nobody_and_is_out_of_reach_of_scripts() -> None:
    client = Client()
    log_in(client)
    cookie = client.cookies[COOKIE]
    assert "tuner" not in cookie.value
    assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")


def test_clients_behind_the_proxy_are_told_apart(settings) -> None:
    settings.TRUSTED_PROXIES = trusted_proxies_of("127.0.0.1")
    lock_out(Client(), HTTP_X_FORWARDED_FOR="198.51.100.7")
    assert log_in(Client(), HTTP_X_FORWARDED_FOR="198.51.100.7") == 429
    # The start of the header is what the client claims; the proxy appends the truth.
    assert log_in(Client(), HTTP_X_FORWARDED_FOR="203.0.113.9, 198.51.100.7") == 429
    assert log_in(Client(), HTTP_X_FORWARDED_FOR="203.0.113.9") == 302


def test_header_counts_for_nothing_without_a_proxy(settings) -> None:
    settings.TRUSTED_PROXIES = []
    for turn in range(10):
        status = log_in(Client(), "wrong", HTTP_X_FORWARDED_FOR=f"198.51.100.{turn}")
    assert status == 429


def trusted_proxies_of(text: str) -> list:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TRUSTED_PROXIES", text)
        return trusted_proxies()


@pytest.mark.parametrize(
    ("peer", "forwarded", "client"),
    [
        ("10.0.0.2", "198.51.100.7", "198.51.100.7"),
        ("10.0.0.2", "203.0.113.9, 198.51.100.7, 10.0.0.3", "198.51.100.7"),  # two proxies
        ("198.51.100.7", "203.0.113.9", "198.51.100.7"),  # past the proxy
        ("10.0.0.2", "unknown", "10.0.0.2"),
        ("10.0.0.2", "", "10.0.0.2"),
        ("10.0.0.2", "198.51.100.7:4711", "198.51.100.7"),
        ("::1", "[2001:db8::7]:4711", "2001:db8::7"),
        ("::1", "2001:db8::7", "2001:db8::7"),
        ("", "198.51.100.7", "198.51.100.7"),  # a Unix socket
        ("10.0.0.2", "\x00", "10.0.0.2"),
    ],
)
def test_client_is_the_first_that_is_no_proxy_of_ours(peer: str, forwarded: str, client: str) -> None:
    assert resolve_client(peer, forwarded, trusted_proxies_of("10.0.0.0/24,::1")) == client
