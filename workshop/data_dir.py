"""The shop's folder (DATA_DIR): made by the commands that begin a shop, asked for by all others."""

from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import ManagementUtility
from django.core.management.base import BaseCommand, CommandError

NEED_NO_FOLDER = {"migrate", "restore", "demo"}  # they make it


def make_shop_folder(say: Callable[[str], object]) -> None:
    """Make it and say so, since a folder that was meant to be there may be misspelt."""
    folder = Path(settings.DATA_DIR)
    if folder.is_dir():
        return
    try:
        folder.mkdir(parents=True)
    except OSError as problem:
        raise CommandError(
            f"The folder {folder}, where database, uploads and issued sheets belong, is missing and "
            f"can't be made ({problem.strerror}). Make it, or point DATA_DIR elsewhere."
        ) from problem
    say(f"Made the folder {folder} (DATA_DIR): a shop that is kept elsewhere is not in it.")


class ShopCommands(ManagementUtility):
    """Django's command line, which ends in a sentence where a setting or the shop's folder is missing."""

    def fetch_command(self, subcommand: str) -> BaseCommand:
        asks_how = self.argv[1:2] == ["help"] or not {"-h", "--help", "--version"}.isdisjoint(self.argv)
        try:
            command = super().fetch_command(subcommand)
            ready = asks_how or Path(settings.DATA_DIR).is_dir() or subcommand in NEED_NO_FOLDER
        except ImproperlyConfigured as problem:
            raise SystemExit(str(problem)) from None
        if not ready:
            raise SystemExit(
                f"The folder {settings.DATA_DIR}, where database, uploads and issued sheets belong, is "
                "missing: for a new shop “manage.py migrate” makes it; for one that is kept elsewhere, "
                "point DATA_DIR there."
            )
        return command
