"""What happened, in words: each change of a record with who, when, and each field from what to what."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from itertools import groupby
from typing import Any

from django.apps import apps
from django.db import models
from django.db.models import OuterRef, Subquery
from django.utils import timezone
from django.utils.text import Truncator, capfirst

from workshop.records.conflict import values_differ
from workshop.units.display import format_plain

UNTOLD = {"id", "version", "created_at", "updated_at", "history_user", "searched"}
LONGEST_VALUE = 120
PAGE_LENGTH = 50
BY_WHOM = {"by", "made_by", "measured_by", "accepted_by", "loaded_by", "issued_by"}  # told before the record
PLACES = ("cylinder", "position")  # of a valve
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
    why: str = ""


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
    asked = [each for row in rows for each in (*changed[id(row)], *pointing(row))]
    names = names_of_related(asked)
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


FieldChange = tuple[models.Field, Any, Any]  # the field, its value before and its value now


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
    differing = [each for each in values if values_differ(each[1], each[2])]
    return [in_few_words(each, earlier, row) if is_table(*each[1:]) else each for each in differing]


def is_table(*values: Any) -> bool:
    return any(isinstance(each, list | dict) for each in values)


def in_few_words(change: FieldChange, earlier: Any, row: Any) -> FieldChange:
    """A list or table in the model's own words, or else only what differs between the two."""
    changed, was, now = change
    own_words = getattr(changed.model, f"get_{changed.name}_display", None)
    if own_words is not None:
        words = own_words(earlier) if was else None, own_words(row) if now else None
        if words[0] != words[1]:
            return changed, *words
    return changed, entries(was, now) if was else None, entries(now, was) if now else None


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


def pointing(row: Any) -> list[FieldChange]:
    """What a record without a name of its own belongs to, by which it is then called."""
    if own_name(row):
        return []
    fields = [each for each in row.tracked_fields if each.related_model and each.name not in BY_WHOM]
    values = ((each, getattr(row, each.attname)) for each in fields)
    return [(each, value, value) for each, value in values if value is not None]


def in_words(row: Any, changed: list[FieldChange], names: Names) -> Happening:
    model = row.instance_type
    return Happening(
        kind=model._meta.label_lower,
        kind_name=str(model._meta.verbose_name),
        pk=getattr(row, model._meta.pk.attname),
        record=named(row, names),
        done=DONE[row.history_type],
        who=str(row.history_user or "the program"),
        who_pk=row.history_user_id,
        when=row.history_date,
        why=row.history_change_reason or "",
        changes=[
            Change(capfirst(str(each.verbose_name)), told(each, was, now, names), told(each, now, was, names))
            for each, was, now in changed
        ],
    )


def own_name(row: Any) -> str:
    """The record as it called itself then."""
    for name in ("number", "name", "description", "text", "title", "original_name"):
        value = getattr(row, name, None)
        if value:
            return Truncator(str(value)).chars(LONGEST_VALUE)
    words = (getattr(row, name, None) for name in ("maker", "make", "model", "username", "mode", "reason"))
    return " ".join(str(word) for word in words if word)


def named(row: Any, names: Names) -> str:
    """Its own name, or else what kind it was, where it sits and what it belongs to."""
    if name := own_name(row):
        return name
    fields = row.tracked_fields
    chosen = [each for each in fields if each.flatchoices or each.name in PLACES]
    words = [
        f"{each.verbose_name} {value}" if each.name in PLACES else dict(each.flatchoices).get(value, "")
        for each, value in ((each, getattr(row, each.attname)) for each in chosen)
    ]
    words += [told(each, pk, None, names) for each, pk, _ in pointing(row)]
    number = f"no. {getattr(row, row.instance_type._meta.pk.attname)}"
    return ", ".join(str(word) for word in words if word) or number


def told(changed: models.Field, value: Any, beside: Any, names: Names) -> str:
    """A value in words, beside the one before or after it."""
    if value in (None, "", [], {}):
        return "–"
    if changed.related_model is not None:
        return names.get((changed.related_model, value), "one that is gone")
    if isinstance(changed, models.FileField):
        return "a file" if beside in (None, "") else "another file"
    choices = dict(changed.flatchoices)
    return Truncator(str(choices.get(value, plainly(value)))).chars(LONGEST_VALUE)


def plainly(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return timezone.localtime(value).strftime("%-d %b %Y, %H:%M")
    if isinstance(value, date):
        return value.strftime("%-d %b %Y")
    if isinstance(value, float | Decimal):
        return format_plain(round(value, 6))
    return "–" if value in (None, "") else str(value)


def entries(value: Any, beside: Any) -> str:
    """A list or table in words, leaving out what the one beside it holds too."""
    if isinstance(value, dict):
        other = beside if isinstance(beside, dict) else {}
        differing = {key: each for key, each in value.items() if each != other.get(key)}
        words = [
            f"{str(key).replace('_', ' ')} {entries(each, other.get(key))}" for key, each in differing.items()
        ]
        return "; ".join(words) or "nothing of it"
    if not isinstance(value, list):
        return plainly(value)
    if not any(isinstance(each, list | dict) for each in value):
        return ", ".join(plainly(each) for each in value) or "–"
    others = beside if isinstance(beside, list) else []
    differing_rows = [row for row in value if row not in others]
    count = f"{len(value)} entries" if len(value) != 1 else "one entry"
    return f"{count} ({'; '.join(entries(row, None) for row in differing_rows)})" if differing_rows else count
