"""Backups made while the shop works, restored on a new machine, with every file."""

import hashlib
import io
import json
import tarfile
import threading
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.urls import reverse

from jobs.models import Photo
from tests import factories
from workshop.backup import create_backup, verify_backup
from workshop.models import BackupTaken, Customer, Role

PHOTOS = 5

LOOK = """
import json, hashlib
import django; django.setup()
from workshop.models import Customer
from jobs.models import Job, Photo
opened = {p.original_name: hashlib.sha256(p.image.open().read()).hexdigest() for p in Photo.objects.all()}
print(json.dumps({
    "customers": Customer.objects.count(), "jobs": Job.objects.count(), "history": Job.history.count(),
    "photos": opened, "names": sorted(Customer.objects.values_list("name", flat=True)),
    "next": Customer.objects.create(name="After the restore").pk > 0,
}))
"""


def add_photo(job, by, name: str) -> None:
    photo = Photo(job=job, by=by, original_name=name)
    photo.image.save(name, ContentFile(name.encode() * 1000))


def fill_shop():
    by = factories.make_staff(Role.OWNER)
    job = factories.make_job()
    for number in range(PHOTOS):
        add_photo(job, by, f"photo-{number}.jpg")
    return job, by


def keep_writing(job, by, stop: threading.Event, written: list[str], errors: list[Exception]) -> None:
    number = 0
    try:
        while not stop.is_set():
            name = f"meanwhile-{number}.jpg"
            add_photo(job, by, name)
            Customer.objects.create(name=f"Meanwhile {number}")
            written.append(name)
            number += 1
    except Exception as error:
        errors.append(error)
    finally:
        connection.close()


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_backup_made_during_writes_is_restored_whole(tmp_path, fresh_machine) -> None:
    job, by = fill_shop()
    stop, written, errors = threading.Event(), [], []
    writer = threading.Thread(target=keep_writing, args=(job, by, stop, written, errors))
    writer.start()
    while len(written) < 3 and not errors:
        stop.wait(0.01)
    path, manifest = create_backup(tmp_path)
    after_the_copy = len(written)
    while len(written) <= after_the_copy and not errors:
        stop.wait(0.01)
    stop.set()
    writer.join()
    assert errors == []
    assert manifest.lost == []
    # Every photo in the copy has its file, those of the writer included.
    assert PHOTOS + 3 <= manifest.rows["jobs_photo"] == len(manifest.files) < PHOTOS + len(written)

    restored = fresh_machine.run("manage.py", "restore", str(path))
    assert restored.returncode == 0, restored.stderr
    assert f"{manifest.row_count} rows" in restored.stdout
    found = json.loads(fresh_machine.run("-c", LOOK).stdout)
    assert found["customers"] == manifest.rows["workshop_customer"]
    assert found["jobs"] == 1
    assert found["history"] == manifest.rows["jobs_historicaljob"] >= 1
    assert found["next"]  # new ids continue after the restored ones
    assert len(found["photos"]) == manifest.rows["jobs_photo"]
    for name, sha256 in found["photos"].items():
        assert sha256 == hashlib.sha256(name.encode() * 1000).hexdigest()

    again = fresh_machine.run("manage.py", "restore", str(path))
    assert again.returncode != 0
    assert "This installation already has data. Restore into an empty one" in again.stderr


@pytest.mark.django_db(transaction=True)
def test_backup_command_writes_into_folder_and_logs_it(tmp_path, capsys) -> None:
    fill_shop()
    call_command("backup", tmp_path)
    (path,) = tmp_path.glob("shop-*.tar")
    backup = BackupTaken.objects.get()
    assert (backup.files, backup.size_bytes) == (PHOTOS, path.stat().st_size)
    assert f"{PHOTOS} files" in capsys.readouterr().out
    call_command("backup", path, check=True)


def copy_with(path: Path, name: str, content: bytes) -> Path:
    """Copy a backup with the content of one member changed."""
    changed = path.with_name("changed.tar")
    with tarfile.open(path) as source, tarfile.open(changed, "w") as target:
        for member in source.getmembers():
            data = source.extractfile(member).read()
            if member.name == name:
                data, member.size = content, len(content)
            target.addfile(member, io.BytesIO(data))
    return changed


@pytest.mark.django_db(transaction=True)
def test_verification_finds_changed_file(tmp_path) -> None:
    fill_shop()
    path, manifest = create_backup(tmp_path)
    name = f"files/{manifest.files[0]}"
    with pytest.raises(ValueError, match="has changed since the backup was made"):
        verify_backup(copy_with(path, name, b"something else"))


@pytest.mark.django_db(transaction=True)
def test_verification_finds_truncated_backup(tmp_path) -> None:
    fill_shop()
    path, _ = create_backup(tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) * 2 // 3])
    with pytest.raises(ValueError, match=r"it is incomplete|damaged|no backup"):
        verify_backup(path)
    with pytest.raises(CommandError, match="Restore failed"):
        call_command("restore", path)


@pytest.mark.django_db(transaction=True)
def test_missing_file_is_reported_and_the_rest_backed_up(tmp_path) -> None:
    job, _ = fill_shop()
    photo = job.photos.first()
    photo.image.storage.delete(photo.image.name)
    _, manifest = create_backup(tmp_path)
    assert manifest.lost == [photo.image.name]
    assert len(manifest.files) == PHOTOS - 1
    assert photo.image.name in manifest.summary


@pytest.mark.django_db(transaction=True)
def test_restore_refuses_other_files(tmp_path) -> None:
    text = tmp_path / "notes.tar"
    text.write_text("no tar at all")
    for path in (text, tmp_path / "nothing.tar"):
        with pytest.raises(CommandError, match="Restore failed"):
            call_command("restore", path)


@pytest.mark.django_db(transaction=True)
def test_owner_downloads_backup_from_page(login, tmp_path) -> None:
    job = factories.make_job()
    client = login(Role.OWNER)
    assert "No backups yet. Make one before" in client.get(reverse("backup")).text
    response = client.post(reverse("backup-take"))
    assert response.status_code == 200
    assert response.headers["Content-Disposition"].startswith("attachment")
    path = tmp_path / "sent.tar"
    path.write_bytes(b"".join(response.streaming_content))
    response.close()
    assert verify_backup(path).rows["jobs_job"] == 1
    assert job.pk
    assert "Ola Owner" in client.get(reverse("backup")).text


@pytest.mark.django_db
def test_backup_page_requires_owner(login) -> None:
    for role in (Role.DESK, Role.MECHANIC, Role.TUNER):
        assert login(role).post(reverse("backup-take")).status_code == 403


@pytest.mark.django_db(transaction=True)
def test_backup_command_names_missing_folder(tmp_path) -> None:
    missing = tmp_path / "not-mounted"
    with pytest.raises(CommandError, match=f"^Backup failed: There is no folder {missing}.$"):
        call_command("backup", missing / "shop.tar")


def crafted_backup(path: Path, members: dict[str, bytes], **changes: object) -> Path:
    """Write a backup by hand, with hashes that are right."""
    manifest = {
        "made_at": "2026-06-01T03:00:00+00:00",
        "engine": connection.vendor,
        "rows": {},
        "migrations": [],
        "hashes": {name: hashlib.sha256(data).hexdigest() for name, data in members.items()},
        "lost": [],
        **changes,
    }
    with tarfile.open(path, "w") as archive:
        for name, data in {**members, "manifest.json": json.dumps(manifest).encode()}.items():
            member = tarfile.TarInfo(name)
            member.size = len(data)
            archive.addfile(member, io.BytesIO(data))
    return path


HASH = hashlib.sha256(b"").hexdigest()
CRAFTED: dict[str, tuple[dict[str, bytes], dict[str, object]]] = {
    "above the folder": ({"files/../../stolen.txt": b"x"}, {}),
    "absolute": ({"files//etc/stolen.txt": b"x"}, {}),
    "with NUL": ({}, {"hashes": {"files/a\0b": HASH}}),
    "elsewhere": ({"etc/stolen.txt": b"x"}, {}),
    "not in the archive": ({}, {"hashes": {"files/a.csv": HASH}}),
    "without a database": ({"files/a.csv": b"x"}, {}),
    "with rubbish for a database": ({"database/workshop.sqlite3": b"rubbish\0" * 900}, {}),
    "rows are a list": ({}, {"rows": ["jobs_job"]}),
    "counts are texts": ({}, {"rows": {"jobs_job": "many"}}),
    "hashes are numbers": ({}, {"hashes": {"files/a.csv": 7}}),
    "hashes are missing": ({}, {"hashes": None}),
    "migrations are numbers": ({}, {"migrations": [1, 2]}),
    "migrations are triples": ({}, {"migrations": [["jobs", "0001", "x"]]}),
    "engine is a list": ({}, {"engine": ["sqlite"]}),
    "format is a text": ({}, {"format": "1"}),
    "more than we know": ({}, {"more": 1}),
}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("name", CRAFTED)
def test_crafted_backup_is_refused_with_a_sentence(tmp_path, settings, name: str) -> None:
    members, changes = CRAFTED[name]
    path = crafted_backup(tmp_path / "crafted.tar", members, **changes)
    with pytest.raises(CommandError, match=r"^Restore failed: .{20,}"):
        call_command("restore", path)
    assert not list(tmp_path.rglob("stolen.txt"))
    assert not [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.DIRTYPE, tarfile.FIFOTYPE])
def test_member_that_is_no_file_is_refused_with_a_sentence(tmp_path, kind: bytes) -> None:
    path = crafted_backup(tmp_path / "crafted.tar", {}, hashes={"files/a.csv": HASH})
    member = tarfile.TarInfo("files/a.csv")
    member.type, member.linkname = kind, "/etc/hostname"
    with tarfile.open(path, "a") as archive:
        archive.addfile(member)
    with pytest.raises(CommandError, match=r"Restore failed: files/a\.csv is not a file in the backup"):
        call_command("restore", path)
