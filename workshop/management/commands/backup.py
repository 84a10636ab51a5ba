"""``manage.py backup FILE.tar``: write the whole shop to one file, while it works."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from workshop.backup import create_backup, verify_backup
from workshop.models import BackupTaken


class Command(BaseCommand):
    help = "Back up the database and all files into one verified file."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("target", type=Path, help="a file such as shop.tar, or a folder")
        parser.add_argument(
            "--check", action="store_true", help="verify an existing backup without writing one"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if options["check"]:
                path, manifest = options["target"], verify_backup(options["target"])
            else:
                path, manifest = create_backup(options["target"])
                BackupTaken.record_backup(manifest, size=path.stat().st_size, by=None)
        except (ValueError, OSError) as problem:
            raise CommandError(f"Backup failed: {problem}") from problem
        self.stdout.write(f"{path}: {manifest.summary}.")
