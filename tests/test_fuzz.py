"""Thousands of requests with generated parameters, as everyone, to every address: none is a fault.

The same requests in each run (``SEED``). A request that fails is printed with all that it sent.
"""

import random
import string
import sys
import traceback
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode, urljoin, urlsplit

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import NoReverseMatch, reverse
from lxml import html

from reports.documents import document
from reports.handover import preview
from tests.test_access import ARGUMENTS, PATTERNS, Records, address, picture
from workshop.models import Role

SEED = 20260601
GETS, POSTS, OTHERS = 2, 1, 1  # requests per address
REQUESTS = len(PATTERNS) * (GETS + POSTS + OTHERS)
TOKEN = "f" * 32
QUERY_NAMES = [
    "q",
    "page",
    "before",
    "from",
    "to",
    "kind",
    "by",
    "rpm",
    "tune",
    "of",
    "stage",
    "job",
    "place",
    "day",
    "bike",
    "which-text",
    "whose-text",
    "next",
    "seen",
    "form_key",
]
TEXTS = (
    "", " ", "0", "-1", "1", "00", "1.5", "1,5", "1.234.567", "12.345", "1e5", "1e999", "nan", "inf",
    "-inf", "9" * 30, "9" * 5000, "-" + "9" * 30, "0." + "0" * 400 + "1", "٣", "½", "²", "1_000", "0x10",
    "+5", "--5", "on", "true", "null", "None", "[]", "{}", "[1", '{"a": {"b": []}}',
    '[{"x": 1e400, "y": null, "note": 5}]', "[" * 2000, "2026-02-31", "2026-13-01", "0000-00-00",
    "9999-12-31", "2026-06-01", "2026-06-01T25:00", "2026-03-29T02:30", "24:00", "12:60", "08:00", "a\0b",
    "\0", "\r\n", "a\nb", "\t", "\x1b[31m", "\x7f", "\x85", "\u202ereversed", "\u2066isolated", "\ufeff",
    "\ufffe", "é" * 300, "🏍️", "Straße", "İ", "ﬁ", "a\u0301" * 50, "<script>alert(1)</script>", "{{ 7 }}",
    "{% now %}", "%s%n", "' OR 1=1 --", "\\", "../../etc/passwd", "=1+1", "javascript:alert(1)",
    "https://elsewhere.example/", "x" * 70_000, "a@b", "a@b.example", "ü@ü.example", "0.12 mm", "0.005 in",
    "5 furlongs", "km", "GBP", "Europe/Oslo", "No/Where", "DEMO 1", "as_found", "road",
)  # fmt: skip
FILES = (
    b"", b"\0" * 100, b"\xff\xfe\0\0", b"rpm;torque\n3000;50\n3100;51\n",
    b"rpm,torque\n" + b"1" * 9000 + b"!,2\n", b"PK\3\4 no archive", b"%PDF-1.7", b"\x89PNG\r\n\x1a\n",
    b"GIF89a", b'{"format": 1}', b"{" * 3000, b"a\tb\n1\t2\n",
)  # fmt: skip


class Fuzzer:
    """Generates requests, always the same for a seed."""

    def __init__(self, seed: str) -> None:
        self.random = random.Random(seed)

    def text(self) -> str:
        if self.random.random() < 0.8:
            return self.random.choice(TEXTS)
        size = self.random.randrange(1, 40)
        return "".join(
            chr(self.random.choice((*range(1, 0x250), *range(0x2000, 0x2100)))) for _ in range(size)
        )

    def file(self) -> SimpleUploadedFile:
        content = self.random.choice((*FILES, picture().read()))
        name = self.random.choice(
            ("a.csv", "b.bin", "c.png", "d.jpg", "x" * 300, ".csv", "a\\b.csv", "é\u202e.csv")
        )
        return SimpleUploadedFile(name, content, self.random.choice(("text/csv", "image/png", "x")))

    def value(self) -> Any:
        kind = self.random.random()
        if kind < 0.85:
            return self.text()
        return [self.text(), self.text()] if kind < 0.93 else self.file()

    def query(self) -> str:
        names = self.random.sample(QUERY_NAMES, 3)
        return urlencode({name: self.text() for name in names})

    def address(self, name: str, records: Records) -> str:
        """Return an address with other arguments, if it takes any, and a query."""
        arguments = ARGUMENTS[name](records) if name in ARGUMENTS else []
        if arguments and self.random.random() < 0.7:
            at = self.random.randrange(len(arguments))
            wrong = self.random.choice((0, 10**9, 10**25, "2026-999", "as_left", self.text() or "x"))
            try:
                return f"{reverse(name, args=[*arguments[:at], wrong, *arguments[at + 1 :]])}?{self.query()}"
            except NoReverseMatch:
                pass
        return f"{address(name, records)}?{self.query()}"

    def form(self, fields: dict[str, list[str]]) -> dict[str, Any]:
        """Return what a form would send, with some of it replaced and some left out."""
        sent: dict[str, Any] = dict(fields)
        names = [
            *sent,
            self.random.choice(QUERY_NAMES),
            "".join(self.random.choices(string.ascii_letters, k=5)),
        ]
        for name in self.random.sample(names, min(len(names), self.random.randrange(1, 5))):
            sent[name] = self.value()
        if sent and self.random.random() < 0.3:
            del sent[self.random.choice([*sent])]
        return {**sent, "csrfmiddlewaretoken": TOKEN}


def read_forms(page: str, url: str) -> Iterator[tuple[str, dict[str, list[str]]]]:
    """Yield path and fields of every form of a page, files included."""
    for form in html.document_fromstring(f"<!doctype html>{page}<p>").forms:
        fields: dict[str, list[str]] = {}
        for name, value in form.form_values():
            fields.setdefault(name, []).append(value)
        for name in form.xpath(".//@name"):
            fields.setdefault(str(name), [""])
        yield urlsplit(urljoin(url, form.get("action") or "")).path, fields


class Visitor:
    """Someone who sends requests, each undone before the next."""

    def __init__(self, client: Client) -> None:
        self.client, self.cookies = client, {name: cookie.value for name, cookie in client.cookies.items()}
        self.sent, self.faults = 0, []

    def send(self, method: str, url: str, data: Any = None) -> Any:
        self.client.cookies.clear()
        self.client.cookies.load({**self.cookies, "csrftoken": TOKEN})
        with transaction.atomic():
            if method in ("GET", "POST"):
                response = getattr(self.client, method.lower())(url, data)
            else:
                response = self.client.generic(method, url, headers={"x-csrftoken": TOKEN})
            transaction.set_rollback(True)
        self.sent += 1
        if response.status_code in (500, 507) or response.exc_info:
            fault = "".join(traceback.format_exception(*response.exc_info)[-4:]) if response.exc_info else ""
            self.faults.append(f"{method} {url:.300} {data!r:.800} {fault}")
        response.getvalue()  # reads a file to its end, which closes it
        return response


@pytest.fixture
def blank_documents(blank_pages, monkeypatch) -> None:
    """Set no pages, which would take the most of the time."""
    monkeypatch.setattr(document, "typeset", lambda *args, **kwargs: b"%PDF-1.7")
    monkeypatch.setattr(preview, "sheet_pdf", lambda *args, **kwargs: b"%PDF-1.7")
    monkeypatch.setattr(preview, "picture_of_first_page", lambda pdf: b"\x89PNG")
    monkeypatch.setattr(preview, "count_pages", lambda pdf: 1)


@pytest.mark.slow
@pytest.mark.django_db
@pytest.mark.parametrize(
    "role",
    # The owner may do nearly everything, so on PostgreSQL the owner's requests are enough.
    [
        role if role == Role.OWNER else pytest.param(role, marks=pytest.mark.one_database)
        for role in [*Role, None]
    ],
)
def test_no_request_is_a_fault(role: Role | None, staff, blank_documents, caplog, capsys) -> None:
    records = Records(staff)
    urls = {name: address(name, records) for name in PATTERNS}  # creates every record
    client = Client(enforce_csrf_checks=True, raise_request_exception=False)
    if role is not None:
        client.force_login(staff[role], backend="workshop.people.backend.StaffBackend")
    fuzzer, visitor = Fuzzer(f"{SEED} {role}"), Visitor(client)
    forms: dict[str, dict[str, list[str]]] = {}
    for name, url in urls.items():
        for wanted in (f"{url}?{fuzzer.query()}", fuzzer.address(name, records)):
            page = visitor.send("GET", wanted)
            if page.status_code == 200 and page.headers.get("Content-Type", "").startswith("text/html"):
                forms |= dict(read_forms(page.content.decode(), url))
    for name, url in urls.items():
        for _ in range(POSTS):
            data = fuzzer.form(forms.get(url, {}))
            visitor.send("POST", url if fuzzer.random.random() < 0.9 else fuzzer.address(name, records), data)
        visitor.send(fuzzer.random.choice(("HEAD", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE")), url)
    faults = [
        record.getMessage()
        for record in caplog.records
        if record.exc_info and getattr(record, "status_code", 500) >= 500
    ]
    assert visitor.faults == [], "\n\n".join(visitor.faults)
    assert faults == []
    assert visitor.sent == REQUESTS
    with capsys.disabled():
        sys.stdout.write(f" {visitor.sent} requests as {role or 'nobody'}, {len(forms)} forms found ")
