"""A filter that shows a figure that knows what it measures."""

from django import template

from jobs.forms.quantities import shop_unit
from jobs.suspension import Figure
from workshop.models import ShopProfile
from workshop.units import NOT_MEASURED, format_value

register = template.Library()

UNIT_OF_THE_SHOP = ("length", "tyre_pressure")


@register.filter
def figure(shown: Figure, shop: ShopProfile) -> str:
    if shown.value in ("", None):
        return NOT_MEASURED
    if not shown.quantity:
        return str(shown.value)
    unit = shop_unit(shop, shown.quantity) if shown.quantity in UNIT_OF_THE_SHOP else None
    return format_value(shown.value, shown.quantity, unit)
