"""A full disk: a sentence for staff, nothing half-written, and a warning before."""

import errno
import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage, filesystem
from django.core.files.uploadedfile import SimpleUploadedFile, TemporaryUploadedFile
from django.db import OperationalError
from django.test import Client
from django.urls import reverse

from jobs.models import Run
from tests.factories import make_job
from tests.jobs.run_files import sweep_csv
from workshop.disk import is_disk_full
from workshop.models import Customer, Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def full_disk(monkeypatch) -> None:
    """Take half of what is written to a stored file, then report that no space is left."""
    open_descriptor = os.fdopen

    class Half:
        def __init__(self, descriptor: int, mode: str) -> None:
            self.file = open_descriptor(descriptor, mode)

        def write(self, data: bytes) -> None:
            self.file.write(data[: len(data) // 2])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        def close(self) -> None:
            self.file.close()

    monkeypatch.setattr(filesystem.os, "fdopen", Half)


def stored_files(settings) -> list[Path]:
    return [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


def read(name: str) -> bytes:
    return Path(default_storage.path(name)).read_bytes()


def test_cut_off_file_is_not_kept(settings, full_disk) -> None:
    with pytest.raises(OSError, match="No space left"):
        default_storage.save("runs/a.csv", ContentFile(b"rpm;torque\n"))
    assert stored_files(settings) == []


def test_files_are_stored_whole_for_their_owner_alone(settings) -> None:
    names = [default_storage.save("runs/a.csv", ContentFile(text)) for text in (b"one", b"two")]
    large = TemporaryUploadedFile("b.bin", "application/octet-stream", 3, None)
    large.write(b"big")
    large.seek(0)
    names.append(default_storage.save("runs/b.bin", large))
    large.close()
    assert [read(name) for name in names] == [b"one", b"two", b"big"]
    assert len(set(names)) == 3
    assert sorted(stored_files(settings)) == sorted(Path(default_storage.path(name)) for name in names)
    assert {path.stat().st_mode & 0o777 for path in stored_files(settings)} == {0o600}
    assert Path(default_storage.path("runs")).stat().st_mode & 0o777 == 0o700


def test_file_of_the_same_name_saved_meanwhile_is_kept(monkeypatch) -> None:
    default_storage.save("runs/a.csv", ContentFile(b"theirs"))
    first = iter(["runs/a.csv"])
    find_name = default_storage.get_available_name
    monkeypatch.setattr(
        default_storage._wrapped,
        "get_available_name",
        lambda name, **limits: next(first, None) or find_name(name, **limits),
    )
    ours = default_storage.save("runs/a.csv", ContentFile(b"ours"))
    assert read("runs/a.csv") == b"theirs"
    assert read(ours) == b"ours"


def test_upload_to_a_full_disk_says_so_and_saves_nothing(login, settings, full_disk) -> None:
    client = login(Role.TUNER)
    client.raise_request_exception = False
    sent = {"run_files": SimpleUploadedFile("a.csv", sweep_csv()), "kind": "sweep"}
    response = client.post(reverse("run-attach", args=[make_job().number]), sent)
    assert response.status_code == 507
    assert "The disk is full" in response.text
    assert "This is a fault in the program" not in response.text
    assert (Run.objects.count(), stored_files(settings)) == (0, [])


def fill_sqlite(path: Path) -> None:
    """Write to an SQLite database that may not grow."""
    with closing(sqlite3.connect(path)) as database:
        database.execute("CREATE TABLE notes (text)")
        database.execute("PRAGMA max_page_count = 1")
        database.execute("INSERT INTO notes VALUES (?)", ["x" * 100_000])


def test_record_on_a_full_disk_says_so(login, monkeypatch, tmp_path) -> None:
    def save(self: Customer, *args: object, **kwargs: object) -> None:
        try:
            fill_sqlite(tmp_path / "full.sqlite3")
        except sqlite3.OperationalError as problem:
            raise OperationalError(*problem.args) from problem

    client = login(Role.DESK)
    client.raise_request_exception = False
    monkeypatch.setattr(Customer, "save", save)
    response = client.post(reverse("customer-new"), {"name": "Tamsin Orrery", "language": "en"})
    assert (response.status_code, "The disk is full" in response.text) == (507, True)


class DiskFull(Exception):
    sqlstate = "53100"  # disk_full, PostgreSQL manual, appendix A


def test_full_disk_is_recognised_behind_other_errors() -> None:
    try:
        try:
            raise DiskFull("could not extend file")
        except DiskFull as cause:
            raise OperationalError("could not extend file") from cause
    except OperationalError as problem:
        assert is_disk_full(problem)
    assert is_disk_full(OSError(errno.EDQUOT, "quota"))
    assert not is_disk_full(OSError(errno.EACCES, "denied"))
    assert not is_disk_full(None)


def test_other_faults_keep_their_page(login, monkeypatch) -> None:
    client = login(Role.DESK)
    client.raise_request_exception = False
    monkeypatch.setattr("workshop.customers.views.render", lambda *args: 1 / 0)
    response = client.get(reverse("customer-list"))
    assert (response.status_code, "This is a fault in the program" in response.text) == (500, True)


def test_fault_page_needs_no_database(login, monkeypatch) -> None:
    def fail(*args: object) -> None:
        raise OperationalError("the connection was lost")

    client = login(Role.DESK)
    client.raise_request_exception = False
    monkeypatch.setattr("workshop.customers.views.render", fail)
    monkeypatch.setattr("workshop.access.errors.render", fail)
    response = client.get(reverse("customer-list"))
    assert (response.status_code, "This is a fault in the program" in response.text) == (500, True)


def test_customer_reads_no_advice_for_the_shop(monkeypatch) -> None:
    def fail(request: object) -> bool:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("workshop.health.views.measure_free_space", lambda: fail(None))
    response = Client(raise_request_exception=False).get("/health/")
    assert (response.status_code, "Tell the shop" in response.text) == (507, True)


@pytest.mark.parametrize("role", [Role.OWNER, Role.DESK])
def test_owner_is_warned_on_today(login, monkeypatch, role: Role) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda path: SimpleNamespace(free=500_000_000))
    page = login(role).get(reverse("today")).text
    assert ("nearly full. 500 MB are free" in page) == (role == Role.OWNER)
