"""System checks of the machine that the site runs on, each with an id and a hint.

They run at start-up and with ``manage.py check``; those of the database with ``manage.py check
--database default`` and with ``migrate``. None imports the libraries that it looks for.
"""

import os
import sqlite3
import stat
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cffi
from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.core.files.storage import FileSystemStorage, default_storage
from django.db import DatabaseError, connections

from workshop.disk import measure_free_space
from workshop.mail.server import has_mail_server

FONTS = (
    "vendor/ibm-plex-sans-1.1.0/IBMPlexSans-Regular.ttf",
    "vendor/ibm-plex-sans-1.1.0/IBMPlexSans-SemiBold.ttf",
    "vendor/ibm-plex-mono-2.5.0/IBMPlexMono-Regular.ttf",
)
# The names of each library on Linux, macOS and Windows, as WeasyPrint looks for them.
LIBRARIES = {
    "GObject": ("libgobject-2.0.so.0", "libgobject-2.0.0.dylib", "gobject-2.0", "libgobject-2.0-0"),
    "Pango": ("libpango-1.0.so.0", "libpango-1.0.dylib", "pango-1.0", "libpango-1.0-0"),
    "PangoFT2": ("libpangoft2-1.0.so.0", "libpangoft2-1.0.dylib", "pangoft2-1.0", "libpangoft2-1.0-0"),
    "HarfBuzz": ("libharfbuzz.so.0", "libharfbuzz.0.dylib", "harfbuzz", "libharfbuzz-0"),
    "HarfBuzz-Subset": (
        "libharfbuzz-subset.so.0",
        "libharfbuzz-subset.0.dylib",
        "harfbuzz-subset",
        "libharfbuzz-subset-0",
    ),
    "Fontconfig": ("libfontconfig.so.1", "libfontconfig.1.dylib", "fontconfig", "libfontconfig-1"),
}
INSTALL_HINT = (
    "Debian: apt install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0. "
    "Fedora: dnf install pango harfbuzz-subset. macOS: brew install pango."
)
# Row values, RETURNING and JSON as we use them; Django itself requires 3.31.
MIN_SQLITE = (3, 35, 0)


def nearest_existing_parent(folder: Path) -> Path:
    return next(path for path in (folder, *folder.parents) if path.exists())


@register()
def check_media_folder(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Check that the folder of uploads and issued sheets can be written or created."""
    if not isinstance(default_storage, FileSystemStorage):
        return []
    folder = Path(settings.MEDIA_ROOT)
    parent = nearest_existing_parent(folder)
    if parent.is_dir() and os.access(parent, os.W_OK | os.X_OK):
        return []
    return [
        Error(
            f"{folder} is not writable. Uploads and issued sheets are stored there.",
            hint=f"Give the account that runs the site write access to {parent}, or change DATA_DIR.",
            id="workshop.E001",
        )
    ]


@register()
def check_private_files(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Check that no other account of the machine can read the shop's data."""
    database = connections["default"].settings_dict["NAME"] if is_sqlite() else ""
    paths = [Path(settings.DATA_DIR), Path(settings.MEDIA_ROOT)]
    paths += [Path(f"{database}{end}") for end in ("", "-wal", "-shm") if database]
    readable = [path for path in paths if os.name == "posix" and is_open_to_others(path)]
    if not readable:
        return []
    return [
        Warning(
            f"Other accounts on this machine can read {', '.join(map(str, readable))}.",
            hint=f"Restrict access to the folder and its contents: chmod -R go= {settings.DATA_DIR}",
            id="workshop.W007",
        )
    ]


def is_sqlite() -> bool:
    return connections["default"].vendor == "sqlite"


def is_open_to_others(path: Path) -> bool:
    """Return True if another account may use a path, and reach it through the folders above."""
    try:
        is_open = bool(path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO))
        ways = (parent.stat().st_mode & (stat.S_IXGRP | stat.S_IXOTH) for parent in path.resolve().parents)
        return is_open and all(ways)
    except OSError:
        return False  # missing, or out of reach even for us


@register()
def check_free_space(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Check that the disk has room."""
    sentence = measure_free_space().sentence
    return [Warning(sentence, id="workshop.W008")] if sentence else []


@register()
def check_fonts(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Check that the fonts of charts and sheets are there."""
    missing = [font for font in FONTS if finders.find(font) is None]
    if not missing:
        return []
    return [
        Error(
            f"Fonts are missing: {', '.join(missing)}.",
            hint="Restore static/vendor from the repository.",
            id="workshop.E002",
        )
    ]


def can_load(names: tuple[str, ...]) -> bool:
    ffi = cffi.FFI()
    for name in names:
        try:
            ffi.dlopen(name)
        except OSError:
            continue
        return True
    return False


@register()
def check_pdf_libraries(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Check for the system libraries of WeasyPrint, which pip does not install."""
    missing = [library for library, names in LIBRARIES.items() if not can_load(names)]
    if not missing:
        return []
    return [
        Error(
            f"Handover sheets cannot be created: {', '.join(missing)} could not be loaded.",
            hint=INSTALL_HINT,
            id="workshop.E003",
        )
    ]


@register(deploy=True)
def check_mail(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Warn if no mail server is set up."""
    if has_mail_server():
        return []
    return [
        Warning(
            "No mail server is set up. The site sends no mails and offers links to copy instead.",
            hint="Set EMAIL_URL and DEFAULT_FROM_EMAIL, then send a test mail from the Shop page.",
            id="workshop.W006",
        )
    ]


@register(Tags.database)
def check_sqlite(
    app_configs: Sequence[Any] | None, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """Check that the embedded database lets many read while one writes."""
    connection = connections["default"]
    if "default" not in (databases or ()) or connection.vendor != "sqlite":
        return []
    if sqlite3.sqlite_version_info < MIN_SQLITE:
        oldest = ".".join(map(str, MIN_SQLITE))
        return [
            Warning(
                f"SQLite {sqlite3.sqlite_version} is older than {oldest}.",
                hint="Use a newer Python build, or set DATABASE_URL to a PostgreSQL database.",
                id="workshop.W004",
            )
        ]
    return check_journal(connection)


def check_journal(connection: Any) -> list[CheckMessage]:
    try:
        with connection.cursor() as cursor:
            mode = cursor.execute("PRAGMA journal_mode").fetchone()[0]
    except DatabaseError:
        return []  # check_database reports it
    if mode in ("wal", "memory"):
        return []
    return [
        Warning(
            f"SQLite uses journal mode “{mode}” instead of WAL, so readers block while someone writes.",
            hint="Put DATA_DIR on a local disk instead of a network share, or use PostgreSQL.",
            id="workshop.W004",
        )
    ]


@register(Tags.database)
def check_database(
    app_configs: Sequence[Any] | None, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """Check that the database answers."""
    if "default" not in (databases or ()):
        return []
    try:
        connections["default"].ensure_connection()
    except DatabaseError as problem:
        return [
            Error(
                f"Cannot connect to the database: {str(problem).strip()}",
                hint="Check DATABASE_URL and that the database is running. For SQLite, check DATA_DIR.",
                id="workshop.E005",
            )
        ]
    return []
