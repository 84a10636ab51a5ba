"""After an erasure with "delete" for each document, nothing stored names the person; an export has all.

Searched are every column of every table, read in SQL and not through the models, every file by name and
content, the log, and for SQLite the database file itself, free pages and all.
"""

import io
import json
import subprocess
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.files.storage import default_storage
from django.db import connection
from django.test import Client
from django.urls import reverse

from tests.html import find
from tests.workshop.privacy import everywhere
from tests.workshop.privacy.everywhere import find_parts, make_person_everywhere
from workshop.models import Customer, DocumentDecision, Role


def stored_values() -> Iterator[tuple[str, str]]:
    """Yield every value of the database with its table and column, sessions decoded."""
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            columns = [column[0] for column in cursor.description]
            for row in cursor.fetchall():
                for column, value in zip(columns, row, strict=True):
                    text = value.decode("latin-1") if isinstance(value, bytes | memoryview) else str(value)
                    yield f"{table}.{column}", text
    for session in Session.objects.all():
        yield "decoded session", str(session.get_decoded())


def read_file(path: Path) -> str:
    """Return what a file holds as text: pages of a PDF, members of an archive, or its bytes."""
    data = path.read_bytes()
    if data.startswith(b"%PDF"):
        document = pypdfium2.PdfDocument(data)
        pages = [document[number].get_textpage().get_text_bounded() for number in range(len(document))]
        document.close()
        return "\n".join(pages)
    if data.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
            return "\n".join([*names, *(archive.read(name).decode("latin-1") for name in names)])
    halves = (part.decode("utf-16-le", "ignore") for part in (data, data[1:]))
    return "\n".join([data.decode("latin-1"), *halves])


def stored_files() -> list[Path]:
    return [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


def find_person() -> set[str]:
    """Return every column and file that names the person."""
    columns = {place for place, text in stored_values() if find_parts(text)}
    files = {path.name for path in stored_files() if find_parts(path.name) or find_parts(read_file(path))}
    return columns | files


def erase_on_page(owner: Client, customer: Customer, choice: str) -> None:
    url = reverse("customer-erase", args=[customer.pk])
    names = {radio.get("name") for radio in find(owner.get(url), "//input[@type='radio']")}
    data = dict.fromkeys(names, choice)
    reasons = {name.replace("choice-", "reason-"): "tax law, ten years" for name in names}
    answer = owner.post(url, {**data, **reasons, "name": customer.name})
    assert answer.status_code == 302, answer.text


@pytest.fixture
def customer(staff, login) -> Customer:
    return make_person_everywhere(staff, login(Role.DESK))


@pytest.mark.slow
def test_nothing_names_an_erased_customer(transactional_db, customer, login, caplog, capfd) -> None:
    missing = {column for column, text in everywhere.declared_texts().items() if not find_parts(text)} - {
        # numbers and choices
        "workshop.customer.experience",
        "workshop.customer.riding_mass_kg",
    }
    assert missing == set(), "the person is not everywhere: extend tests/workshop/privacy/everywhere.py"
    assert "reports_handoversheet.snapshot" in find_person()
    owner = login(Role.OWNER)
    erase_on_page(owner, customer, "delete")
    assert find_person() == set()
    for kind in ("", "workshop.customer", "workshop.outgoingmail", "reports.handoversheet", "jobs.job"):
        assert not find_parts(owner.get(reverse("shop-history"), {"kind": kind}).text)
    assert not find_parts(caplog.text + "".join(capfd.readouterr()))
    assert {decision.choice for decision in DocumentDecision.objects.all()} == {"delete"}
    # The sheet, the receipt, two run files and the calibration file.
    assert DocumentDecision.objects.count() == 5
    if connection.vendor == "sqlite":
        database = Path(connection.settings_dict["NAME"])
        for path in (database, database.with_name(f"{database.name}-wal")):
            # Read by another process: opened and closed here, the file would lose SQLite's locks on it.
            assert b"Quorwell" not in subprocess.run(["cat", path], stdout=subprocess.PIPE).stdout, path.name


@pytest.mark.slow
def test_documents_that_are_kept_are_the_only_ones_with_the_name(customer, login) -> None:
    erase_on_page(login(Role.OWNER), customer, "keep")
    left = {place for place in find_person() if "." in place and not place.endswith((".pdf", ".dat", ".bin"))}
    assert left == {
        "reports_handoversheet.snapshot",
        "reports_handoversheet.override_reason",
        "reports_handoversheet.open_points",
        "reports_historicalhandoversheet.override_reason",
        "reports_historicalhandoversheet.open_points",
        "jobs_signedreceipt.facts",
        "jobs_signedreceipt.signed_by",
        "jobs_historicalsignedreceipt.signed_by",
    }
    kept = {path.suffix for path in stored_files() if find_parts(read_file(path))}
    assert kept == {".pdf", ".dat", ".bin"}


@pytest.mark.slow
def test_export_holds_everything_about_the_customer(customer, login) -> None:
    answer = login(Role.DESK).get(reverse("customer-export", args=[customer.pk]))
    archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    records = json.loads(archive.read("records.json"))
    text = json.dumps(records, ensure_ascii=False)
    missing = [
        column
        for column, stored in everywhere.declared_texts().items()
        if find_parts(stored) and column.rsplit(".", 1)[0] not in text
    ]
    own = {column.rsplit(".", 1)[0] for column in missing}
    assert own <= {
        "workshop.enginespec",
        "jobs.filelayout",
        "jobs.dynocheck",
        "workshop.instrumentcheck",
        "workshop.shimstock",
    }, own  # under the mentions
    assert "Engine" in str(records["mentions of the customer"])
    assert len(records["workshop.outgoingmail"]) == 4
    for spelling in (everywhere.FORMER, everywhere.OTHER, everywhere.OTHER_PHONE, everywhere.PLATE):
        assert spelling in text
    names = set(archive.namelist()) - {"records.json"}
    assert {Path(name).suffix for name in names} >= {".pdf", ".dat", ".bin", ".jpg"}
    assert default_storage.exists(next(iter(names)))
