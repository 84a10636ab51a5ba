"""Every page is reachable by links from Today."""

from collections.abc import Iterable
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import Resolver404, resolve
from django.utils import timezone

from jobs.models import ComparisonRun, Job
from jobs.runs.importing import RunDetails, import_run
from tests import factories
from tests.html import parse
from tests.test_access import PATTERNS, PUBLIC, Records, address
from workshop.models import Bike, Role, StaffMember

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.one_database]

MAX_SECTIONS = 60  # each section of those jobs has links of its own
MAX_PAGES_OF_A_KIND = 3  # enough: a list, a closed job and an open job have different links
NOT_LINKED = {
    "login": "where everyone starts",
    "health": "for monitoring",
    "calendar-feed": "a secret URL that calendars read",
    "customer-sheet": "a secret URL that the customer is sent",
    "sheet-check": "printed on the sheet",
    "preview": "the link to a preview makes one and leads to it",
    "preview-page": "on the page of a preview",
    "preview-pdf": "on the page of a preview",
    "customer-pdf": "on the customer's page",
    "customer-acknowledge": "on the customer's page",
    "site-worker": "requested by a script of every page",
    "customer-ask": "on the customer's page",
    "customer-talk-through": "on the customer's page",
    "published-talk-through": "a secret URL that the shop gives out with the customer's consent",
    "mixture-fuel-table": "on the page of a study with results",
    "drive-force-csv": "on its page once there are gears and runs",
    "ignition-csv": "on its page once there is a result",
    "injectors-csv": "on its page once there is a result",
}


# URLs of links, GET forms and sections that load when opened; URLs of POST forms and htmx requests.
SECTION = "job-section"
LINKS = "//a/@href | //form[not(@method='post')]/@action | //@src | //*[@class='fold-body']/@hx-get"
ACTIONS = "//form[@method='post']/@action | //@formaction | //@hx-get | //@hx-post"


def url_name(url: str) -> str:
    try:
        return str(resolve(urlsplit(url).path).url_name)
    except Resolver404:
        return ""


def is_forbidden(url: str, role: Role) -> bool:
    """Return True if the view of a URL of this site is closed to a role."""
    try:
        open_to = resolve(urlsplit(url).path).func.open_to
    except (Resolver404, AttributeError):  # another site, or a file
        return False
    return open_to != "everybody" and role not in open_to


def fetch_text(client: Client, url: str) -> str:
    """Return the text of a page, "file" for a file, or '' if the URL shows nothing by itself."""
    response = client.get(url)
    if response.streaming:
        list(response.streaming_content)  # closes the file
        return "file"
    if response.status_code == 403:
        return "refused"
    if response.status_code != 200:
        return ""
    if "html" not in response.headers.get("Content-Type", ""):
        return "file"
    is_page = "<html" in response.text or url_name(url) == SECTION
    return response.text.lstrip() if is_page else ""


class Walk:
    """A walk from page to page along links, in one role.

    Attributes
    ----------
    reached : dict of str to set of str
        URLs that links lead to, by name.
    refused : set of str
        Pages with a link or form to a view that is closed to the role.
    """

    def __init__(self, client: Client, role: Role, start: str, files: Iterable[str] = ()) -> None:
        self.client, self.role = client, role
        self.reached: dict[str, set[str]] = {}
        self.refused: set[str] = set()
        self.files = set(files)  # slow and without links, so one of a kind is enough
        waiting = [("", start)]
        while waiting:
            waiting += self.step(*waiting.pop())

    def step(self, page: str, url: str) -> list[tuple[str, str]]:
        """Follow one link of a page, and return the links found there."""
        url, name = url.partition("#")[0], url_name(url)
        visited = self.reached.setdefault(name, set())
        limit = MAX_SECTIONS if name == SECTION else MAX_PAGES_OF_A_KIND
        if url in visited or len(visited) >= limit or name in self.files:
            return []
        visited.add(url)
        text = fetch_text(self.client, url)
        if text == "refused":
            self.refused.add(f"{page} leads to {url}")
        if not text.startswith("<"):
            self.files.add(name)
            return []
        page = parse(text)
        links, actions = page.xpath(LINKS), page.xpath(ACTIONS)
        targets = [target for target in [*links, *actions] if target.startswith("/")]
        self.refused |= {f"{url} leads to {target}" for target in targets if is_forbidden(target, self.role)}
        return [(url, target) for target in links if target.startswith("/") and url_name(target)]


def fill_shop(records: Records) -> None:
    """Create runs, a comparison and an incomplete job, so that pages have more links."""
    Job.objects.filter(pk=records.job.pk).update(received_at=timezone.now(), stage="roller")
    for state in ("before", "after"):
        run, *_ = factories.make_simulated_runs(records.job, records.by, "tern", state, "sweep")
        ComparisonRun.objects.create(comparison=records.comparison, run=run, group=state)
    bare = factories.make_job()
    factories.make_clearance_set(bare, records.by)
    Bike.objects.filter(pk=bare.bike_id).update(engine_spec=None)
    import_run(job=bare, by=records.by, name="strange.csv", data=b"a;b\n1;2\n2;3\n", details=RunDetails())


def test_every_page_is_linked_from_today_and_no_link_is_forbidden(
    staff: dict[Role, StaffMember], login
) -> None:
    records = Records(staff)
    fill_shop(records)
    addresses = {name: address(name, records) for name in sorted(PATTERNS)}
    owner = login(Role.OWNER)
    pages = {name for name, url in addresses.items() if name not in PUBLIC and fetch_text(owner, url)}
    walk = Walk(owner, Role.OWNER, "/")
    assert sorted(pages - walk.reached.keys() - NOT_LINKED.keys()) == []
    assert PUBLIC - walk.reached.keys() <= NOT_LINKED.keys()
    assert sorted(walk.reached.keys() & NOT_LINKED.keys()) == []  # an exception that is no longer one

    for role in (Role.DESK, Role.MECHANIC, Role.TUNER):
        walk = Walk(login(role), role, "/", walk.files)
        assert {"today", "job", "run", "bike"} <= walk.reached.keys()
        assert sorted(walk.refused) == [], role.label
