"""``manage.py run_task``, started by the site to run a task outside the request."""

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils.module_loading import import_string
from django_tasks.base import Task

from workshop.background.processes import begin_only_task


class Command(BaseCommand):
    help = "Run a task, such as printing a sheet or sending a mail. The site starts this itself."
    requires_system_checks = ()  # the site that starts this passed them already

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("task", help="path of the task")
        parser.add_argument("arguments", help="its arguments as a JSON list")

    def handle(self, *args: Any, **options: Any) -> None:
        task = import_string(options["task"])
        if not isinstance(task, Task):
            raise CommandError(f"{options['task']} is not a task.")
        begin_only_task()
        task.call(*json.loads(options["arguments"]))
