"""Every address of the site, which bookmarks, links in mails and other programs know, still answers.

A new page needs a line in ``addresses.txt``: what the owner gets, the address, the name of its URL.
"""

from pathlib import Path

import pytest
from django.urls import get_resolver

from tests.test_access import Records, address, walk
from workshop.models import Role

LINES = (Path(__file__).parent / "addresses.txt").read_text(encoding="utf-8").splitlines()


def test_every_stored_address_has_its_url_name_and_every_url_is_stored() -> None:
    stored = {line.split(" ", 1)[1] for line in LINES}
    assert stored == {f"/{pattern.pattern} {pattern.name}" for pattern in walk(get_resolver())}


@pytest.mark.django_db
def test_every_stored_address_answers_the_owner_as_before(login, staff) -> None:
    client, records = login(Role.OWNER), Records(staff)
    answers = []
    for line in LINES:
        _, pattern, name = line.split(" ")
        response = client.get(address(name, records))
        response.getvalue()  # reads a file to its end, which closes it
        answers.append(f"{response.status_code} {pattern} {name}")
    assert answers == LINES
