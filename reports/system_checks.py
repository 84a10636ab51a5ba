"""System checks of what printing needs, each with an id and a hint."""

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Tags, Warning, register
from django.db import DatabaseError, connections

from reports.tasks import print_sheet


@register(Tags.database)
def check_task_tables(
    app_configs: Sequence[Any] | None, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """Warn if the tables are missing that a worker takes its tasks from."""
    from django_tasks_db import DatabaseBackend
    from django_tasks_db.models import DBTaskResult

    if "default" not in (databases or ()) or not isinstance(print_sheet.get_backend(), DatabaseBackend):
        return []
    try:
        tables = connections["default"].introspection.table_names()
    except DatabaseError:
        return []  # another check reports that the database cannot be reached
    if DBTaskResult._meta.db_table in tables:
        return []
    return [
        Warning(
            "TASKS=database is set but the task tables are missing, so no sheet can be issued.",
            hint="Run manage.py migrate, or unset TASKS.",
            id="reports.W001",
        )
    ]
