"""Stored files that no row names, such as those of an upload that was refused at its end."""

from collections.abc import Iterator
from datetime import timedelta

from django.core.files.storage import default_storage
from django.db import connection
from django.utils import timezone

from workshop.backup.records import file_columns, quote

# A file is stored before its row: one that is this young may still get it.
MIN_AGE = timedelta(hours=1)


def find_orphans() -> list[str]:
    """Return the names of stored files that no row names and that are not too young to have one."""
    youngest = timezone.now() - MIN_AGE
    stored = [name for name in walk_storage("") if default_storage.get_modified_time(name) < youngest]
    named = named_files()
    return sorted(name for name in stored if name not in named)


def walk_storage(folder: str) -> Iterator[str]:
    folders, files = default_storage.listdir(folder)
    yield from (f"{folder}{name}" for name in files)
    for name in folders:
        yield from walk_storage(f"{folder}{name}/")


def named_files() -> set[str]:
    names: set[str] = set()
    with connection.cursor() as cursor:
        for table, column in file_columns():
            cursor.execute(f"SELECT {quote(column)} FROM {quote(table)}")
            names.update(name for (name,) in cursor.fetchall() if name)
    return names
