"""A task whose process ends before it does, for the test of the process that forks for tasks."""

import os
import signal
from pathlib import Path

from django_tasks import task

from workshop.background.abandoned import when_stopped


@task()
def die(path: str) -> None:
    """End this process without a word."""
    os.kill(os.getpid(), signal.SIGKILL)


@when_stopped(die)
def note_stop(path: str, problem: str) -> None:
    Path(path).write_text(f"stopped {problem}".strip())
