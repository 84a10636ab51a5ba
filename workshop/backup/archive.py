"""The backup file: a tar of the database, its files, and a manifest with their hashes."""

import hashlib
import json
import shutil
import tarfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from io import BytesIO
from pathlib import Path
from typing import IO, Any

from django.core.exceptions import SuspiciousOperation
from django.core.files import File
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.utils import timezone

from workshop.backup import records
from workshop.backup.work_folder import work_folder

MANIFEST = "manifest.json"
DATABASE = "database/"
FILES = "files/"
FORMAT = 1
MAX_TRIES = 3
BLOCK_BYTES = 1 << 20


@dataclass(frozen=True)
class Manifest:
    """Content of a backup: rows by table, and the SHA-256 of each member."""

    made_at: str
    engine: str
    rows: dict[str, int]
    migrations: list[list[str]]
    hashes: dict[str, str]
    lost: list[str]  # files that a row names but the storage lacks
    format: int = FORMAT

    @property
    def row_count(self) -> int:
        return sum(self.rows.values())

    @property
    def files(self) -> list[str]:
        return [name.removeprefix(FILES) for name in self.hashes if name.startswith(FILES)]

    @property
    def summary(self) -> str:
        lost = f"; missing in the shop before the backup: {', '.join(self.lost)}" if self.lost else ""
        return f"{self.row_count} rows in {len(self.rows)} tables and {len(self.files)} files, verified{lost}"


class HashingReader:
    """A file reader that hashes what it reads."""

    def __init__(self, source: Any) -> None:
        self.source, self.sha256 = source, hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        block: bytes = self.source.read(size)
        self.sha256.update(block)
        return block


def compute_sha256(source: Any) -> str:
    return hashlib.file_digest(source, "sha256").hexdigest()


def create_backup(target: Path) -> tuple[Path, Manifest]:
    """Write a backup, verify it, and only then give it its name; return its path.

    ``target`` is a file, or a folder for a file named by date and time.
    """
    if not target.parent.is_dir():
        raise ValueError(f"There is no folder {target.parent}.")
    if target.is_dir():
        target /= f"shop-{timezone.localtime():%Y%m%d-%H%M%S}.tar"
    with work_folder(target.parent) as folder:
        unchecked = folder / target.name
        manifest = write_archive(unchecked)
        for _ in range(MAX_TRIES - 1):
            # A file deleted after its row was copied is no loss: copy both again.
            before, manifest = manifest.lost, write_archive(unchecked) if manifest.lost else manifest
            if manifest.lost == before:
                break
        verify_backup(unchecked)
        unchecked.rename(target)
    return target, manifest


def write_archive(path: Path) -> Manifest:
    hashes: dict[str, str] = {}
    lost: list[str] = []
    with work_folder(path.parent) as folder, tarfile.open(path, "w") as archive:
        copy = records.copy_database(folder)
        for part in copy.parts:
            with part.open("rb") as source:
                name = DATABASE + part.name
                hashes[name] = add_member(archive, name, source, part.stat().st_size)
        for name in copy.named_files:
            try:
                with default_storage.open(name, "rb") as source:
                    hashes[FILES + name] = add_member(archive, FILES + name, source, source.size)
            except FileNotFoundError:
                lost.append(name)
        made_at = timezone.now().isoformat()
        manifest = Manifest(made_at, copy.engine, copy.rows, copy.migrations, hashes, lost)
        text = json.dumps(asdict(manifest), indent=1).encode()
        add_member(archive, MANIFEST, BytesIO(text), len(text))
    return manifest


def add_member(archive: tarfile.TarFile, name: str, source: Any, size: int) -> str:
    member = tarfile.TarInfo(name)
    member.size, member.mtime, member.mode = size, int(timezone.now().timestamp()), 0o600
    reader = HashingReader(source)
    archive.addfile(member, reader)
    return reader.sha256.hexdigest()


def read_manifest(archive: tarfile.TarFile) -> Manifest:
    try:
        text = archive.extractfile(MANIFEST)
        fields = json.loads(text.read()) if text else {}
        manifest = Manifest(**fields)
    except (KeyError, ValueError, TypeError, RecursionError, tarfile.TarError) as problem:
        raise ValueError("This file is not a shop backup, or it is incomplete.") from problem
    if manifest.format != FORMAT:
        raise ValueError(f"This backup has format {manifest.format}; this program reads {FORMAT}.")
    if not has_valid_types(manifest):
        raise ValueError("The table of contents of this backup is not in a known form.")
    for name in manifest.hashes:
        if not is_safe_name(name):
            raise ValueError(f"This backup names a file outside the shop: {name!r}. Nothing was restored.")
    return manifest


def has_valid_types(manifest: Manifest) -> bool:
    """Return True if the contents of a manifest have the types that we write."""
    lists, tables = (manifest.migrations, manifest.lost), (manifest.rows, manifest.hashes)
    if not all(isinstance(kept, list) for kept in lists) or not all(isinstance(t, dict) for t in tables):
        return False
    texts = [*manifest.migrations, manifest.lost, [manifest.made_at, manifest.engine]]
    texts += [[*manifest.rows], [*manifest.hashes], [*manifest.hashes.values()]]
    return (
        all(isinstance(group, list) and all(isinstance(text, str) for text in group) for group in texts)
        and all(len(migration) == 2 for migration in manifest.migrations)
        and all(isinstance(count, int) for count in manifest.rows.values())
    )


def is_safe_name(name: str) -> bool:
    """Return True if a member stays within the folder that it is restored into."""
    parts = name.split("/")
    return (
        name.startswith((DATABASE, FILES))
        and not {"", ".", ".."}.intersection(parts)
        and "\\" not in name
        and name.isprintable()
    )


def open_archive(path: Path) -> tarfile.TarFile:
    try:
        return tarfile.open(path, "r:")
    except FileNotFoundError as problem:
        raise ValueError(f"There is no file {path}.") from problem
    except tarfile.TarError as problem:
        raise ValueError(f"{path.name} is not a backup: {problem}.") from problem


def iter_members(archive: tarfile.TarFile, manifest: Manifest) -> Iterator[tuple[str, IO[bytes]]]:
    for name in manifest.hashes:
        try:
            member = archive.getmember(name)
        except KeyError:
            raise ValueError(f"{name} is missing in the backup.") from None
        source = archive.extractfile(member) if member.isreg() else None
        if source is None:
            raise ValueError(f"{name} is not a file in the backup.")
        yield name, source


def verify_backup(path: Path) -> Manifest:
    """Read a backup back; raise ValueError if a hash, a row count or a member is wrong."""
    with open_archive(path) as archive:
        manifest = read_manifest(archive)
        try:
            for name, source in iter_members(archive, manifest):
                if compute_sha256(source) != manifest.hashes[name]:
                    raise ValueError(f"{name} has changed since the backup was made.")
        except (tarfile.TarError, OSError) as problem:
            raise ValueError(f"The backup is damaged: {problem}.") from problem
        with work_folder() as folder:
            parts = unpack_database(archive, manifest, folder)
            if not parts:
                raise ValueError("The backup contains no database.")
            if records.count_copy_rows(manifest.engine, parts) != manifest.rows:
                raise ValueError("The database copy does not match the original.")
    return manifest


def unpack_database(archive: tarfile.TarFile, manifest: Manifest, folder: Path) -> list[Path]:
    parts = []
    for name, source in iter_members(archive, manifest):
        if name.startswith(DATABASE):
            part = folder / Path(name).name
            with part.open("wb") as out:
                shutil.copyfileobj(source, out, BLOCK_BYTES)
            parts.append(part)
    return parts


def restore_backup(path: Path) -> Manifest:
    """Restore a backup into an empty shop and check the rows against the manifest.

    Raises ValueError if the backup is damaged or of the other kind of database, or if the shop is not
    empty; then nothing was changed, except that files may have been added.
    """
    try:
        return restore_verified(path, verify_backup(path))
    except SuspiciousOperation as problem:
        raise ValueError(f"This backup names a file outside the shop: {problem}") from problem
    except DatabaseError as problem:
        raise ValueError(
            f"The database did not accept the contents of this backup: {str(problem).strip()}"
        ) from problem


def restore_verified(path: Path, manifest: Manifest) -> Manifest:
    check_restorable(manifest)
    with open_archive(path) as archive, work_folder() as folder:
        for name, source in iter_members(archive, manifest):
            if name.startswith(FILES):
                restore_file(name.removeprefix(FILES), source, manifest.hashes[name])
        records.restore_database(unpack_database(archive, manifest, folder), manifest.migrations)
    found = records.count_rows(manifest.rows)
    # A squashed migration is noted beside those that it replaces, so their count differs.
    found.pop(records.MIGRATIONS_TABLE, None)
    wrong = [table for table, count in found.items() if count != manifest.rows[table]]
    if wrong:
        raise ValueError(f"These tables do not match the backup: {', '.join(wrong)}.")
    call_command("migrate", verbosity=0, interactive=False)  # a backup may be older than the program
    return manifest


def check_restorable(manifest: Manifest) -> None:
    if manifest.engine != connection.vendor:
        raise ValueError(
            f"This backup is from {manifest.engine}, but this installation uses {connection.vendor}. "
            f"Restore it on {manifest.engine}, then move the data as described in the README."
        )
    if records.is_too_old(manifest.migrations):
        raise ValueError(
            "This backup is too old for this version. Restore it with the version that made it, "
            "update that shop with a version in between, then back it up again."
        )
    for table in ("workshop_staffmember", "workshop_customer"):
        if table in connection.introspection.table_names() and records.count_rows([table])[table]:
            raise ValueError(
                "This installation already has data. Restore into an empty one: set another DATA_DIR or "
                "database."
            )


def restore_file(name: str, source: IO[bytes], sha256: str) -> None:
    if not default_storage.exists(name):
        stored_name = default_storage.save(name, File(source))
        if stored_name != name:
            raise ValueError(f"The storage saved {name} under a different name ({stored_name}).")
    with default_storage.open(name, "rb") as stored:
        if compute_sha256(stored) != sha256:
            raise ValueError(f"{name} already exists in the storage. Restore into an empty storage.")
