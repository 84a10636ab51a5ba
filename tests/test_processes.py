"""Facts that must hold in every web process at once: sessions, wrong passwords, submitted forms."""

import json
import os
import subprocess
import sys
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from tests.conftest import database_url
from tests.factories import make_staff
from workshop.models import Customer, Role

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]

ELSEWHERE = """
import json, sys, django
django.setup()
from django.test import Client
posts, cookies = json.load(sys.stdin)
client = Client(raise_request_exception=False)
client.cookies.load(cookies)
print(json.dumps([client.post(url, data).status_code for url, data in posts]))
"""


def post_in_another_process(client: Client, *posts: tuple[str, dict[str, Any]]) -> list[int]:
    """Send forms with this client's cookies to another process of the site; return the status codes."""
    cookies = {name: morsel.value for name, morsel in client.cookies.items()}
    done = subprocess.run(
        [sys.executable, "-c", ELSEWHERE],
        input=json.dumps([posts, cookies]),
        env={**os.environ, "DATABASE_URL": database_url(), "ALLOWED_HOSTS": "testserver"},
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)


def test_logout_ends_the_session_in_every_process(login) -> None:
    client = login(Role.DESK)
    page = reverse("customer-list")
    assert client.get(page).status_code == 200
    assert post_in_another_process(client, (reverse("logout"), {})) == [302]
    replayed = client.get(page)
    assert (replayed.status_code, replayed.headers["Location"].split("?")[0]) == (302, reverse("login"))


def test_wrong_passwords_are_counted_over_all_processes(client: Client) -> None:
    make_staff(Role.TUNER)
    wrong = (reverse("login"), {"username": "tuner", "password": "wrong"})
    assert [client.post(*wrong).status_code for _ in range(5)] == [422] * 5
    assert post_in_another_process(client, *[wrong] * 5) == [422] * 4 + [429]
    assert client.post(*wrong).status_code == 429


def test_form_sent_to_two_processes_acts_once(login) -> None:
    client = login(Role.DESK)
    sent = {"name": "Tamsin Orrery", "language": "en", "form_key": str(uuid.uuid4())}
    form = (reverse("customer-new"), sent)
    assert client.post(*form).status_code == 302
    assert post_in_another_process(client, form) == [302]
    assert Customer.objects.count() == 1
