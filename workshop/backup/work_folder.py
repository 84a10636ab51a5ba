"""The folder in which a backup is written or read back: it goes with its process, even a killed one."""

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PREFIX = "unfinished-backup-"
IN_USE = "in-use"


@contextmanager
def work_folder(parent: Path | None = None) -> Iterator[Path]:
    """Make a folder for a copy of the shop, by default among the temporary files of the machine.

    It is removed at the end. A backup that was killed leaves its own, which the next one removes: a folder
    in use has a locked file, and the lock ends with its process.
    """
    parent = parent or Path(tempfile.gettempdir())
    with locked(parent):  # so that nobody removes a folder that is not locked yet
        remove_unused(parent)
        folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=parent))
        in_use = os.open(folder / IN_USE, os.O_RDWR | os.O_CREAT, 0o600)
        fcntl.flock(in_use, fcntl.LOCK_EX)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        os.close(in_use)


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)


def remove_unused(parent: Path) -> None:
    for left in parent.glob(f"{PREFIX}*"):
        try:
            descriptor = os.open(left / IN_USE, os.O_RDWR)
        except OSError:
            continue  # removed meanwhile, or another account's
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(left, ignore_errors=True)
        except BlockingIOError:
            pass
        finally:
            os.close(descriptor)
