"""A job's records as JSON and ZIP: nothing recorded is left out, nothing secret is in it."""

import csv
import io
import json
import zipfile
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.apps import apps
from django.core.files.base import ContentFile
from django.db import connection, models
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.job.page import get_job
from jobs.models import Job, MixtureStudy, Part, Photo, Slot, SlotQuarter
from jobs.models.slots import WorkPlace
from reports.documents.job_export import kind_name, whole_job, whole_job_zip
from reports.handover.issuing import issue_sheet
from reports.models import Acknowledgement, SheetLink
from tests import factories
from tests.reports.conftest import AT
from workshop.csv_files import unescape_formula
from workshop.models import Role, ShopProfile
from workshop.models.search import Word

SECRET = {"token", "signature"}  # the signed file contains the signature
RENAMED = {"rpm_axis": "engine_speed_axis_rpm", "load_axis": "load_axis_pct", "target": "target_lambda"}
RENAMED |= {"amount": "amount_eur"}
RENAMED |= {"price": "price_eur", "authorised_amount": "authorised_amount_eur", "size": "size_bytes"}
RENAMED |= {"front_sprocket": "front_sprocket_teeth", "rear_sprocket": "rear_sprocket_teeth"}
RENAMED |= {"sweep_start": "sweep_start_sample", "sweep_stop": "sweep_stop_sample"}


def kinds_of_a_job() -> dict[type[models.Model], list[str]]:
    """Every model with a row that belongs to a job, with the ways up to it, found from the models alone."""
    ways: dict[type[models.Model], list[str]] = {Job: ["pk"]}
    history = {model.history.model for model in apps.get_models() if hasattr(model, "history")}
    grown = True
    while grown:
        grown = False
        for model in apps.get_models():
            if model in history or issubclass(model, Word) or model is SlotQuarter:
                continue
            for field in model._meta.concrete_fields:
                for way in ways.get(field.related_model, []) if field.related_model is not model else []:
                    path = field.name if way == "pk" else f"{field.name}__{way}"
                    if model is not Job and path not in ways.setdefault(model, []) and path.count("__") < 5:
                        ways[model].append(path)
                        grown = True
    return ways


def rows_of(job: Job) -> list[models.Model]:
    rows = []
    for model, ways in kinds_of_a_job().items():
        wanted = models.Q()
        for way in ways:
            wanted |= models.Q(**{way: job.pk})
        rows += list(model._base_manager.filter(wanted).distinct()) if ways else []
    return [*rows, job.customer, job.bike, job.bike.engine_spec]


def same(exported: Any, stored: Any) -> bool:
    """Whether what the JSON tells is what the record keeps, to the second for times."""
    if isinstance(stored, datetime):
        return datetime.fromisoformat(exported) == stored.replace(microsecond=0)
    if isinstance(stored, date):
        return exported == stored.isoformat()
    if isinstance(stored, Decimal):
        return Decimal(exported) == stored
    if isinstance(stored, models.fields.files.FieldFile):
        return exported == (stored.name or "")
    return exported == stored


@pytest.fixture
def full_job(blank_pages, whole_job, staff) -> Job:
    """Make a job with every kind of record, including sheet, link and acknowledgement."""
    whole_job.photos.add(
        Photo(original_name="=cmd.png", image=ContentFile(b"x", name="a.png"), by=staff[Role.DESK]),
        bulk=False,
    )
    place = WorkPlace.objects.create(name="Bench 9", kind="bench")
    Slot.objects.create(job=whole_job, place=place, starts_at=AT, ends_at=AT.replace(hour=17))
    sheet = issue_sheet(
        job=whole_job, by=staff[Role.OWNER], override_reason="for the test", informed_person="Ines Quill"
    )
    link = SheetLink.objects.create(sheet=sheet, expires_at=AT, made_by=staff[Role.DESK])
    Acknowledgement.objects.create(sheet=sheet, link=link, name="Ines Quill", notice_text="read")
    Part.objects.create(job=whole_job, name="=SUM(A1:A9)", note="-2 mm, “quoted”\nand a second line")
    return whole_job


def archive_of(job: Job) -> dict[str, str]:
    with zipfile.ZipFile(io.BytesIO(whole_job_zip(get_job(job.number), ShopProfile.current()))) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name).decode() for name in archive.namelist()}


def test_every_value_is_in_json_and_table(full_job):
    files = archive_of(full_job)
    records = json.loads(files["job.json"])["records"]
    rows = rows_of(full_job)
    kinds = {type(row) for row in rows}
    assert len(kinds) >= 24, "the job of this test has a row of nearly every kind"
    missing = []
    for row in rows:
        kind = kind_name(type(row))
        exported = next((found for found in records.get(kind, []) if found["id"] == row.pk), None)
        table = {
            line["id"]: line for line in csv.DictReader(io.StringIO(files.get(f"{kind}.csv", ""), newline=""))
        }
        if exported is None or str(row.pk) not in table:
            missing.append((kind, row.pk))
            continue
        for field in row._meta.concrete_fields:
            name, kept = RENAMED.get(field.name, field.attname), getattr(row, field.attname)
            if field.name in SECRET:
                assert name not in exported
                continue
            if name not in exported or not same(exported[name], kept):
                missing.append((kind, row.pk, name))
            if field.name == "snapshot":
                continue  # longer than a cell; about.txt says where it is
            plain = "" if exported[name] is None else exported[name]
            shown = json.dumps(plain, ensure_ascii=False) if isinstance(plain, list | dict) else str(plain)
            if unescape_formula(table[str(row.pk)][name]) != shown:
                missing.append((kind, row.pk, name, "csv"))
    assert missing == []


def test_export_contains_study_runs_and_staff_names(full_job):
    records = whole_job(get_job(full_job.number), ShopProfile.current())["records"]
    study = MixtureStudy.objects.get(job=full_job)
    assert records["mixture_studies"][0]["runs_ids"] == sorted(study.runs.values_list("pk", flat=True))
    assert records["tune_revisions"][1]["loaded_by"] == "Toni Tuner"
    assert {change["kind"] for change in records["tune_changes"]} == {"idle speed", "fuel", "throttle table"}
    assert all(len(run["sha256"]) == 64 for run in records["runs"])


def test_export_contains_no_link_token(full_job):
    token = SheetLink.objects.filter(sheet__job=full_job).first().token
    assert all(token not in text for text in archive_of(full_job).values())


def test_formula_like_text_is_escaped_in_every_table(full_job):
    files = archive_of(full_job)
    cells = [
        cell
        for name, text in files.items()
        if name.endswith(".csv")
        for line in csv.reader(io.StringIO(text, newline=""))
        for cell in line
    ]
    risky = [cell for cell in cells if cell.startswith(("=", "+", "@", "\t", "\r")) and len(cell) > 1]
    assert risky == []
    assert "'=SUM(A1:A9)" in cells
    assert "'-2 mm, “quoted”\nand a second line" in cells


def test_export_explains_columns_and_lists_throttle_points(full_job):
    files = archive_of(full_job)
    columns = list(csv.DictReader(io.StringIO(files["columns.csv"], newline="")))
    explained = {(column["kind"], column["column"]): column["means"] for column in columns}
    assert explained["runs", "pressure_kpa"] == "barometer, absolute (kPa)"
    assert explained["runs", "size_bytes"] == "size"
    plates = files["throttle_plates.csv"].splitlines()
    assert plates[0] == "tune,mode,for_whom,grip_pct,engine_speed_rpm,plate_pct"
    assert "personal data" in files["about.txt"]


def test_the_same_records_give_the_same_bytes(whole_job):
    shop = ShopProfile.current()
    assert whole_job_zip(get_job(whole_job.number), shop) == whole_job_zip(get_job(whole_job.number), shop)


def test_staff_download_export_with_fixed_query_count(login, staff):
    job = factories.make_job()
    factories.make_clearance_set(job, staff[Role.MECHANIC])
    factories.make_revision(job, staff[Role.TUNER])
    Part.objects.create(job=job, name="Bolt")
    asked: dict[tuple[str, str], int] = {}

    def ask(round_: str) -> None:
        for name in ("job-json", "job-zip"):
            with CaptureQueriesContext(connection) as queries:
                answer = login(Role.DESK).get(reverse(name, args=[job.number]))
            assert answer.status_code == 200
            assert "attachment" in answer["Content-Disposition"]
            asked[name, round_] = len(queries)

    ask("few")
    for number in range(1, 9):
        factories.make_revision(job, staff[Role.TUNER], number)
        Part.objects.create(job=job, name="Bolt")
        factories.make_clearance_set(job, staff[Role.MECHANIC])
    ask("many")
    assert asked["job-zip", "many"] == asked["job-zip", "few"] <= 60
    assert asked["job-json", "many"] == asked["job-json", "few"]
    read = login(Role.TUNER).get(reverse("job-json", args=[job.number])).json()
    assert read["job"] == job.number
    assert len(read["records"]["parts"]) == 9
    assert login(Role.OWNER).get(reverse("job-zip", args=["1999-001"])).status_code == 404
