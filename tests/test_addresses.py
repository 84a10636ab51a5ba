"""Stored URLs still work, for bookmarks, links in mails and other programs.

A new page needs a line in ``addresses.txt``: the response to the owner, the URL and its name.
"""

from pathlib import Path

import pytest
from django.urls import get_resolver

from tests.test_access import Records, address, walk
from workshop.models import Role

LINES = (Path(__file__).parent / "addresses.txt").read_text(encoding="utf-8").splitlines()


def test_stored_urls_and_url_names_match() -> None:
    stored = {line.split(" ", 1)[1] for line in LINES}
    assert stored == {f"/{pattern.pattern} {pattern.name}" for pattern in walk(get_resolver())}


@pytest.mark.django_db
def test_stored_url_responds_to_the_owner_as_before(login, staff) -> None:
    client, records = login(Role.OWNER), Records(staff)
    answers = []
    for line in LINES:
        _, pattern, name = line.split(" ")
        response = client.get(address(name, records))
        response.getvalue()  # reads a file to its end, which closes it
        answers.append(f"{response.status_code} {pattern} {name}")
    assert answers == LINES
