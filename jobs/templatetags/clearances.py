"""Template filters for the bench."""

from decimal import Decimal

from django import template
from django.utils.html import format_html, format_html_join

from jobs.calc.clearances.readings import Judgement, format_mm
from jobs.clearances.before_after import History
from jobs.clearances.before_after_chart import ClearancePicture, Tick, picture_of
from jobs.clearances.places import Place, slug
from jobs.models import ClearanceReading
from workshop.models import ShopProfile
from workshop.templatetags.units import size
from workshop.units.display import NO_BREAK_SPACE, NOT_MEASURED

register = template.Library()


@register.filter
def shim(thickness_mm: float | Decimal | None) -> str:
    """A shim's thickness: in mm whatever the shop measures in, since shims are marked in it."""
    return NOT_MEASURED if thickness_mm is None else f"{format_mm(thickness_mm)}{NO_BREAK_SPACE}mm"


def span(low_mm: Decimal | None, high_mm: Decimal | None, shop: ShopProfile) -> str:
    return f"{size(low_mm, shop).split(NO_BREAK_SPACE)[0]} to {size(high_mm, shop)}"


@register.filter
def gap_range(place: Place, shop: ShopProfile) -> str:
    """The range that the engine spec gives a place."""
    return span(place.low_mm, place.high_mm, shop) if place.has_range else NOT_MEASURED


@register.filter
def reading(row: ClearanceReading, shop: ShopProfile) -> str:
    """What was measured: a value, or from the blade that goes to the one that does not."""
    if row.goes_mm is None:
        return size(row.clearance_mm, shop)
    return span(row.goes_mm, row.not_goes_mm, shop)


@register.filter
def verdict(judgement: Judgement | str | None) -> str:
    """What a reading says, by word and shape; nothing where nothing was read or there is no range."""
    if not isinstance(judgement, Judgement):
        return ""
    return format_html('<span class="verdict verdict-{}">{}</span>', slug(judgement), judgement.word)


@register.filter
def grid_lines(ticks: list[Tick]) -> str:
    """The grid behind every row of the picture of clearances, made once for all of them."""
    line = '<line class="valves-grid" x1="{0}" x2="{0}" y1="0" y2="100%"/>'
    return format_html_join("", line, ((tick.at,) for tick in ticks))


@register.simple_tag
def clearance_picture(history: History | None, shop: ShopProfile) -> ClearancePicture | None:
    """All valves before and after, for jobs/clearance_picture.html."""
    return picture_of(history, shop)
