"""Test database: migrated once per state of the code, then copied."""

import fcntl
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from hashlib import sha256
from pathlib import Path

from django.db import connection

ROOT = Path(__file__).parents[1]
APPS = ("workshop", "jobs", "reports")


def code_digest() -> str:
    """Hash the code that determines the content of a migrated database."""
    sources = [ROOT / "requirements.txt"]
    sources += sorted(path for app in APPS for path in (ROOT / app).rglob("*.py"))
    return sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()


@contextmanager
def copied_database(folder: Path) -> Iterator[bool]:
    """Copy a migrated SQLite database to the test database, or keep the one that the caller creates.

    Yields
    ------
    bool
        Whether the test database is there already. Other workers wait while it is created.
    """
    if connection.vendor != "sqlite":
        yield False
        return
    template = folder / f"{code_digest()}.sqlite3"
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        is_there = template.exists()
        if is_there:
            shutil.copyfile(template, connection.settings_dict["TEST"]["NAME"])
        yield is_there
        if not is_there:
            for outdated in folder.glob("*.sqlite3"):
                outdated.unlink()
            unfinished = folder / "unfinished"
            unfinished.unlink(missing_ok=True)
            with closing(sqlite3.connect(unfinished)) as target:
                connection.connection.backup(target)
            unfinished.rename(template)
