"""An empty shop says what to do next: every list on every page, to every role."""

from html.parser import HTMLParser

import pytest
from django.test import Client
from django.urls import reverse

from jobs.models import CheckItem, TuneChangeKind, WorkPlace
from tests.factories import make_bike, make_job
from tests.test_access import PATTERNS, PUBLIC
from workshop.models import Role

pytestmark = pytest.mark.django_db

# The role that the sentence names if the reader cannot do it.
WHO = {Role.DESK: "service desk", Role.MECHANIC: "mechanic", Role.TUNER: "tuner", Role.OWNER: "owner"}
# Never empty: someone is logged in, and the creation of that person is an entry.
NEVER_EMPTY = {"staff-list", "shop-history"}


class Parts(HTMLParser):
    """Text and links of a page's elements of one class, and whether the page has a form."""

    VOID = {"input", "br", "img", "meta", "link", "hr", "path", "circle", "polyline"}

    def __init__(self, page: str, wanted: str) -> None:
        super().__init__()
        self.wanted, self.depth, self.has_form = wanted, 0, False
        self.words: list[str] = []
        self.links: list[list[str]] = []
        self.feed(page[page.index("<main") : page.index("</main")])

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = dict(attrs)
        self.has_form = self.has_form or (tag == "form" and has.get("method") == "post")
        if self.depth and tag not in self.VOID:
            self.depth += 1
        elif self.wanted in (has.get("class") or "").split():
            self.depth = 1
            self.words.append("")
            self.links.append([])
        if self.depth and tag == "a":
            self.links[-1].append(has.get("href") or "")

    def handle_endtag(self, tag: str) -> None:
        self.depth = max(self.depth - 1, 0)

    def handle_data(self, data: str) -> None:
        if self.depth:
            self.words[-1] += data


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
def test_page_of_empty_shop_says_what_to_do_next(role: Role, login) -> None:
    for model in (CheckItem, TuneChangeKind, WorkPlace):
        model.objects.all().delete()
    client = login(role)
    others = [who for other, who in WHO.items() if other is not role]
    pages = pages_of(client, role)
    assert {"today", "job-list", "bike-list", "customer-list", "engine-list", "shim-stock"} <= set(pages)
    for name, page in pages.items():
        parts = Parts(page, "empty")
        led = "first ten minutes" in page or "page-note" in page
        assert parts.words or parts.has_form or led or name in NEVER_EMPTY, (
            f"{name} is empty and says nothing"
        )
        for words, links in zip(parts.words, parts.links, strict=True):
            names_role = any(who in words for who in others)
            assert links or parts.has_form or names_role, f"{name} does not say what to do next: {words}"
            for link in links:
                assert client.get(link).status_code == 200, f"{name} leads to {link}"


@pytest.mark.parametrize("role", Role)
def test_empty_section_of_new_job_says_what_to_do_next(role: Role, login) -> None:
    job = make_job(bike=make_bike(engine_spec=None))
    page = login(role).get(reverse("job", args=[job])).text
    sections = Parts(page, "sheet-section")
    # The first section has what the desk entered; the others are empty.
    empty = [
        (words, links)
        for words, links in zip(sections.words, sections.links, strict=True)
        if "in hand" not in words
    ]
    assert len(empty) >= 9
    for words, links in empty:
        assert "." in words, f"no sentence: {words}"
        assert links or any(who in words for who in WHO.values()), f"no way on: {words}"
