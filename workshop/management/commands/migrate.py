"""``manage.py migrate``: Django's own command, which creates the data folder first."""

from typing import Any

from django.core.management import CommandError
from django.core.management.commands import migrate
from django.db import connections
from django.db.migrations.recorder import MigrationRecorder

from workshop.backup.records import is_too_old
from workshop.data_dir import create_data_dir


class Command(migrate.Command):
    def execute(self, *args: Any, **options: Any) -> str | None:
        # Before Django's checks, which open the database.
        create_data_dir(self.stdout.write)
        return super().execute(*args, **options)

    def handle(self, *args: Any, **options: Any) -> None:
        if is_too_old(MigrationRecorder(connections[options["database"]]).applied_migrations()):
            raise CommandError(
                "This database is too old for this version. Update it with a version in between first."
            )
        super().handle(*args, **options)
