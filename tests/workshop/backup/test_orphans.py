"""Files without a record: listed and deleted by a command, and removed after a backup that was killed."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import call_command

from jobs.models import Photo
from tests import factories
from workshop.backup.work_folder import work_folder
from workshop.models import Role


def make_old(name: str) -> str:
    two_hours_ago = time.time() - 7200
    os.utime(default_storage.path(name), (two_hours_ago, two_hours_ago))
    return name


@pytest.mark.django_db
def test_command_lists_and_deletes_only_old_files_without_a_record(settings, tmp_path, capsys) -> None:
    settings.MEDIA_ROOT = tmp_path
    photo = Photo(job=factories.make_job(), by=factories.make_staff(Role.DESK), original_name="a.jpg")
    photo.image.save("a.jpg", ContentFile(b"a picture"))
    make_old(photo.image.name)
    orphan = make_old(default_storage.save("photos/2026/left.jpg", ContentFile(b"left")))
    default_storage.save("runs/just-now.csv", ContentFile(b"its row is not committed yet"))
    call_command("orphans")
    assert capsys.readouterr().out == f"{orphan}\n1 file without a record found, none deleted.\n"
    assert default_storage.exists(orphan)
    call_command("orphans", delete=True)
    assert capsys.readouterr().out == f"{orphan}\n1 file without a record deleted.\n"
    assert not default_storage.exists(orphan)
    assert default_storage.exists(photo.image.name)
    assert default_storage.exists("runs/just-now.csv")


KILLED = """
import sys
from pathlib import Path
from workshop.backup.work_folder import work_folder
with work_folder(Path(sys.argv[1])) as folder:
    (folder / "shop.sqlite3").write_bytes(b"names of customers")
    print("ready", flush=True)
    sys.stdin.read()
"""


def test_folder_of_a_killed_backup_is_removed_by_the_next(tmp_path: Path) -> None:
    command = [sys.executable, "-c", KILLED, str(tmp_path)]
    backup = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert backup.stdout is not None
    assert backup.stdout.readline() == "ready\n"
    with work_folder(tmp_path):
        assert len(list(tmp_path.iterdir())) == 2  # one that still runs is left alone
    backup.kill()
    backup.communicate()
    left = next(tmp_path.iterdir())
    assert (left / "shop.sqlite3").exists()
    with work_folder(tmp_path) as folder:
        assert list(tmp_path.iterdir()) == [folder]
        assert folder.stat().st_mode & 0o777 == 0o700
    assert list(tmp_path.iterdir()) == []
