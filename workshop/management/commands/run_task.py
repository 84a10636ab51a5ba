"""``manage.py run_task``, started by the site to run a task outside the request."""

import json
import signal
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.module_loading import import_string
from django_tasks.base import Task


class Command(BaseCommand):
    help = "Run a task, such as printing a sheet or sending a mail. The site starts this itself."
    requires_system_checks = ()  # the site that starts this passed them already

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("task", help="path of the task")
        parser.add_argument("arguments", help="its arguments as a JSON list")

    def handle(self, *args: Any, **options: Any) -> None:
        task = import_string(options["task"])
        if not isinstance(task, Task):
            raise CommandError(f"{options['task']} is no task.")
        # Raised as an exception, so that the task records that it was stopped.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        task.call(*json.loads(options["arguments"]))
