"""Backups made by earlier versions: restored, brought up to date, and worked with."""

import json
import lzma
import tarfile
from pathlib import Path

import pytest
from django.apps import apps
from django.db import connection

from fixtures.small_shop import build_small_shop
from workshop.backup.archive import read_manifest

BACKUPS = Path(__file__).parents[1] / "fixtures" / "backups"
OURS = ("workshop", "jobs", "reports")

# What a later version's staff and the customer see of the shop.
LOOK_AROUND = """
import hashlib, json, re
import django; django.setup()
from django.apps import apps
from django.test import Client
from jobs.models import Job
from reports.models import HandoverSheet, Printing
from workshop.models import StaffMember

models = apps.get_models(include_auto_created=True)
rows = {model._meta.db_table: model._base_manager.count() for model in models}
staff, customer = (Client(HTTP_HOST="localhost") for _ in range(2))
staff.force_login(StaffMember.objects.get(username="owner"), "django.contrib.auth.backends.ModelBackend")
opened, linked = {}, set()
for page in ["/", *(job.get_absolute_url() for job in Job.objects.all())]:
    answer = staff.get(page)
    opened[page] = answer.status_code
    linked.update(re.findall('<a [^>]*href="(/[^"#]*)', answer.text))
for page in sorted(linked - set(opened)):
    opened[page] = staff.get(page).status_code
sheet = HandoverSheet.objects.get()
link = f"/sheet/{sheet.links.get(revoked_at=None).token}/"
pdf = b"".join(customer.get(f"{link}pdf/"))
print(json.dumps({
    "rows": rows,
    "pages": opened,
    "customer": customer.get(link).text,
    "revoked": customer.get(f"/sheet/{sheet.links.exclude(revoked_at=None).get().token}/").status_code,
    "sheet_is_as_issued": hashlib.sha256(pdf).hexdigest() == sheet.sha256,
    "issued": [HandoverSheet.objects.count(), Printing.objects.count()],
}))
"""


@pytest.mark.django_db(transaction=True)  # PostgreSQL makes no database within a transaction
@pytest.mark.parametrize("name", sorted({path.name.rsplit("-", 1)[0] for path in BACKUPS.glob("*.tar.xz")}))
def test_backup_of_earlier_version_is_restored_and_its_pages_open(name, tmp_path, fresh_machine) -> None:
    path = tmp_path / "shop.tar"
    path.write_bytes(lzma.decompress((BACKUPS / f"{name}-{connection.vendor}.tar.xz").read_bytes()))
    with tarfile.open(path) as archive:
        manifest = read_manifest(archive)

    restored = fresh_machine.run("manage.py", "restore", str(path))
    assert restored.returncode == 0, restored.stderr
    assert f"{manifest.row_count} rows" in restored.stdout
    assert fresh_machine.run("manage.py", "migrate", "--check").returncode == 0

    fresh_machine.environment["DJANGO_SETTINGS_MODULE"] = "tests.settings"  # static files as they are
    looked = fresh_machine.run("-c", LOOK_AROUND)
    assert looked.returncode == 0, looked.stderr
    found = json.loads(looked.stdout)
    kept = {table: count for table, count in manifest.rows.items() if table.startswith(OURS)}
    assert {table: found["rows"].get(table) for table in kept} == kept
    assert [page for page, status in found["pages"].items() if status != 200] == []
    assert len(found["pages"]) > 30
    assert "Silencer, open" in found["customer"]
    assert found["revoked"] == 410
    assert found["sheet_is_as_issued"]
    assert found["issued"] == [1, 1]


@pytest.mark.django_db
def test_small_shop_has_a_row_of_every_model() -> None:
    build_small_shop()
    ours = [model for model in apps.get_models() if model._meta.app_label in OURS]
    assert [model.__name__ for model in ours if not model._base_manager.exists()] == []
