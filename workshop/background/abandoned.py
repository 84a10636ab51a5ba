"""Tasks whose process ended before they did, or that nobody took: reported, and taken up again.

The records of the work hold its state; a task only names a record and an attempt, so that one which
comes late finds its attempt replaced and does nothing.
"""

import logging
from collections.abc import Callable, Sequence
from datetime import datetime
from threading import Event, Lock, Thread
from typing import Any

from django.db import close_old_connections
from django.utils import timezone
from django_tasks.base import Task

Report = Callable[..., None]

SECONDS_BETWEEN_LOOKS = 60
MAX_ATTEMPTS = 3  # one that stops the process itself must not be started for ever

_reports: dict[str, Report] = {}
take_up_steps: list[Callable[[datetime], None]] = []  # apps add theirs from AppConfig.ready
logger = logging.getLogger(__name__)


def when_stopped(task: Task[Any, Any]) -> Callable[[Report], Report]:
    """Register what to record if the process of a task ended; a finished attempt is left alone.

    The function gets the task's arguments and a sentence if the process could not even be started.
    """

    def decorator(report: Report) -> Report:
        _reports[task.module_path] = report
        return report

    return decorator


def report_stop(path: str, args: Sequence[Any], problem: str) -> None:
    _reports[path](*args, problem)


def take_up_abandoned(now: datetime | None = None) -> None:
    """Take up whatever has not moved for longer than its limit."""
    for step in take_up_steps:
        step(now or timezone.now())


class Keeper:
    """A thread of the server process that picks up abandoned tasks, started by the first request."""

    def __init__(self) -> None:
        self._lock, self._stop = Lock(), Event()
        self._thread: Thread | None = None

    def ensure_started(self) -> None:
        with self._lock:
            if self._thread is None:
                self._thread = Thread(target=self.run, name="picks up abandoned tasks", daemon=True)
                self._thread.start()

    def run(self) -> None:
        while not self._stop.wait(SECONDS_BETWEEN_LOOKS):
            self.look()

    def look(self) -> None:
        close_old_connections()
        try:
            take_up_abandoned()
        except Exception:
            logger.exception("Abandoned tasks could not be picked up. The next attempt is in a minute.")
        finally:
            close_old_connections()
