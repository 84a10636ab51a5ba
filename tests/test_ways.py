"""Every page can be reached by links from Today: none has to be known by its address."""

from collections.abc import Iterable
from html.parser import HTMLParser
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import Resolver404, resolve
from django.utils import timezone

from jobs.models import ComparisonRun, Job
from jobs.runs.importing import RunDetails, attach
from tests import factories
from tests.test_access import PATTERNS, PUBLIC, Records, address
from workshop.models import Bike, Role, StaffMember

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
    """Where a page's links and its forms that ask lead to, and where those forms lead that do something."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.acts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        if tag == "form" and has.get("method", "get").lower() == "post":
            self.acts.append(has.get("action", ""))
        elif way := has.get({"a": "href", "form": "action"}.get(tag, "src")):
            self.found.append(way)
        self.acts += [has[name] for name in ("formaction", "hx-get", "hx-post") if name in has]


def name_of(way: str) -> str:
    try:
        return str(resolve(urlsplit(way).path).url_name)
    except Resolver404:
        return ""


def refuses(way: str, role: Role) -> bool:
    """Whether the view behind an address of this site is closed to a role."""
    try:
        open_to = resolve(urlsplit(way).path).func.open_to
    except (Resolver404, AttributeError):  # elsewhere, or a file
        return False
    return open_to != "everybody" and role not in open_to


def shown(client: Client, way: str) -> str:
    """What an address shows: the text of a page, a word for a file; '' where it shows nothing by itself."""
    answer = client.get(way)
    if answer.streaming:
        list(answer.streaming_content)  # read to its end, the file is closed
        return "file"
    if answer.status_code == 403:
        return "refused"
    if answer.status_code != 200:
        return ""
    if "html" not in answer.headers.get("Content-Type", ""):
        return "file"
    return answer.text if "<html" in answer.text else ""


class Walk:
    """From page to page by their links, in one role.

    Attributes
    ----------
    reached : dict of str to set of str
        The addresses that links lead to, by their name.
    refused : set of str
        Which page leads, by a link or a form, to what refuses the role.
    """

    def __init__(self, client: Client, role: Role, start: str, files: Iterable[str] = ()) -> None:
        self.client, self.role = client, role
        self.reached: dict[str, set[str]] = {}
        self.refused: set[str] = set()
        self.files = set(files)  # they lead nowhere and take long to make, so one of a kind is asked for
        waiting = [("", start)]
        while waiting:
            waiting += self.step(*waiting.pop())

    def step(self, page: str, way: str) -> list[tuple[str, str]]:
        """Follow one link of a page; returns the links that are found behind it."""
        way, name = way.partition("#")[0], name_of(way)
        known = self.reached.setdefault(name, set())
        if way in known or len(known) >= MOST_OF_A_KIND or name in self.files:
            return []
        known.add(way)
        text = shown(self.client, way)
        if text == "refused":
            self.refused.add(f"{page} leads to {way}")
        if not text.startswith("<"):
            self.files.add(name)
            return []
        ways = Ways(text)
        leads = [each for each in [*ways.found, *ways.acts] if each.startswith("/")]
        self.refused |= {f"{way} leads to {each}" for each in leads if refuses(each, self.role)}
        return [(way, each) for each in ways.found if each.startswith("/") and name_of(each)]


def fill_shop(records: Records) -> None:
    """What pages need before they offer to go on, runs and a comparison; and a job where much is lacking."""
    Job.objects.filter(pk=records.job.pk).update(received_at=timezone.now(), stage="roller")
    for state in ("before", "after"):
        run, *_ = factories.make_simulated_runs(records.job, records.by, "tern", state, "sweep")
        ComparisonRun.objects.create(comparison=records.comparison, run=run, group=state)
    bare = factories.make_job()
    factories.make_clearance_set(bare, records.by)
    Bike.objects.filter(pk=bare.bike_id).update(engine_spec=None)
    attach(job=bare, by=records.by, name="strange.csv", data=b"a;b\n1;2\n2;3\n", details=RunDetails())


def test_every_page_is_reached_from_today_and_no_page_leads_to_what_refuses(
    staff: dict[Role, StaffMember], login
) -> None:
    records = Records(staff)
    fill_shop(records)
    addresses = {name: address(name, records) for name in sorted(PATTERNS)}
    owner = login(Role.OWNER)
    pages = {name for name, url in addresses.items() if name not in PUBLIC and shown(owner, url)}
    walk = Walk(owner, Role.OWNER, "/")
    assert sorted(pages - walk.reached.keys() - WAYS_IN.keys()) == []
    assert PUBLIC - walk.reached.keys() <= WAYS_IN.keys()
    assert sorted(walk.reached.keys() & WAYS_IN.keys()) == []  # an exception that is none any more

    for role in (Role.DESK, Role.MECHANIC, Role.TUNER):
        walk = Walk(login(role), role, "/", walk.files)
        assert {"today", "job", "run", "bike"} <= walk.reached.keys()
        assert sorted(walk.refused) == [], role.label
