"""``manage.py migrate``: Django's own, which makes the shop's folder first where there is none."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError
from django.core.management.commands import migrate


class Command(migrate.Command):
    def execute(self, *args: Any, **options: Any) -> str | None:
        # Before Django's own checks, which open the database.
        self.make_folder(Path(settings.DATA_DIR))
        return super().execute(*args, **options)

    def make_folder(self, folder: Path) -> None:
        """Make it and say so, since a folder that was meant to be there may be misspelt."""
        if folder.is_dir():
            return
        try:
            folder.mkdir(parents=True)
        except OSError as problem:
            raise CommandError(
                f"The folder {folder}, where database, uploads and issued sheets belong, is missing and "
                f"can't be made ({problem.strerror}). Make it, or point DATA_DIR elsewhere."
            ) from problem
        self.stdout.write(f"Made the folder {folder} (DATA_DIR): a shop that is kept elsewhere is not in it.")
