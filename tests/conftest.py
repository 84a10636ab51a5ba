"""Fixtures for all tests: staff by role, a shop and logged-in clients."""

import os
import subprocess
import sys
import threading
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.core.cache import caches
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client

from reports import tasks
from reports.handover.snapshot.codec import snapshot_sha256
from tests import factories
from workshop.background import processes
from workshop.models import Role, ShopProfile, StaffMember

ROOT = Path(__file__).parents[1]
DATABASE_FIXTURES = {"db", "transactional_db", "live_server"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the tests that touch the database: they run on PostgreSQL too."""
    for item in items:
        if item.get_closest_marker("django_db") or DATABASE_FIXTURES.intersection(item.fixturenames):
            item.add_marker("database")


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker) -> None:
    """Record every migration as applied, as in a database that was migrated: backups name them."""
    with django_db_blocker.unblock():
        recorder = MigrationRecorder(connection)
        recorder.ensure_schema()
        for at, migration in MigrationLoader(connection).disk_migrations.items():
            for app, name in [at, *migration.replaces]:
                recorder.record_applied(app, name)


@pytest.fixture(autouse=True)
def clear_stored_sections() -> None:
    """Clear stored sections: another test may use the same keys and versions."""
    caches["sections"].clear()


@pytest.fixture(autouse=True)
def temporary_files(settings, tmp_path) -> None:
    settings.MEDIA_ROOT = tmp_path / "files"
    previews = {**settings.CACHES["previews"], "LOCATION": tmp_path / "previews"}
    settings.CACHES = {**settings.CACHES, "previews": previews}


@pytest.fixture
def shop(db) -> ShopProfile:
    return ShopProfile.current()


@pytest.fixture
def staff(db) -> dict[Role, StaffMember]:
    return {role: factories.make_staff(role) for role in Role}


@pytest.fixture
def login(staff) -> Callable[[Role], Client]:
    """Return a function that returns a client logged in with a role."""

    def as_role(role: Role) -> Client:
        client = Client()
        client.force_login(staff[role], backend="workshop.people.backend.StaffBackend")
        return client

    return as_role


@dataclass(frozen=True)
class Machine:
    """A simulated second machine with its own folder and database."""

    environment: dict[str, str]

    def run(self, *command: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, *command],
            env=self.environment,
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )


@pytest.fixture
def fresh_machine(tmp_path) -> Iterator[Machine]:
    """Return a machine without any data."""
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "workshop.settings",
        "SECRET_KEY": "another machine's own secret, long enough for it",
        "DATA_DIR": str(tmp_path / "fresh"),
        "HTTPS": "off",
    }
    if connection.vendor != "postgresql":
        environment.pop("DATABASE_URL", None)
        yield Machine(environment)
        return
    name = f"fresh_{uuid.uuid4().hex[:12]}"
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {name}")
    server, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    yield Machine({**environment, "DATABASE_URL": f"{server}/{name}"})
    with connection.cursor() as cursor:
        cursor.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def blank_pages(monkeypatch) -> None:
    """Issue sheets without setting their pages, for tests that never open the PDF."""
    monkeypatch.setattr(tasks, "sheet_pdf", lambda snapshot, *_: f"%PDF {snapshot_sha256(snapshot)}".encode())


@pytest.fixture
def print_processes(
    transactional_db, temporary_files, settings, tmp_path, monkeypatch
) -> Iterator[list["subprocess.Popen[bytes]"]]:
    """Print in separate processes, as by default, and return the processes started."""
    started: list[subprocess.Popen[bytes]] = []

    class ListedProcess(subprocess.Popen):
        def __init__(self, *args, **kwargs) -> None:
            super().__init__(*args, **kwargs)
            started.append(self)

    monkeypatch.setattr(processes, "Popen", ListedProcess)
    monkeypatch.setenv("DATA_DIR", str(Path(settings.MEDIA_ROOT).parent))
    monkeypatch.setenv("DATABASE_URL", database_url())
    in_process = {"BACKEND": "workshop.background.processes.ProcessBackend"}
    settings.TASKS = {**settings.TASKS, "default": in_process, "process": in_process}
    yield started
    for process in started:
        process.kill()
    for thread in threading.enumerate():
        if thread.name == processes.THREAD_NAME:
            thread.join()


def database_url() -> str:
    """Return the URL of the test database, for another process."""
    name = connection.settings_dict["NAME"]
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    return urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}").geturl()
