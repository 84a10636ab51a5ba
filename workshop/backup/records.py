"""The database as files: a consistent copy made while others write, and its restoration.

SQLite is copied by its own online backup; PostgreSQL by COPY of every table in one repeatable-read
transaction, so that no program beside this one (and no version of it) is needed.
"""

import csv
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection, models, transaction
from django.db.migrations.loader import MigrationLoader

MIGRATIONS_TABLE = "django_migrations"
MAX_CELL_CHARS = 1 << 30


@dataclass(frozen=True)
class DatabaseCopy:
    """Content of a copy of the database."""

    engine: str
    rows: dict[str, int]  # by table
    named_files: list[str]  # every file that a row names
    migrations: list[list[str]]  # app and name, in the order in which they were applied
    parts: list[Path]


def file_columns() -> list[tuple[str, str]]:
    """List table and column of every field that names a stored file."""
    return [
        (model._meta.db_table, str(field.column))
        for model in apps.get_models()
        for field in model._meta.local_concrete_fields
        if isinstance(field, models.FileField)
    ]


def quote(name: str) -> str:
    return connection.ops.quote_name(name)


RunQuery = Callable[[str], Iterable[Any]]  # SQL to rows


def describe_database(run_query: RunQuery, tables: list[str], parts: list[Path]) -> DatabaseCopy:
    """Count the rows and list the files of one state of the database."""
    names: set[str] = set()
    for table, column in file_columns():
        if table in tables:
            found = run_query(f"SELECT {quote(column)} FROM {quote(table)} WHERE {quote(column)} <> ''")
            names.update(row[0] for row in found)
    rows = {table: next(iter(run_query(f"SELECT COUNT(*) FROM {quote(table)}")))[0] for table in tables}
    applied = [list(row) for row in run_query(f"SELECT app, name FROM {MIGRATIONS_TABLE} ORDER BY id")]
    return DatabaseCopy(connection.vendor, rows, sorted(names), applied, parts)


def copy_database(folder: Path) -> DatabaseCopy:
    """Write a consistent copy of the database into a folder."""
    return copy_sqlite(folder) if connection.vendor == "sqlite" else copy_postgresql(folder)


# SQLite


def sqlite_tables(copy: sqlite3.Connection) -> list[str]:
    found = copy.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
    return sorted(name for (name,) in found if not name.startswith("sqlite_"))


def copy_sqlite(folder: Path) -> DatabaseCopy:
    path = folder / "workshop.sqlite3"
    # On its own connection, since one that is writing waits for ever; and in one step, so that what
    # others write in the meantime is not in the copy.
    database = connection.settings_dict["NAME"]
    with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(path)) as copy:
        source.backup(copy, pages=-1)
        copy.execute("PRAGMA journal_mode = DELETE")
        return describe_database(copy.execute, sqlite_tables(copy), [path])


def count_sqlite_rows(path: Path) -> dict[str, int]:
    """Count the rows of a copy by table; raise ValueError if it is damaged."""
    with closing(sqlite3.connect(path)) as copy:
        try:
            faults = [row[0] for row in copy.execute("PRAGMA integrity_check")]
            if faults != ["ok"]:
                raise ValueError(f"The copy of the database is damaged: {faults[0]}")
            return describe_database(copy.execute, sqlite_tables(copy), [path]).rows
        except sqlite3.DatabaseError as problem:
            raise ValueError(f"The copy of the database is damaged: {problem}") from problem


def restore_sqlite(path: Path) -> None:
    connection.ensure_connection()
    with closing(sqlite3.connect(path)) as copy:
        copy.backup(connection.connection)
    connection.close()


# PostgreSQL


@contextmanager
def snapshot_cursor() -> Iterator[Any]:
    """Give a cursor that sees one state of the database, on its own connection."""
    own = connection.copy()
    try:
        own.set_autocommit(False)
        with own.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield cursor
        own.rollback()
    finally:
        own.close()


def list_columns(table: str) -> str:
    with connection.cursor() as cursor:
        description = connection.introspection.get_table_description(cursor, table)
    return ", ".join(quote(column.name) for column in description)


def copy_postgresql(folder: Path) -> DatabaseCopy:
    tables = sorted(connection.introspection.table_names())
    with snapshot_cursor() as cursor:

        def run_query(query: str) -> list[Any]:
            cursor.execute(query)
            return list(cursor.fetchall())

        copy = describe_database(run_query, tables, [folder / f"{table}.csv" for table in tables])
        for table, path in zip(tables, copy.parts, strict=True):
            sql = f"COPY {quote(table)} ({list_columns(table)}) TO STDOUT WITH (FORMAT csv, HEADER)"
            with path.open("wb") as out, cursor.copy(sql) as rows:
                for block in rows:
                    out.write(block)
    return copy


def count_csv_rows(path: Path) -> int:
    """Count the rows of a table's copy."""
    csv.field_size_limit(MAX_CELL_CHARS)
    try:
        with path.open(newline="", encoding="utf-8") as lines:
            return sum(1 for _ in csv.reader(lines)) - 1
    except csv.Error as problem:
        raise ValueError(f"The copy of the table {path.stem} is damaged: {problem}") from problem


def count_copy_rows(engine: str, parts: list[Path]) -> dict[str, int]:
    """Count the rows of a copy by table; raise ValueError if it is damaged."""
    if engine == "sqlite":
        return count_sqlite_rows(parts[0])
    return {part.stem: count_csv_rows(part) for part in parts}


def squashed_migrations() -> dict[tuple[str, str], set[tuple[str, str]]]:
    """Return the squashed migrations, by app and name, with those that each replaces."""
    known = MigrationLoader(None).disk_migrations
    return {key: set(migration.replaces) for key, migration in known.items() if migration.replaces}


def is_too_old(migrations: Iterable[Sequence[str]]) -> bool:
    """Return True if a database is between migrations that have been squashed into one since."""
    applied = {(app, name) for app, name in migrations}
    return any(0 < len(applied & replaced) < len(replaced) for replaced in squashed_migrations().values())


def last_migrations(migrations: list[list[str]]) -> dict[str, str]:
    """Return by app the migration that builds its tables as they were when the copy was made.

    It is the one with most migrations before it: a squashed one is noted after all others.
    """
    squashed = {old: name for (_, name), replaced in squashed_migrations().items() for old in replaced}
    graph = MigrationLoader(None).graph
    last: dict[str, tuple[int, str]] = {}
    for app, noted in migrations:
        name = squashed.get((app, noted), noted)
        if app in apps.app_configs:
            before = len(graph.forwards_plan((app, name))) if (app, name) in graph.nodes else 0
            last[app] = max(last.get(app, (0, name)), (before, name))
    return {app: name for app, (_, name) in last.items()}


def restore_postgresql(parts: list[Path], migrations: list[list[str]]) -> None:
    """Create the tables as of the copy's migrations, and fill them."""
    for app, name in last_migrations(migrations).items():
        call_command("migrate", app, name, verbosity=0, interactive=False)
    by_table = {path.stem: path for path in parts if path.stem != MIGRATIONS_TABLE}
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"TRUNCATE {', '.join(map(quote, by_table))} RESTART IDENTITY CASCADE")
        for table, path in by_table.items():
            with path.open("rb") as rows:
                header = ", ".join(map(quote, rows.readline().decode().strip().split(",")))
                sql = f"COPY {quote(table)} ({header}) FROM STDIN WITH (FORMAT csv)"
                with cursor.copy(sql) as target:
                    while block := rows.read(1 << 20):
                        target.write(block)
        # An older copy lacks the tables of later versions.
        models = [
            model for model in apps.get_models(include_auto_created=True) if model._meta.db_table in by_table
        ]
        for sql in connection.ops.sequence_reset_sql(no_style(), models):
            cursor.execute(sql)


def restore_database(parts: list[Path], migrations: list[list[str]]) -> None:
    if connection.vendor == "sqlite":
        restore_sqlite(parts[0])
    else:
        restore_postgresql(parts, migrations)


def count_rows(tables: Iterable[str]) -> dict[str, int]:
    """Count the rows of tables of the database in use."""
    with connection.cursor() as cursor:
        counted = {}
        for table in tables:
            cursor.execute(f"SELECT COUNT(*) FROM {quote(table)}")
            counted[table] = cursor.fetchone()[0]
    return counted
