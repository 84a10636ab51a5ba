"""Figures that know what they measure, and what they hint at."""

from collections.abc import Sequence

from django import template

from jobs.forms.quantities import shop_unit
from jobs.models import SuspensionSetting
from jobs.suspension import Figure, hints
from workshop.models import ShopProfile
from workshop.units import NOT_MEASURED, format_value, length_words

register = template.Library()

UNIT_OF_THE_SHOP = ("length", "tyre_pressure")


@register.filter
def setting_figure(shown: Figure, shop: ShopProfile) -> str:
    if shown.value in ("", None):
        return NOT_MEASURED
    if not shown.quantity:
        return str(shown.value)
    unit = shop_unit(shop, shown.quantity) if shown.quantity in UNIT_OF_THE_SHOP else None
    return format_value(shown.value, shown.quantity, unit)


@register.simple_tag
def sag_hints(settings: Sequence[SuspensionSetting], intended_use: str, shop: ShopProfile) -> list[str]:
    """What the latest sag suggests, in the shop's unit."""
    return hints(settings, intended_use, length_words(shop.length_unit))
