"""The data folder (DATA_DIR): created by commands that start a shop, required by all others."""

import sqlite3
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import ManagementUtility
from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError

# The umask with which files of the shop are created: for the account that runs it alone.
PRIVATE = 0o077
CREATES_DATA_DIR = {"migrate", "restore", "demo"}


def create_data_dir(write: Callable[[str], object]) -> None:
    """Create the data folder and report it, in case the path of an existing shop is misspelt."""
    folder = Path(settings.DATA_DIR)
    if folder.is_dir():
        return
    try:
        folder.mkdir(parents=True)
    except OSError as problem:
        raise CommandError(
            f"The data folder {folder} does not exist and could not be created ({problem.strerror}). "
            "Create it or change DATA_DIR."
        ) from problem
    write(f"Created the data folder {folder} (DATA_DIR). If your shop's data are elsewhere, change DATA_DIR.")


class ShopManagementUtility(ManagementUtility):
    """Django's command line, with a clear error if a setting or the data folder is missing."""

    def execute(self) -> None:
        """Run the command; a database or folder that can't be used ends it with one sentence."""
        try:
            super().execute()
        except (OperationalError, sqlite3.OperationalError, PermissionError) as problem:
            if "--traceback" in self.argv:
                raise
            raise SystemExit(
                f"The shop's data cannot be used: {str(problem).strip()}. Check DATA_DIR "
                f"({settings.DATA_DIR}) and DATABASE_URL: the account that runs this command must be "
                "able to write there. “manage.py migrate” creates a new database. "
                "With --traceback this command shows where it failed."
            ) from None

    def fetch_command(self, subcommand: str) -> BaseCommand:
        wants_help = self.argv[1:2] == ["help"] or not {"-h", "--help", "--version"}.isdisjoint(self.argv)
        try:
            command = super().fetch_command(subcommand)
            ready = wants_help or Path(settings.DATA_DIR).is_dir() or subcommand in CREATES_DATA_DIR
        except ImproperlyConfigured as problem:
            raise SystemExit(str(problem)) from None
        if not ready:
            raise SystemExit(
                f"The data folder {settings.DATA_DIR} does not exist. For a new shop, run “manage.py "
                "migrate”. For an existing shop, set DATA_DIR to its folder."
            )
        return command
