"""``manage.py restore FILE.tar``: restore a shop from its backup, on a new machine."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from workshop.backup import restore_backup
from workshop.data_dir import create_data_dir


class Command(BaseCommand):
    help = "Restore a backup into an empty installation and verify it."
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("backup", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        create_data_dir(self.stdout.write)
        try:
            manifest = restore_backup(options["backup"])
        except (ValueError, OSError) as problem:
            raise CommandError(f"Restore failed: {problem}") from problem
        self.stdout.write(f"Restored: {manifest.summary}.")
