"""Edit conflicts: what someone else saved while a form was open."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from workshop.models import Record


@dataclass(frozen=True)
class ConflictingField:
    label: str
    was: str
    theirs: str
    yours: str | None = None  # as in the form now; None if the form does not show this field


@dataclass(frozen=True)
class EditConflict:
    """Changes that someone else saved while a form was open."""

    who: str
    when: datetime | None
    changes: list[ConflictingField]

    @property
    def sentence(self) -> str:
        what = "; ".join(f"{c.label}: “{c.was}” became “{c.theirs}”" for c in self.changes)
        return (
            f"{self.who} has saved this record ({what or 'no field on this form'}). Your entries are "
            "still here. Compare both and save again to keep yours."
        )


def display_value(record: Record, name: str) -> str:
    """Return a field's value as text, choices by their label."""
    display = getattr(record, f"get_{name}_display", None)
    value = display() if callable(display) else getattr(record, name)
    return "–" if value in (None, "", []) else str(value)


def history_since(record: Record, version: int) -> tuple[Any, Any]:
    """Return the history rows of a record at a version and now, each None if there is none."""
    history = type(record).history.filter(**{record._meta.pk.name: record.pk})
    rows = history.order_by("-version", "-history_id")
    return rows.filter(version=version).first(), rows.select_related("history_user").first()


def changed_names(then: Any, now: Any) -> list[str]:
    return [
        change.field for change in now.diff_against(then).changes if values_differ(change.old, change.new)
    ]


def values_differ(was: Any, now: Any) -> bool:
    """Return True if a value changed, regardless of line endings, which browsers alter."""
    if isinstance(was, str) and isinstance(now, str):
        return was.replace("\r\n", "\n") != now.replace("\r\n", "\n")
    return bool(was != now)
