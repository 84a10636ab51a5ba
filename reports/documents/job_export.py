"""Export of a job: all its records as JSON, or a ZIP with that and a table for each kind of record.

The records are found by their references to the job, so a new kind of record is included automatically.
Left out on purpose:

* files (run files and their channels, photos, calibrations, issued PDFs), which can be downloaded from their
  own pages; the export contains their names, and their SHA-256 if the record has it;
* the secret part of customers' links, which opens a sheet;
* the change log, which has its own page, and what only serves the search or the locks of the calendar.
"""

import io
import json
import zipfile
from collections import ChainMap
from collections.abc import Iterable, Iterator
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import models
from django.db.models.fields.files import FieldFile

from jobs.job.json_values import moment
from jobs.job.registry import Export, records
from jobs.models import Job
from workshop.csv_files import csv_text
from workshop.models import ShopProfile
from workshop.privacy.held_data import SECRET_FIELDS, referencing_fields

FORMAT = "job records 1"
# Columns of the bike whose field name lacks the unit; the records declare theirs.
NAMES = {"front_sprocket": "front_sprocket_teeth", "rear_sprocket": "rear_sprocket_teeth"}
JSON_ONLY = "snapshot"  # of an issued sheet, with photos: too long for a cell of a spreadsheet
FILE_TIME = (1980, 1, 1, 0, 0, 0)  # of every file in the archive, so that its bytes are reproducible
ABOUT = """Job {number}: all records as stored by {shop}.

Contains personal data of the customer and staff. Pass it on only if you are allowed to.

job.json     all records, by kind, and `columns`, which describes each column
*.csv        the same records, a file for each kind: comma, decimal point, UTF-8, lines ended by CR LF;
             an empty cell is 'not recorded'; lists and tables within a cell are JSON; a text that a
             spreadsheet would run as a formula is preceded by '
columns.csv  describes each column and the shorthand used in it
throttle_plates.csv   every point of every throttle table, a row each

Units are in the columns' names; times are UTC (ISO 8601); money is in the shop's currency, in the name.
A column ending in _id holds the `id` of a record of the kind given in columns.csv. If that record is
not of this job, its name is beside it.

The data of each issued sheet (`snapshot`) are in job.json only.

Not included: the files themselves (run files, photos, calibrations, issued PDFs). Download them from
their pages. Their names and, if stored, SHA-256 checksums are included. The secret parts of customers'
links and the change log are not included either.
"""

Rows = dict[type[models.Model], list[models.Model]]


def find_records(job: Job) -> Rows:
    """Return the job, its customer, bike and engine, and every record that refers to the job.

    References are followed over several steps, with one query for each reference between two kinds of record.
    """
    left_out = {model for export in exports() for model in export.left_out}
    found: Rows = {type(row): [row] for row in (job, job.customer, job.bike, job.bike.engine_spec) if row}
    known: dict[type[models.Model], dict[Any, models.Model]] = {Job: {job.pk: job}}
    new = dict(known)
    while new:
        next_found: dict[type[models.Model], dict[Any, models.Model]] = {}
        for model, rows in new.items():
            for other, name in referencing_fields(model):
                if other in left_out:
                    continue
                for row in other._base_manager.filter(**{f"{name}__in": list(rows)}).order_by("pk"):
                    if row.pk not in known.get(other, {}):
                        next_found.setdefault(other, {})[row.pk] = row
        for model, rows in next_found.items():
            known.setdefault(model, {}).update(rows)
        new = next_found
    for model, rows in known.items():
        found[model] = [rows[pk] for pk in sorted(rows)]
    return found


def exports() -> list[Export]:
    """Return how every record is exported."""
    return [record.export for record in records()]


def export_columns(model: type[models.Model], shop: ShopProfile) -> dict[str, models.Field]:
    """Return the exported fields of a kind of record by column name."""
    fields = [*model._meta.concrete_fields, *model._meta.many_to_many]
    return {
        column_name(field, shop): field
        for field in fields
        if field.name not in SECRET_FIELDS
        and not isinstance(field, models.BinaryField)  # a signature: the signed file contains it
    }


def column_name(field: models.Field, shop: ShopProfile) -> str:
    if field.many_to_many:
        return f"{field.name}_ids"
    if any(field.name in export.money for export in exports()):
        return f"{field.name}_{shop.currency.lower()}"
    names = ChainMap(NAMES, *(dict(export.column_names) for export in exports()))
    return names.get(field.name, field.attname)


def kind_name(model: type[models.Model]) -> str:
    """Return the name of a kind of record and its table, for example 'tune_changes'."""
    return str(model._meta.verbose_name_plural).replace(" ", "_").replace("-", "_")


def related_names(found: Rows) -> dict[tuple[type[models.Model], Any], str]:
    """Return the names of records outside the job that it refers to, such as people."""
    wanted: dict[type[models.Model], set[Any]] = {}
    for model, rows in found.items():
        for field in model._meta.concrete_fields:
            target = field.related_model
            if isinstance(target, type) and target not in found:
                wanted.setdefault(target, set()).update(getattr(row, field.attname) for row in rows)
    return {
        (model, pk): str(row)
        for model, pks in wanted.items()
        for pk, row in model._base_manager.in_bulk([pk for pk in pks if pk is not None]).items()
    }


def json_value(value: Any) -> Any:
    """Return a value as stored in JSON; decimals stay exact."""
    if isinstance(value, datetime):
        return moment(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, FieldFile):
        return value.name or ""
    if isinstance(value, Decimal):
        return format(value, "f")
    return value


def whole_job(job: Job, shop: ShopProfile) -> dict[str, Any]:
    """Return every record of the job, with a description of the columns."""
    return job_records(job, find_records(job), shop)


def job_records(job: Job, found: Rows, shop: ShopProfile) -> dict[str, Any]:
    names = related_names(found)
    linked = linked_ids(found)
    records, columns = {}, []
    for model, rows in found.items():
        fields = export_columns(model, shop)
        records[kind_name(model)] = [record_values(row, fields, names, linked) for row in rows]
        columns += [column_facts(model, name, field, found) for name, field in fields.items()]
    return {"format": FORMAT, "job": job.number, "shop": shop.name, "records": records, "columns": columns}


def linked_ids(found: Rows) -> dict[tuple[models.Field, Any], list[Any]]:
    """Return the keys of many-to-many relations, with one query for each such field."""
    linked: dict[tuple[models.Field, Any], list[Any]] = {}
    for model, rows in found.items():
        for field in model._meta.many_to_many:
            own, other = field.m2m_field_name(), field.m2m_reverse_field_name()
            through: Any = field.remote_field.through
            pairs = through._base_manager.filter(**{f"{own}__in": rows}).order_by(other)
            for pk, other_pk in pairs.values_list(f"{own}_id", f"{other}_id"):
                linked.setdefault((field, pk), []).append(other_pk)
    return linked


def record_values(
    row: models.Model,
    fields: dict[str, models.Field],
    names: dict[tuple[type[models.Model], Any], str],
    linked: dict[tuple[models.Field, Any], list[Any]],
) -> dict[str, Any]:
    exported: dict[str, Any] = {}
    for column, field in fields.items():
        if field.many_to_many:
            exported[column] = linked.get((field, row.pk), [])
            continue
        value = getattr(row, field.attname)
        exported[column] = json_value(value)
        target: Any = field.related_model
        if target is not None and (target, value) in names:
            exported[field.name] = names[target, value]
    return exported


def column_facts(model: type[models.Model], name: str, field: models.Field, found: Rows) -> dict[str, Any]:
    target = field.related_model
    points_at = kind_name(target) if isinstance(target, type) and target in found else ""
    choices = dict(field.flatchoices) if field.choices else {}
    return {
        "kind": kind_name(model),
        "column": name,
        "means": str(field.verbose_name),
        "names_a": points_at,
        "values": {str(key): str(word) for key, word in choices.items()},
    }


def json_text(exported: dict[str, Any]) -> str:
    return json.dumps(exported, ensure_ascii=False, indent=1, allow_nan=False)


def csv_tables(exported: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield name and text of the table of each kind that has a record."""
    for kind, rows in exported["records"].items():
        if rows:
            header = list(dict.fromkeys(name for row in rows for name in row if name != JSON_ONLY))
            yield f"{kind}.csv", csv_text(header, ([cell(row.get(name)) for name in header] for row in rows))
    header = ["kind", "column", "means", "names_a", "values"]
    columns = ([cell(column[name]) for name in header] for column in exported["columns"])
    yield "columns.csv", csv_text(header, columns)


def cell(value: Any) -> Any:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, list | dict) else value


def whole_job_zip(job: Job, shop: ShopProfile) -> bytes:
    """Return the archive: the same bytes from the same records."""
    found = find_records(job)
    exported = job_records(job, found, shop)
    extra_files = {name: table(found) for export in exports() for name, table in export.files.items()}
    texts = [
        ("about.txt", ABOUT.format(number=job.number, shop=shop.name)),
        ("job.json", json_text(exported)),
        *csv_tables(exported),
        *extra_files.items(),
    ]
    return zip_texts((name, text) for name, text in texts if text)


def zip_texts(texts: Iterable[tuple[str, str]]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in texts:
            entry = zipfile.ZipInfo(name, FILE_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, text.encode())
    return out.getvalue()
