"""Run tasks in processes started on demand: a django-tasks backend that needs no worker.

The web server keeps one process that has loaded the libraries of the tasks and forks for each
(`manage.py run_tasks`). If there is none, each task gets a new process, which loads them first.
"""

import gc
import json
import logging
import os
import signal
import sys
from collections.abc import Callable
from functools import partial
from subprocess import DEVNULL, Popen
from threading import Event, Thread
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone
from django_tasks.backends.base import BaseTaskBackend
from django_tasks.base import Task, TaskResult, TaskResultStatus
from django_tasks.utils import get_random_id

from workshop.background.abandoned import report_stop

THREAD_NAME = "waits for run_task"
TASKS_FD = "TASKS_FD"  # workshop/server.py lays the file descriptor of that process in the environment

logger = logging.getLogger(__name__)
_own_process = Event()  # set in a process that runs one task and nothing else

warm_up_steps: list[Callable[[], None]] = []  # what it loads; apps add theirs from AppConfig.ready


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
    """Start a process for a task and return without waiting for it."""
    if send_to_warm_process(path, args):
        return
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


def send_to_warm_process(path: str, args: tuple[Any, ...]) -> bool:
    """Hand a task to the process that forks for tasks; return False if there is none."""
    if TASKS_FD not in os.environ:
        return False
    line = f"{json.dumps([path, args])}\n".encode()
    try:
        # Lines of several web processes do not mix: what is shorter than a pipe's buffer is written at once.
        return os.write(int(os.environ[TASKS_FD]), line) == len(line)
    except OSError:
        return False


def begin_only_task() -> None:
    """Prepare a process for the one task that it runs, with whose end it ends."""
    _own_process.set()
    gc.disable()  # a sheet makes many objects and drops few
    # Raised as an exception, so that the task records that it was stopped.
    signal.signal(signal.SIGTERM, signal.default_int_handler)


def run_aside(work: Callable[[], None]) -> None:
    """Run what a task need not wait for: in a fork, or at once if the process runs more than the task."""
    if not _own_process.is_set():
        work()
    elif os.fork() == 0:
        try:
            work()
        except BaseException:
            logger.exception("Work beside a task failed.")
        finally:
            os._exit(0)
