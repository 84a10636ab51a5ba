"""Run files of a refused upload, stored for the next try: browsers clear chosen files.

They are stored under the person and a key of the form, and served to nobody.
"""

import json
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile, UploadedFile

FOLDER = "refused-uploads"
NAMES = "names.json"
# Shorter than the hour after which stored files without a row are reported.
STORED_FOR = timedelta(minutes=45)


@dataclass(frozen=True)
class RefusedUpload:
    """The refused files of one person and one form."""

    user_pk: int
    key: uuid.UUID

    @classmethod
    def parse(cls, user_pk: int, key: str) -> "RefusedUpload":
        """Return the upload of a submitted key, or a new one if there is none."""
        try:
            return cls(user_pk, uuid.UUID(key))
        except ValueError:
            return cls(user_pk, uuid.uuid4())

    @property
    def folder(self) -> str:
        return f"{FOLDER}/{self.user_pk}/{self.key.hex}"

    @property
    def names(self) -> dict[str, str]:
        """File names by number, in the order in which they were chosen."""
        try:
            with default_storage.open(f"{self.folder}/{NAMES}", "rb") as file:
                found: dict[str, str] = json.loads(file.read())
        except FileNotFoundError:
            return {}
        return found

    def add(self, files: Iterable[UploadedFile]) -> None:
        """Store more files; those that go beyond the size limit of one file are left out."""
        names = self.names
        total = sum(default_storage.size(f"{self.folder}/{number}") for number in names)
        for file in files:
            total += file.size or 0
            if total > settings.RUN_FILE_LIMIT:
                break
            number = str(len(names))
            file.seek(0)
            default_storage.save(f"{self.folder}/{number}", ContentFile(file.read()))
            names[number] = file.name or "file"
        if names:
            default_storage.delete(f"{self.folder}/{NAMES}")
            default_storage.save(f"{self.folder}/{NAMES}", ContentFile(json.dumps(names).encode()))

    def load(self, numbers: Iterable[str]) -> list[UploadedFile]:
        """Return the files of these numbers that are still stored."""
        wanted = set(numbers)
        return [
            SimpleUploadedFile(name, read_stored(f"{self.folder}/{number}"))
            for number, name in self.names.items()
            if number in wanted
        ]

    def discard(self) -> None:
        delete_folder(self.folder)


def read_stored(path: str) -> bytes:
    with default_storage.open(path, "rb") as file:
        data: bytes = file.read()
    return data


def delete_folder(folder: str) -> None:
    for name in list_folder(folder, files=True):
        default_storage.delete(name)
    default_storage.delete(folder)


def list_folder(folder: str, *, files: bool) -> Iterator[str]:
    try:
        folders, names = default_storage.listdir(folder)
    except FileNotFoundError:
        return
    yield from (f"{folder}/{name}" for name in (names if files else folders))


def discard_old_uploads(now: datetime) -> None:
    """Delete what nobody used in time."""
    for person in list_folder(FOLDER, files=False):
        for folder in list_folder(person, files=False):
            times = [default_storage.get_modified_time(name) for name in list_folder(folder, files=True)]
            if not times or max(times) < now - STORED_FOR:
                delete_folder(folder)
