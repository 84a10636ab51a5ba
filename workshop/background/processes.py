"""Run tasks in processes started on demand: a django-tasks backend that needs no worker."""

import json
import sys
from functools import partial
from subprocess import DEVNULL, Popen
from threading import Thread
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone
from django_tasks.backends.base import BaseTaskBackend
from django_tasks.base import Task, TaskResult, TaskResultStatus
from django_tasks.utils import get_random_id

from workshop.background.abandoned import report_stop

THREAD_NAME = "waits for run_task"


class ProcessBackend(BaseTaskBackend):
    """Backend that runs a task in a process of its own after the transaction commits."""

    def enqueue(self, task: Task[Any, Any], args: Any, kwargs: Any) -> TaskResult[Any]:
        self.validate_task(task)
        transaction.on_commit(partial(start_process, task.module_path, *args, **kwargs))
        return TaskResult(
            task=task,
            id=get_random_id(),
            status=TaskResultStatus.READY,
            enqueued_at=timezone.now(),
            started_at=None,
            finished_at=None,
            last_attempted_at=None,
            args=args,
            kwargs=kwargs,
            backend=self.alias,
            errors=[],
            worker_ids=[],
        )


def start_process(path: str, *args: Any) -> None:
    """Start ``manage.py run_task`` and return without waiting for it."""
    manage = str(settings.BASE_DIR / "manage.py")
    command = [sys.executable, manage, "run_task", path, json.dumps(args)]
    try:
        # In a session of its own it outlives the server: Ctrl+C or a restart does not stop the task.
        process = Popen(command, stdin=DEVNULL, stdout=DEVNULL, start_new_session=True)
    except OSError as problem:
        report_stop(path, args, f"The process for it could not be started: {problem.strerror}.")
        return
    # A daemon, so that the server can exit while a task runs.
    Thread(target=reap, args=(process, path, args), name=THREAD_NAME, daemon=True).start()


def reap(process: "Popen[bytes]", path: str, args: tuple[Any, ...]) -> None:
    """Wait for a process, so that no zombie is left, and report a task that it did not finish."""
    process.wait()
    try:
        report_stop(path, args, "")
    finally:
        connection.close()
