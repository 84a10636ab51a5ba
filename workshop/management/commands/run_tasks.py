"""``manage.py run_tasks``, started by the web server: load what tasks need, then fork for each task."""

import json
import logging
import os
import signal
import sys
from contextlib import suppress
from typing import Any

from django.core.management.base import BaseCommand
from django.db import connections
from django.utils.module_loading import import_string
from django_tasks.base import Task

from workshop.background.abandoned import report_stop
from workshop.background.processes import begin_only_task, warm_up_steps

logger = logging.getLogger(__name__)


class Command(BaseCommand):
    help = "Run the tasks that the web server writes to this process. The server starts this itself."
    requires_system_checks = ()  # the site that starts this passed them already

    def handle(self, *args: Any, **options: Any) -> None:
        for step in warm_up_steps:
            step()
        connections.close_all()  # a connection belongs to one process
        signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # leave no zombies
        for line in sys.stdin:
            if os.fork() == 0:
                watch(*json.loads(line))
        # The children use this process's temporary folder of fonts.
        with suppress(ChildProcessError):
            while True:
                os.wait()


def watch(path: str, args: list[Any]) -> None:
    """Run a task in another fork, and report it if that ends before the task did."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    try:
        task = import_string(path)
        child = os.fork()
        if child == 0:
            os._exit(run(task, args))
        os.waitpid(child, 0)
        report_stop(path, args, "")
    except Exception:
        logger.exception("The end of the task %s could not be recorded.", path)
    finally:
        os._exit(0)


def run(task: Task[Any, Any], args: list[Any]) -> int:
    """Run a task and return the exit status of its process."""
    begin_only_task()
    try:
        task.call(*args)
    except BaseException:
        logger.exception("The task %s failed.", task.module_path)
        return 1
    return 0
