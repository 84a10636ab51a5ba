"""``manage.py print_sheet``, started by the site to print a sheet outside the request."""

import signal
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from reports.tasks import print_sheet


class Command(BaseCommand):
    help = "Print an issued sheet. The site starts this itself; use the handover page to print again."
    requires_system_checks = ()  # the site that starts this passed them already

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("sheet", type=int, help="primary key of the sheet")
        parser.add_argument("attempt", type=int, help="number of the attempt to print it")

    def handle(self, *args: Any, **options: Any) -> None:
        # Raised as an exception, so that print_sheet records that it was stopped.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        print_sheet.call(options["sheet"], options["attempt"])
