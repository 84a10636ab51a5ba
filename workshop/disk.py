"""The disk that holds the shop: how much is free, and which errors mean that it is full."""

import errno
import shutil
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.files.storage import FileSystemStorage, default_storage

DISK_FULL = "The disk is full."
MB = 1000 * 1000
FULL_ERRORS = {errno.ENOSPC, errno.EDQUOT}
# What SQLite says, and the code by which PostgreSQL says it (its manual, appendix A).
SQLITE_FULL = "database or disk is full"
POSTGRESQL_FULL = "53100"


@dataclass(frozen=True)
class FreeSpace:
    """Free space on the fullest of the disks that hold the shop."""

    bytes: int

    @property
    def state(self) -> str:
        """Return "ok", "low", or "full" if not even the largest upload has room."""
        if self.bytes < settings.RUN_FILE_LIMIT:
            return "full"
        return "low" if self.bytes < settings.LOW_DISK_MB * MB else "ok"

    @property
    def sentence(self) -> str:
        """Return what to tell the owner, or '' if there is room."""
        if self.state == "ok":
            return ""
        start = DISK_FULL if self.state == "full" else "The disk is nearly full."
        return (
            f"{start} {self.bytes // MB} MB are free. Delete old backups or move them to another machine, "
            "or use a larger disk."
        )


def measure_free_space() -> FreeSpace:
    """Measure the disks of the data folder and of the stored files."""
    folders = [Path(settings.DATA_DIR)]
    if isinstance(default_storage, FileSystemStorage):
        folders.append(Path(default_storage.location))
    there = [next(path for path in (folder, *folder.parents) if path.exists()) for folder in folders]
    return FreeSpace(min(shutil.disk_usage(folder).free for folder in there))


def is_disk_full(problem: BaseException | None) -> bool:
    """Return True if an error, or one that led to it, means that a disk is full."""
    seen: set[int] = set()
    while problem is not None and id(problem) not in seen:
        seen.add(id(problem))
        if isinstance(problem, OSError) and problem.errno in FULL_ERRORS:
            return True
        if SQLITE_FULL in str(problem) or getattr(problem, "sqlstate", None) == POSTGRESQL_FULL:
            return True
        problem = problem.__cause__ or problem.__context__
    return False
