"""Print in a process started on demand: a django-tasks backend that needs no worker."""

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

THREAD_NAME = "waits for print_sheet"


class ProcessBackend(BaseTaskBackend):
    """Backend that runs ``print_sheet`` in a process of its own after the transaction commits."""

    def enqueue(self, task: Task[Any, Any], args: Any, kwargs: Any) -> TaskResult[Any]:
        self.validate_task(task)
        transaction.on_commit(partial(start_process, *args, **kwargs))
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


def start_process(sheet_pk: int, attempt: int) -> None:
    """Start ``manage.py print_sheet`` and return without waiting for it."""
    manage = str(settings.BASE_DIR / "manage.py")
    command = [sys.executable, manage, "print_sheet", str(sheet_pk), str(attempt)]
    try:
        # In a session of its own it outlives the server: Ctrl+C or a restart does not stop the print.
        process = Popen(command, stdin=DEVNULL, stdout=DEVNULL, start_new_session=True)
    except OSError as problem:
        mark_failed(sheet_pk, attempt, f"The process that prints could not be started: {problem.strerror}.")
        return
    # A daemon, so that the server can exit while a sheet is being printed.
    Thread(target=reap, args=(process, sheet_pk, attempt), name=THREAD_NAME, daemon=True).start()


def reap(process: "Popen[bytes]", sheet_pk: int, attempt: int) -> None:
    """Wait for a process, so that no zombie is left, and mark an unfinished print as failed."""
    process.wait()
    try:
        mark_failed(sheet_pk, attempt, "Printing was stopped before it had finished.")
    finally:
        connection.close()


def mark_failed(sheet_pk: int, attempt: int, fault: str) -> None:
    """Mark an attempt as failed unless it has ended already."""
    from reports.models import Printing  # the backend is loaded with the settings, before the models

    ended = (Printing.Step.DONE, Printing.Step.FAILED)
    unfinished = Printing.objects.filter(sheet_id=sheet_pk, attempt=attempt).exclude(step__in=ended)
    unfinished.update(step=Printing.Step.FAILED, fault=fault, moved_at=timezone.now())
