"""Backups of earlier versions are restored, migrated and usable."""

import hashlib
import io
import json
import lzma
import tarfile
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client

from fixtures.small_shop import build_small_shop
from jobs.models import Job
from reports.models import HandoverSheet, Printing
from tests.html import read_links
from workshop.backup import restore_backup
from workshop.backup.archive import MANIFEST, read_manifest
from workshop.models import StaffMember

pytestmark = pytest.mark.slow

BACKUPS = Path(__file__).parents[1] / "fixtures" / "backups"
VERSIONS = sorted({path.name.rsplit("-", 1)[0] for path in BACKUPS.glob("*.tar.xz")})
OURS = ("workshop", "jobs", "reports")
# Default kinds of parts that a migration renames, each with a row of its history.
RENAMED_KINDS = {"2026-11-29": 1, "2026-11-29b": 1}


def unpack(version: str, folder: Path) -> Path:
    path = folder / "shop.tar"
    path.write_bytes(lzma.decompress((BACKUPS / f"{version}-{connection.vendor}.tar.xz").read_bytes()))
    return path


def describe_tables() -> dict[str, Any]:
    """Describe columns, constraints and indexes of all tables of the project."""
    described = {}
    with connection.cursor() as cursor:
        for table in filter(lambda name: name.startswith(OURS), connection.introspection.table_names()):
            columns = connection.introspection.get_table_description(cursor, table)
            constraints = connection.introspection.get_constraints(cursor, table).values()
            described[table] = {
                "columns": {column.name: [column.type_code, column.null_ok] for column in columns},
                "constraints": sorted(
                    json.dumps({key: value for key, value in constraint.items() if key != "definition"})
                    for constraint in constraints
                ),
            }
    return json.loads(json.dumps(described))


def collect_pages() -> dict[str, Any]:
    """Collect the pages that staff and the customer see of the restored shop."""
    models = apps.get_models(include_auto_created=True)
    rows = {model._meta.db_table: model._base_manager.count() for model in models}
    staff, customer = Client(HTTP_HOST="localhost"), Client(HTTP_HOST="localhost")
    owner = StaffMember.objects.get(username="owner")
    staff.force_login(owner, backend="workshop.people.backend.StaffBackend")
    statuses: dict[str, int] = {}
    linked: set[str] = set()
    for page in ["/", *(job.get_absolute_url() for job in Job.objects.all())]:
        response = staff.get(page)
        statuses[page] = response.status_code
        linked.update(link.partition("#")[0] for link in read_links(response) if link.startswith("/"))
    for page in sorted(linked - set(statuses)):
        statuses[page] = staff.get(page).status_code
    sheet = HandoverSheet.objects.get()
    live, revoked = (sheet.links.get(revoked_at__isnull=live).token for live in (True, False))
    pdf = b"".join(customer.get(f"/sheet/{live}/pdf/"))
    return {
        "tables": describe_tables(),
        "rows": rows,
        "pages": statuses,
        "customer": customer.get(f"/sheet/{live}/").text,
        "revoked": customer.get(f"/sheet/{revoked}/").status_code,
        "sheet_is_as_issued": hashlib.sha256(pdf).hexdigest() == sheet.sha256,
        "issued": [HandoverSheet.objects.count(), Printing.objects.count()],
    }


COLLECT_PAGES = """
import json, django; django.setup()
from tests.test_old_backups import collect_pages
print(json.dumps(collect_pages()))
"""


@pytest.mark.django_db(transaction=True)  # PostgreSQL cannot create a database in a transaction
@pytest.mark.parametrize("version", VERSIONS)
def test_backup_of_earlier_version_is_restored_and_usable(version, tmp_path, fresh_machine) -> None:
    path = unpack(version, tmp_path)
    with tarfile.open(path) as archive:
        manifest = read_manifest(archive)

    restored = fresh_machine.run("manage.py", "restore", str(path))
    assert restored.returncode == 0, restored.stderr
    assert f"{manifest.row_count} rows" in restored.stdout
    assert fresh_machine.run("manage.py", "migrate", "--check").returncode == 0

    fresh_machine.environment["DJANGO_SETTINGS_MODULE"] = "tests.settings"  # plain static files
    looked = fresh_machine.run("-c", COLLECT_PAGES)
    assert looked.returncode == 0, looked.stderr
    found = json.loads(looked.stdout)
    assert found["tables"] == describe_tables()  # the same as of a new shop
    ours = {table: count for table, count in manifest.rows.items() if table.startswith(OURS)}
    if version in RENAMED_KINDS:
        ours["jobs_historicalpartkind"] += RENAMED_KINDS[version]
    assert {table: found["rows"].get(table) for table in ours} == ours
    assert [page for page, status in found["pages"].items() if status != 200] == []
    assert len(found["pages"]) > 30
    assert "Silencer, open" in found["customer"]
    assert found["revoked"] == 410
    assert found["sheet_is_as_issued"]
    assert found["issued"] == [1, 1]


@pytest.mark.django_db
def test_backup_from_between_squashed_migrations_is_rejected(tmp_path) -> None:
    path, older = unpack(VERSIONS[0], tmp_path), tmp_path / "older.tar"
    with tarfile.open(path) as source, tarfile.open(older, "w") as target:
        for member in source.getmembers():
            data = source.extractfile(member).read()
            if member.name == MANIFEST:
                manifest = json.loads(data)
                manifest["migrations"].remove(["jobs", "0004_places_and_days_shut"])
                data = json.dumps(manifest).encode()
                member.size = len(data)
            target.addfile(member, io.BytesIO(data))
    with pytest.raises(ValueError, match="This backup is too old for this version"):
        restore_backup(older)


@pytest.mark.django_db
def test_database_from_between_squashed_migrations_is_rejected() -> None:
    MigrationRecorder(connection).record_unapplied("jobs", "0004_places_and_days_shut")
    with pytest.raises(CommandError, match="This database is too old for this version"):
        call_command("migrate")


@pytest.mark.django_db
def test_small_shop_has_a_row_of_every_model() -> None:
    build_small_shop()
    ours = [model for model in apps.get_models() if model._meta.app_label in OURS]
    assert [model.__name__ for model in ours if not model._base_manager.exists()] == []
