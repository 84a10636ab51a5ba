"""The change log: who saved which record and when, with the values before and after.

simple_history's own diff leaves out the fields that no form edits, such as the stage of a job, and
queries each related record by itself, so rows are compared here.
"""

import heapq
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import islice
from typing import Any, NamedTuple

from django.apps import apps
from django.db import models
from django.db.models import OuterRef, Subquery
from django.utils import timezone
from django.utils.text import Truncator, capfirst

from workshop.records.conflict import values_differ
from workshop.units.display import format_plain

HIDDEN_FIELDS = {"id", "version", "created_at", "updated_at"}
MAX_VALUE_CHARS = 120
PAGE_LENGTH = 50
PERSON_FIELDS = {"by", "made_by", "measured_by", "accepted_by", "loaded_by", "issued_by"}
VALVE_FIELDS = ("cylinder", "position")
ACTIONS = {"+": "entered", "~": "changed", "-": "removed"}


@dataclass(frozen=True)
class FieldChange:
    label: str
    was: str
    now: str


@dataclass(frozen=True)
class ChangeLogEntry:
    """One saved change of one record."""

    kind: str  # such as jobs.job
    kind_name: str
    pk: Any
    history_id: int
    record: str
    action: str
    who: str
    when: datetime
    changes: list[FieldChange]
    reason: str


class Values(NamedTuple):
    """A field's stored value before and after a change."""

    field: "models.Field[Any, Any]"
    was: Any
    now: Any


Names = dict[tuple[type, Any], str]  # of related records, by model and key


def tracked_models() -> dict[str, type[models.Model]]:
    """Return every model with a history, by kind."""
    found = [model for model in apps.get_models() if hasattr(model, "history")]
    return {model._meta.label_lower: model for model in found}


def list_kinds() -> list[tuple[str, str]]:
    names = [(kind, capfirst(str(model._meta.verbose_name))) for kind, model in tracked_models().items()]
    return sorted(names, key=lambda kind: kind[1])


def list_entries(
    *, kind: str = "", pk: str = "", by: int | None = None, before: datetime | int | None = None
) -> list[ChangeLogEntry]:
    """List the latest entries, newest first: a page and one more.

    ``before`` is a time, or within one kind the ``history_id`` of the last entry of the page before.

    Two queries per kind of record (one if it has no entries), and one more per kind that a changed
    field points to, whatever the number of rows.
    """
    known = tracked_models()
    if kind and kind not in known:
        return []
    chosen = [known[kind]] if kind else known.values()
    # Within a kind by the order of saving, since a clock may have been set back in between.
    merged = heapq.merge(
        *(latest_rows(model, pk, by, before) for model in chosen),
        key=lambda row: row.history_date,
        reverse=True,
    )
    rows = list(islice(merged, PAGE_LENGTH + 1))
    earlier = earlier_rows(rows)
    changes = {row: changed_values(row, earlier.get((type(row), row.earlier))) for row in rows}
    names = related_names(values for row in rows for values in (*changes[row], *parents(row)))
    return [make_entry(row, changes[row], names) for row in rows]


def latest_rows(model: Any, pk: str, by: int | None, before: datetime | int | None) -> list[Any]:
    history = model.history.model
    key = model._meta.pk.attname
    older = history.objects.filter(**{key: OuterRef(key)}, history_id__lt=OuterRef("history_id"))
    rows = history.objects.annotate(earlier=Subquery(older.order_by("-history_id").values("history_id")[:1]))
    if pk:
        rows = rows.filter(**{key: pk}) if pk.isdecimal() else rows.none()
    if by:
        rows = rows.filter(history_user_id=by)
    if isinstance(before, int):
        rows = rows.filter(history_id__lt=before)
    elif before:
        rows = rows.filter(history_date__lt=before)
    return list(rows.select_related("history_user").order_by("-history_id")[: PAGE_LENGTH + 1])


def earlier_rows(rows: Iterable[Any]) -> dict[tuple[type, int], Any]:
    wanted = defaultdict(list)
    for row in rows:
        if row.earlier:
            wanted[type(row)].append(row.earlier)
    return {
        (history, history_id): row
        for history, ids in wanted.items()
        for history_id, row in history.objects.in_bulk(ids).items()
    }


def changed_values(row: Any, earlier: Any) -> list[Values]:
    if row.history_type != "~" or earlier is None:
        return []
    fields = [field for field in row.tracked_fields if field.name not in HIDDEN_FIELDS]
    values = [Values(field, getattr(earlier, field.attname), getattr(row, field.attname)) for field in fields]
    return [shorten_table(change, earlier, row) for change in values if values_differ(change.was, change.now)]


def shorten_table(change: Values, earlier: Any, row: Any) -> Values:
    """Replace a list or table by the model's own text for it, or else by what differs."""
    field, was, now = change
    if not isinstance(was, list | dict) and not isinstance(now, list | dict):
        return change
    if display := getattr(field.model, f"get_{field.name}_display", None):
        texts = display(earlier) if was else None, display(row) if now else None
        if texts[0] != texts[1]:
            return Values(field, *texts)
    return Values(field, describe_items(was, now) if was else None, describe_items(now, was) if now else None)


def related_names(changes: Iterable[Values]) -> Names:
    wanted: dict[Any, set[Any]] = defaultdict(set)
    for field, was, now in changes:
        if field.related_model is not None:
            wanted[field.related_model] |= {was, now} - {None}
    return {
        (model, pk): str(record)
        for model, pks in wanted.items()
        for pk, record in model._base_manager.in_bulk(pks).items()
    }


def parents(row: Any) -> list[Values]:
    """Return what a record without a name of its own belongs to, by which it is then named."""
    if historical_name(row):
        return []
    fields = [
        field for field in row.tracked_fields if field.related_model and field.name not in PERSON_FIELDS
    ]
    values = [(field, getattr(row, field.attname)) for field in fields]
    return [Values(field, value, value) for field, value in values if value is not None]


def make_entry(row: Any, changes: Sequence[Values], names: Names) -> ChangeLogEntry:
    model = row.instance_type
    return ChangeLogEntry(
        kind=model._meta.label_lower,
        kind_name=str(model._meta.verbose_name),
        pk=getattr(row, model._meta.pk.attname),
        history_id=row.history_id,
        record=display_name(row, names),
        action=ACTIONS[row.history_type],
        who=str(row.history_user or "System"),
        when=row.history_date,
        changes=[
            FieldChange(
                label=capfirst(str(field.verbose_name)),
                was=describe_value(field, was, now, names),
                now=describe_value(field, now, was, names),
            )
            for field, was, now in changes
        ],
        reason=row.history_change_reason or "",
    )


def historical_name(row: Any) -> str:
    """Return the name that the record had then."""
    for name in ("number", "name", "description", "text", "title", "original_name"):
        if value := getattr(row, name, None):
            return Truncator(str(value)).chars(MAX_VALUE_CHARS)
    words = (getattr(row, name, None) for name in ("maker", "make", "model", "username", "mode", "reason"))
    return " ".join(str(word) for word in words if word)


def display_name(row: Any, names: Names) -> str:
    """Return the record's name, or else its type, position and parents."""
    if name := historical_name(row):
        return name
    words = []
    for field in row.tracked_fields:
        value = getattr(row, field.attname)
        if field.name in VALVE_FIELDS:
            words.append(f"{field.verbose_name} {value}")
        elif field.flatchoices:
            words.append(str(dict(field.flatchoices).get(value, "")))
    words += [describe_value(field, pk, None, names) for field, pk, _ in parents(row)]
    number = f"no. {getattr(row, row.instance_type._meta.pk.attname)}"
    return ", ".join(word for word in words if word) or number


def describe_value(field: "models.Field[Any, Any]", value: Any, other: Any, names: Names) -> str:
    """Write a field's value, given the other one of its change."""
    if value in (None, "", [], {}):
        return "–"
    if field.related_model is not None:
        return names.get((field.related_model, value), "deleted record")
    if isinstance(field, models.FileField):
        return "a file" if other in (None, "") else "another file"
    choices = dict(field.flatchoices)
    return Truncator(str(choices.get(value, format_scalar(value)))).chars(MAX_VALUE_CHARS)


def format_scalar(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return timezone.localtime(value).strftime("%-d %b %Y, %H:%M")
    if isinstance(value, date):
        return value.strftime("%-d %b %Y")
    if isinstance(value, float | Decimal):
        return format_plain(round(value, 6))
    return "–" if value in (None, "") else str(value)


def describe_items(value: Any, other: Any) -> str:
    """Write a list or table without what the other one holds too."""
    if isinstance(value, dict):
        before = other if isinstance(other, dict) else {}
        words = [
            f"{str(key).replace('_', ' ')} {describe_items(item, before.get(key))}"
            for key, item in value.items()
            if item != before.get(key)
        ]
        return "; ".join(words) or "nothing"
    if not isinstance(value, list):
        return format_scalar(value)
    if not any(isinstance(item, list | dict) for item in value):
        return ", ".join(format_scalar(item) for item in value) or "–"
    others = other if isinstance(other, list) else []
    differing = "; ".join(describe_items(item, None) for item in value if item not in others)
    count = f"{len(value)} entries" if len(value) != 1 else "one entry"
    return f"{count} ({differing})" if differing else count
