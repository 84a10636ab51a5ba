"""Uploads and issued sheets on the file system: whole or not at all."""

import os
import secrets
from pathlib import Path
from typing import Any

from django.core.files.storage import FileSystemStorage

UNFINISHED = ".unfinished"


class WholeFileStorage(FileSystemStorage):
    """A file gets its name only when all of it is written, so a full disk leaves no cut-off file."""

    def _save(self, name: str, content: Any) -> str:
        folder = str(Path(name).parent)
        temporary = os.path.join(folder, f".{secrets.token_hex(8)}{UNFINISHED}")  # noqa: PTH118  (a storage name)
        try:
            unfinished = super()._save(temporary, content)  # type: ignore[misc]  # missing in the stubs
            while True:
                try:
                    # Unlike a rename, this replaces no file that somebody else has saved meanwhile.
                    os.link(self.path(unfinished), self.path(name))
                    break
                except FileExistsError:
                    name = self.get_available_name(name)
                except OSError:  # a file system without hard links
                    Path(self.path(unfinished)).rename(self.path(name))
                    break
        finally:
            Path(self.path(temporary)).unlink(missing_ok=True)
        return name.replace("\\", "/")
