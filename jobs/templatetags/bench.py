"""Template filters for the bench."""

from decimal import Decimal

from django import template

from jobs.calc.clearances import format_mm

register = template.Library()


@register.filter
def shim(thickness_mm: float | Decimal | None) -> str:
    """A shim's thickness: in mm whatever the shop measures in, since shims are marked in it."""
    return "–" if thickness_mm is None else f"{format_mm(thickness_mm)}\N{NO-BREAK SPACE}mm"
