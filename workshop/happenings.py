"""What happened, in words: each change of a record with who, when, and each field from what to what."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby
from typing import Any

from django.apps import apps
from django.db import models
from django.db.models import OuterRef, Subquery
from django.utils import timezone
from django.utils.text import Truncator, capfirst

UNTOLD = {"id", "version", "created_at", "updated_at", "history_user", "searched"}
LONGEST_VALUE = 120
PAGE_LENGTH = 50
DONE = {"+": "entered", "~": "changed", "-": "removed"}


@dataclass(frozen=True)
class Change:
    label: str
    was: str
    now: str


@dataclass(frozen=True)
class Happening:
    """One saving of one record."""

    kind: str  # such as jobs.job
    kind_name: str
    pk: Any
    record: str
    done: str
    who: str
    who_pk: int | None
    when: datetime
    changes: list[Change] = field(default_factory=list)


def told_models() -> dict[str, type[models.Model]]:
    """Every model that keeps a history, by kind."""
    found = [model for model in apps.get_models() if hasattr(model, "history")]
    return {model._meta.label_lower: model for model in found}


def kinds() -> list[tuple[str, str]]:
    names = ((kind, capfirst(str(model._meta.verbose_name))) for kind, model in told_models().items())
    return sorted(names, key=lambda each: each[1])


def happenings(
    *, kind: str = "", pk: str = "", by: int | None = None, before: datetime | None = None
) -> list[Happening]:
    """The latest savings, the newest first, one page and one more.

    Two queries for each kind of record (one where nothing of it happened), one more for each kind
    that a changed field points to: fixed by the kinds, whatever the number of rows.
    """
    known = told_models()
    if kind and kind not in known:
        return []
    chosen = [known[kind]] if kind else list(known.values())
    rows = [row for model in chosen for row in latest(model, pk, by, before)]
    rows.sort(key=lambda row: (row.history_date, row.history_id), reverse=True)
    rows = rows[: PAGE_LENGTH + 1]
    earlier = earlier_rows(rows)
    changed = {id(row): changed_fields(row, earlier.get((type(row), row.earlier))) for row in rows}
    names = names_of_related(row for changes in changed.values() for row in changes)
    return [in_words(row, changed[id(row)], names) for row in rows]


def latest(model: Any, pk: str, by: int | None, before: datetime | None) -> list[Any]:
    history = model.history.model
    same = history.objects.filter(**{model._meta.pk.attname: OuterRef(model._meta.pk.attname)})
    older = same.filter(history_id__lt=OuterRef("history_id")).order_by("-history_id")
    rows = history.objects.annotate(earlier=Subquery(older.values("history_id")[:1]))
    if pk:
        rows = rows.filter(**{model._meta.pk.attname: pk}) if pk.isdecimal() else rows.none()
    if by:
        rows = rows.filter(history_user_id=by)
    if before:
        rows = rows.filter(history_date__lt=before)
    return list(
        rows.select_related("history_user").order_by("-history_date", "-history_id")[: PAGE_LENGTH + 1]
    )


def earlier_rows(rows: Sequence[Any]) -> dict[tuple[type, int], Any]:
    found = {}
    by_type = sorted((row for row in rows if row.earlier), key=lambda row: type(row).__name__)
    for model, group in groupby(by_type, key=type):
        kept: Any = model
        for pk, row in kept.objects.in_bulk([row.earlier for row in group]).items():
            found[(model, pk)] = row
    return found


FieldChange = tuple[models.Field, Any, Any]


def changed_fields(row: Any, earlier: Any) -> list[FieldChange]:
    if row.history_type != "~" or earlier is None:
        return []
    fields = [each for each in row.instance_type._meta.concrete_fields if each.name not in UNTOLD]
    tracked = {each.name for each in row.tracked_fields}
    values = (
        (each, getattr(earlier, each.attname), getattr(row, each.attname))
        for each in fields
        if each.name in tracked
    )
    return [each for each in values if each[1] != each[2]]


Names = dict[tuple[type, Any], str]


def names_of_related(changes: Iterable[FieldChange]) -> Names:
    wanted: dict[Any, set[Any]] = {}
    for changed, was, now in changes:
        if changed.related_model is not None:
            wanted.setdefault(changed.related_model, set()).update({was, now} - {None})
    return {
        (model, pk): str(record)
        for model, pks in wanted.items()
        for pk, record in model._base_manager.in_bulk(pks).items()
    }


def in_words(row: Any, changed: list[FieldChange], names: Names) -> Happening:
    model = row.instance_type
    return Happening(
        kind=model._meta.label_lower,
        kind_name=str(model._meta.verbose_name),
        pk=getattr(row, model._meta.pk.attname),
        record=named(row),
        done=DONE[row.history_type],
        who=str(row.history_user or "the program"),
        who_pk=row.history_user_id,
        when=row.history_date,
        changes=[
            Change(capfirst(str(each.verbose_name)), told(each, was, names), told(each, now, names))
            for each, was, now in changed
        ],
    )


def named(row: Any) -> str:
    """The record as it called itself then, without asking the database for what it points to."""
    for name in ("number", "name", "description", "text", "title", "original_name"):
        value = getattr(row, name, None)
        if value:
            return Truncator(str(value)).chars(LONGEST_VALUE)
    words = (getattr(row, name, None) for name in ("maker", "make", "model", "username", "mode", "reason"))
    return (
        " ".join(str(word) for word in words if word)
        or f"no. {getattr(row, row.instance_type._meta.pk.attname)}"
    )


def told(changed: models.Field, value: Any, names: Names) -> str:
    if value in (None, "", [], {}):
        return "–"
    if changed.related_model is not None:
        return names.get((changed.related_model, value), "one that is gone")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return timezone.localtime(value).strftime("%-d %b %Y, %H:%M")
    if isinstance(value, list | dict):
        in_words = getattr(changed.model, f"get_{changed.name}_display", None)
        if in_words is not None:
            return Truncator(in_words(changed.model(**{changed.attname: value}))).chars(LONGEST_VALUE)
        return f"{len(value)} entries" if len(value) != 1 else "one entry"
    choices = dict(changed.flatchoices)
    return Truncator(str(choices.get(value, value))).chars(LONGEST_VALUE)
