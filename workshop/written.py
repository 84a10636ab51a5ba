"""Whether anything was written to the database since: what rests on reading alone can be kept till then."""

from collections.abc import Hashable

from django.db import connection


def written_mark() -> Hashable | None:
    """What stays the same as long as nobody has written anything to the database, and no longer.

    To be asked for before reading what is kept under it. None inside a transaction: what that has
    written may still be undone, and then is no change.

    Sources: SQLite's "PRAGMA data_version", which tells the writing of every connection but this one, and
    sqlite3_total_changes(), which tells this one's; PostgreSQL's pg_current_snapshot(), by which all that
    is seen is chosen.
    """
    if connection.in_atomic_block:
        return None
    sqlite = connection.vendor == "sqlite"
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA data_version" if sqlite else "SELECT pg_current_snapshot()::text")
        (mark,) = cursor.fetchone()
    # The connection itself, since its numbers tell nothing on another.
    return (connection.connection, mark, connection.connection.total_changes) if sqlite else mark
