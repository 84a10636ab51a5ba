"""Readings of a clearance set before another user's save, compared with the boxes of the form."""

from jobs.clearances.form_boxes import parse_gap
from jobs.clearances.recording import to_mm
from jobs.clearances.valve_gaps import Key, gap_key
from jobs.models import ClearanceReading, ClearanceSet
from workshop.records.conflict import history_since


def readings_at(measured: ClearanceSet, version: int) -> dict[Key, ClearanceReading]:
    """Return the readings of a version of the set: before the next save of it began."""
    _, following = history_since(measured, version)
    later = ClearanceSet.history.filter(id=measured.pk, version=version + 1)
    following = later.order_by("history_date").first() or following
    if following is None:
        return {}
    rows = ClearanceReading.history.filter(
        clearance_set_id=measured.pk, history_date__lt=following.history_date
    )
    last = {row.id: row for row in rows.order_by("history_date", "history_id")}
    return {gap_key(row.instance): row.instance for row in last.values() if row.history_type != "-"}


def is_same_gap(sent: str, before: str, unit: str) -> bool:
    """Return True if two texts of a clearance box mean the same, each in its own unit."""
    try:
        now, was = (parse_gap(text, unit) for text in (sent, before))
    except ValueError:
        return False
    return [to_mm(figure, now.unit) for figure in now.figures] == [
        to_mm(figure, was.unit) for figure in was.figures
    ]
