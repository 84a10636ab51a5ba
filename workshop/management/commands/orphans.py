"""``manage.py orphans``: list the stored files that no record names, and delete them with ``--delete``."""

from typing import Any

from django.core.files.storage import default_storage
from django.core.management.base import BaseCommand, CommandParser
from django.template.defaultfilters import pluralize

from workshop.backup.orphans import find_orphans


class Command(BaseCommand):
    help = "List stored files that no record refers to. Files from the last hour are skipped."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--delete", action="store_true", help="delete them")

    def handle(self, *args: Any, **options: Any) -> None:
        orphans = find_orphans()
        for name in orphans:
            if options["delete"]:
                default_storage.delete(name)
            self.stdout.write(name)
        done = "deleted" if options["delete"] else "found, none deleted"
        self.stdout.write(f"{len(orphans)} file{pluralize(len(orphans))} without a record {done}.")
