"""The bar marks the entry that a page belongs to, wherever the address of the page is."""

from pathlib import Path

import pytest
from django.urls import reverse

from tests.html import find, read_text
from workshop.areas import area_of
from workshop.models import Role

ADDRESSES = Path(__file__).with_name("addresses.txt").read_text().splitlines()
ENTRIES = {"", "jobs", "bikes", "customers", "engines", "stock", "shop"}  # first parts of their own addresses
# Pages of their own, pages without the bar, and addresses that are no page.
NOWHERE = {"mails", "history", "search", "password", "log-in", "log-out", "health", "worker.js"}
NOWHERE |= {"sheet", "check", "talk-through", "receipts", "links", "jobs.csv", "bikes.csv", "customers.csv"}
NOWHERE |= {"stock.csv", "dyno-checks.csv"}


def test_every_page_belongs_to_an_entry_of_the_bar() -> None:
    parts = {line.split()[1].strip("/").partition("/")[0] for line in ADDRESSES if line}
    assert {part for part in parts - ENTRIES - NOWHERE if not area_of(part)} == set()


@pytest.mark.parametrize(
    ("name", "entry"),
    [
        ("layout-list", "Shop"),
        ("staff-list", "Shop"),
        ("instrument-list", "Shop"),
        ("shop-profile", "Shop"),
        ("calendar", "Today"),
        ("job-list", "Jobs"),
    ],
)
def test_bar_marks_one_entry(login, shop, name: str, entry: str) -> None:
    marked = find(login(Role.OWNER).get(reverse(name)), "//nav[@aria-label='Main']//a[@aria-current]")
    assert [read_text(link) for link in marked] == [entry]
