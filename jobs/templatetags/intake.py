"""Template tags for the outline of the bike."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import template

from jobs.intake.receive import SIDES

register = template.Library()


@dataclass(frozen=True)
class OutlineSide:
    """One side of the bike, with its numbered marks."""

    name: str
    marks: Sequence[tuple[int, dict[str, Any]]]


@register.filter
def outline_sides(marks: Sequence[dict[str, Any]] | None) -> list[OutlineSide]:
    """Return the sides with marks, or both without a list of marks; a mark without a side is on the right."""
    numbered = list(enumerate(marks or [], 1))
    sides = [
        OutlineSide(name, [(number, mark) for number, mark in numbered if mark.get("side", SIDES[0]) == name])
        for name in SIDES
    ]
    return [side for side in sides if marks is None or side.marks] or sides[:1]
