"""System checks: each passes if all is well and reports a fault otherwise."""

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.core.checks import run_checks
from django.core.management import ManagementUtility
from django.db import DatabaseError, connection, connections

from workshop import system_checks as checks
from workshop.data_dir import ShopManagementUtility


def ids(found: list) -> list[str]:
    return [message.id for message in found]


def test_checks_pass_on_this_machine() -> None:
    assert [m for m in run_checks() if str(m.id).startswith("workshop.")] == []


def test_media_folder_that_can_be_created_passes(settings, tmp_path) -> None:
    settings.MEDIA_ROOT = tmp_path / "not" / "yet"
    assert checks.check_media_folder(None) == []


def test_media_folder_below_a_file_is_an_error(settings, tmp_path) -> None:
    file = tmp_path / "files"
    file.write_text("no folder")
    settings.MEDIA_ROOT = file / "inside"
    (message,) = checks.check_media_folder(None)
    assert message.id == "workshop.E001"
    assert str(file) in message.hint


def test_media_folder_without_write_permission_is_an_error(settings, tmp_path, monkeypatch) -> None:
    # Patch os.access, since root may write anywhere.
    settings.MEDIA_ROOT = tmp_path
    monkeypatch.setattr(checks.os, "access", lambda path, mode: False)
    assert ids(checks.check_media_folder(None)) == ["workshop.E001"]


@pytest.fixture
def open_shop(settings) -> Iterator[Path]:
    """Return a data folder that other accounts can reach; pytest's own folders they cannot."""
    with tempfile.TemporaryDirectory() as folder:
        settings.DATA_DIR = Path(folder)
        settings.MEDIA_ROOT = settings.DATA_DIR / "files"
        settings.MEDIA_ROOT.mkdir()
        settings.MEDIA_ROOT.chmod(0o755)  # whatever the umask
        settings.DATA_DIR.chmod(0o755)
        yield settings.DATA_DIR


def test_data_that_others_may_read_are_a_warning_that_says_what_to_do(open_shop: Path) -> None:
    (message,) = checks.check_private_files(None)
    assert message.id == "workshop.W007"
    assert str(open_shop) in message.msg and str(open_shop / "files") in message.msg
    assert f"chmod -R go= {open_shop}" in message.hint
    subprocess.run(["chmod", "-R", "go=", open_shop], check=True)
    assert checks.check_private_files(None) == []


def test_folder_within_a_closed_one_passes(open_shop: Path) -> None:
    open_shop.chmod(0o700)
    assert checks.check_private_files(None) == []


@pytest.mark.parametrize(
    ("free_mb", "words"), [(999, "nearly full. 999 MB"), (10, "The disk is full. 10 MB")]
)
def test_little_free_space_is_a_warning(monkeypatch, free_mb: int, words: str) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda path: SimpleNamespace(free=free_mb * 1_000_000))
    (message,) = checks.check_free_space(None)
    assert (message.id, words in message.msg) == ("workshop.W008", True)


def test_missing_font_is_an_error(monkeypatch) -> None:
    monkeypatch.setattr(checks, "FONTS", (*checks.FONTS, "vendor/none/None.ttf"))
    (message,) = checks.check_fonts(None)
    assert (message.id, "vendor/none/None.ttf" in message.msg) == ("workshop.E002", True)


def test_missing_library_is_an_error_with_install_hint(monkeypatch) -> None:
    monkeypatch.setattr(checks, "LIBRARIES", {"Pango": ("no-such-library",)})
    (message,) = checks.check_pdf_libraries(None)
    assert (message.id, "Pango" in message.msg) == ("workshop.E003", True)
    assert all(system in message.hint for system in ("Debian", "Fedora", "macOS"))


@pytest.mark.parametrize("backend", ["console", "dummy", "filebased"])
def test_missing_mail_server_is_a_warning(settings, backend) -> None:
    assert checks.check_mail(None) == []
    settings.EMAIL_BACKEND = f"django.core.mail.backends.{backend}.EmailBackend"
    (message,) = checks.check_mail(None)
    assert message.id == "workshop.W006" and "EMAIL_URL" in message.hint


def test_old_sqlite_is_a_warning(monkeypatch) -> None:
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 31, 1))
    monkeypatch.setattr(connection, "vendor", "sqlite")
    assert ids(checks.check_sqlite(None, databases=["default"])) == ["workshop.W004"]


class Journal:
    """A connection whose database has a given journal mode."""

    def __init__(self, mode: str) -> None:
        self.mode = mode

    def cursor(self) -> "Journal":
        return self

    def __enter__(self) -> "Journal":
        return self

    def __exit__(self, *error: object) -> None: ...

    def execute(self, sql: str) -> "Journal":
        assert sql == "PRAGMA journal_mode"
        return self

    def fetchone(self) -> tuple[str]:
        return (self.mode,)


@pytest.mark.parametrize(("mode", "warnings"), [("wal", []), ("memory", []), ("delete", ["workshop.W004"])])
def test_journal_without_write_ahead_log_is_a_warning(mode: str, warnings: list[str]) -> None:
    assert ids(checks.check_journal(Journal(mode))) == warnings


def test_unreachable_database_is_an_error(monkeypatch) -> None:
    def refuse() -> None:
        raise DatabaseError("connection refused")

    monkeypatch.setattr(connections["default"], "ensure_connection", refuse)
    (message,) = checks.check_database(None, databases=["default"])
    assert (message.id, "connection refused" in message.msg) == ("workshop.E005", True)


def manage(folder: Path, *command: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Run a command on a shop of its own, as typed at the command line."""
    environment = {**os.environ, "DATA_DIR": str(folder), "SECRET_KEY": "a secret", "HTTPS": "off"}
    environment |= {
        "DJANGO_SETTINGS_MODULE": "workshop.settings",
        "DATABASE_URL": f"sqlite:///{folder}/shop.sqlite3",
        **more,
    }
    return subprocess.run(
        [sys.executable, "manage.py", *command], env=environment, capture_output=True, text=True, check=False
    )


@pytest.mark.slow
def test_migrate_creates_missing_data_folder_and_reports_it(tmp_path) -> None:
    folder = tmp_path / "srv" / "workshop"
    made = manage(folder, "migrate", "--verbosity", "0")
    assert (made.returncode, made.stderr) == (0, "")
    assert f"Created the data folder {folder}" in made.stdout
    made_here = [folder, *folder.rglob("*")]
    assert {stat.filemode(path.stat().st_mode)[4:] for path in made_here} == {"------"}
    assert manage(folder, "check", "--database", "default").returncode == 0


def test_migrate_explains_why_data_folder_cannot_be_created(tmp_path) -> None:
    (tmp_path / "srv").write_text("a file where a folder should be")
    done = manage(tmp_path / "srv" / "workshop", "migrate")
    assert done.returncode == 1
    assert "could not be created (Not a directory). Create it or change DATA_DIR." in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize(
    "command",
    [
        ["check"],
        ["createsuperuser", "--noinput", "--username", "owner", "--email", "owner@shop.example"],
        ["changepassword", "owner"],
        ["backup", "shop.tar"],
        ["runserver", "127.0.0.1:0"],
        ["collectstatic", "--no-input"],
        ["showmigrations"],
        ["shell", "-c", "1"],
    ],
    ids=lambda command: command[0],
)
def test_command_without_data_folder_ends_with_one_sentence(tmp_path, command: list[str]) -> None:
    folder = tmp_path / "misspelt"
    done = manage(folder, *command)
    assert (done.returncode, done.stdout) == (1, "")
    (sentence,) = done.stderr.splitlines()
    assert str(folder) in sentence and "manage.py migrate" in sentence and "DATA_DIR" in sentence
    assert not folder.exists()


@pytest.mark.slow
@pytest.mark.parametrize("command", ["migrate", "check", "backup", "runserver"])
def test_command_without_secret_key_ends_with_one_sentence(tmp_path, command: str) -> None:
    done = manage(tmp_path, command, SECRET_KEY="", DEBUG="off")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("SECRET_KEY is not set.")


@pytest.mark.slow
@pytest.mark.parametrize("command", ["check --database default", "createsuperuser", "backup x.tar"])
def test_database_that_cannot_be_opened_ends_with_one_sentence(tmp_path, command: str) -> None:
    # As in a folder that may only be read: SQLite can't make its files there.
    address = f"sqlite:///{tmp_path}/none/shop.sqlite3"
    done = manage(tmp_path, *command.split(), DATABASE_URL=address)
    assert done.returncode == 1
    assert "unable to open database file" in done.stderr
    assert "Traceback" not in done.stderr
    assert str(tmp_path) in done.stderr


def test_folder_that_may_only_be_read_ends_with_one_sentence(monkeypatch) -> None:
    def refuse(self: object) -> None:
        raise PermissionError(13, "Permission denied", "/srv/workshop/static")

    monkeypatch.setattr(ManagementUtility, "execute", refuse)
    with pytest.raises(SystemExit, match=r"'/srv/workshop/static'.*must be able to write there"):
        ShopManagementUtility(["manage.py", "collectstatic"]).execute()
    with pytest.raises(PermissionError):
        ShopManagementUtility(["manage.py", "collectstatic", "--traceback"]).execute()


@pytest.mark.slow
def test_help_needs_no_data_folder(tmp_path) -> None:
    assert manage(tmp_path / "none", "backup", "--help").returncode == 0
    assert manage(tmp_path / "none", "help", "restore").returncode == 0


@pytest.mark.django_db
def test_database_in_order_passes() -> None:
    assert checks.check_database(None, databases=["default"]) == []
    assert checks.check_sqlite(None, databases=["default"]) == []


def test_database_is_not_queried_unless_requested(monkeypatch) -> None:
    monkeypatch.setattr(connections["default"], "ensure_connection", lambda: pytest.fail("queried"))
    assert checks.check_database(None) == checks.check_sqlite(None) == []


def test_checks_import_neither_matplotlib_nor_weasyprint() -> None:
    code = (
        "import django, sys; django.setup(); from django.core.checks import run_checks; run_checks(); "
        "print(sorted({'matplotlib', 'weasyprint'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
