"""Every page can be reached by links from Today: none has to be known by its address."""

from html.parser import HTMLParser
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import Resolver404, resolve
from django.utils import timezone

from jobs.models import ComparisonRun, Job
from tests.factories import make_simulated_runs
from tests.test_access import PATTERNS, PUBLIC, Records, address
from workshop.models import Role, StaffMember

pytestmark = pytest.mark.django_db

MOST_OF_A_KIND = 3  # pages of one kind looked at: a list, a closed and an open job link to different things
WAYS_IN = {
    "login": "where everybody begins",
    "health": "asked by whoever runs the machine",
    "calendar-feed": "a secret address that calendars read",
    "customer-sheet": "a secret address that the customer is sent",
    "customer-pdf": "on the customer's page",
    "customer-acknowledge": "on the customer's page",
    "bench-worker": "asked for by a script of the pages that open without a network",
    "mixture-fuel-table": "on the page of a study whose runs were worked out",
}


class Ways(HTMLParser):
    """Where a page's links and its forms that ask lead to."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        asks = tag == "form" and has.get("method", "get").lower() == "get"
        way = has.get("href") if tag == "a" else has.get("action") if asks else has.get("src")
        if way and not urlsplit(way).netloc:
            self.found.append(way)


def name_of(way: str) -> str:
    try:
        return str(resolve(urlsplit(way).path).url_name)
    except Resolver404:
        return ""


def shown(client: Client, way: str) -> str:
    """What an address shows: the text of a page, a word for a file; '' where it shows nothing by itself."""
    answer = client.get(way)
    if answer.streaming:
        list(answer.streaming_content)  # read to its end, the file is closed
        return "file"
    if answer.status_code != 200:
        return ""
    if "html" not in answer.headers.get("Content-Type", ""):
        return "file"
    return answer.text if "<html" in answer.text else ""


def reached_from(client: Client, start: str) -> set[str]:
    """The names of all addresses that links lead to, page after page."""
    reached: dict[str, set[str]] = {}
    waiting, leads_nowhere = [start], set[str]()
    while waiting:
        way = waiting.pop()
        known = reached.setdefault(name_of(way), set())
        if way in known or len(known) >= MOST_OF_A_KIND or name_of(way) in leads_nowhere:
            continue
        known.add(way)
        text, ways = shown(client, way), Ways()
        if not text.startswith("<"):
            leads_nowhere.add(name_of(way))  # a file, which takes long to make
        ways.feed(text)
        waiting += [each for each in ways.found if each.startswith("/") and name_of(each)]
    return set(reached)


def fill_job(records: Records) -> None:
    """The job in the shop, with what its pages need before they offer to go on: runs, and a comparison."""
    Job.objects.filter(pk=records.job.pk).update(received_at=timezone.now(), stage="roller")
    for state in ("before", "after"):
        run, *_ = make_simulated_runs(records.job, records.by, "tern", state, "sweep")
        ComparisonRun.objects.create(comparison=records.comparison, run=run, group=state)


def test_the_owner_reaches_every_page_from_today(staff: dict[Role, StaffMember], login) -> None:
    records = Records(staff)
    fill_job(records)
    addresses = {name: address(name, records) for name in sorted(PATTERNS)}
    owner = login(Role.OWNER)
    pages = {name for name, url in addresses.items() if name not in PUBLIC and shown(owner, url)}
    reached = reached_from(owner, "/")
    assert sorted(pages - reached - set(WAYS_IN)) == []
    assert PUBLIC - reached <= set(WAYS_IN)
