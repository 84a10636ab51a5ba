"""Filters that show a stored value in the shop's unit: ``{{ run.power_kw|power:shop }}``."""

from decimal import Decimal
from functools import lru_cache
from typing import Any

from django import template
from django.utils.translation import get_language

from jobs.calc.units.numbers import format_number
from jobs.calc.wording import localise
from workshop.records.phone import dialled
from workshop.units.display import NO_BREAK_SPACE, NOT_MEASURED, format_plain, label
from workshop.units.shop_units import UnitChoices, format_for_shop, shop_unit

register = template.Library()
register.filter(dialled)

EMPTY = (None, "")
QUANTITIES = {
    "power": "power",
    "torque": "torque",
    "pressure": "pressure",
    "temperature": "temperature",
    "distance": "distance",
    "road_speed": "speed",
    "speed_rating": "speed_rating",
    "mm": "clearance",
}


def _register_filter(name: str, quantity: str) -> None:
    @register.filter(name)
    def show(value: Any, shop: UnitChoices) -> str:
        return format_for_shop(None if value in EMPTY else value, quantity, shop)


for _name, _quantity in QUANTITIES.items():
    _register_filter(_name, _quantity)


@register.filter
def size(value: Any, shop: UnitChoices) -> str:
    """Show a limit or a shim's size, stored in mm, with the decimals entered and at least two."""
    if value in EMPTY:
        return NOT_MEASURED
    if shop_unit(shop, "shim") != "mm":
        return format_for_shop(value, "shim", shop)
    return format_mm_as_entered(format_plain(value), get_language())


@lru_cache(maxsize=4096)
def format_mm_as_entered(text: str, language: str | None) -> str:
    """Write a length in mm with its own decimals; one page shows the same few lengths many times."""
    exact = Decimal(text)
    places = max(2, -int(exact.as_tuple().exponent))
    return f"{format_number(float(exact), places)}{NO_BREAK_SPACE}{label('mm')}"


@register.filter
def plain(value: Any) -> str:
    """Show a number without trailing zeros."""
    return NOT_MEASURED if value in EMPTY else localise(format_plain(value))


@register.filter
def figure(value: Any, places: int = 0) -> str:
    """Show a number with so many decimals and without a unit."""
    return NOT_MEASURED if value in EMPTY else format_number(float(value), places)


@register.filter
def trimmed(value: Any, places: int) -> str:
    """Write a number with at most so many decimals, without trailing zeros."""
    return NOT_MEASURED if value in EMPTY else format_number(float(value), places, trim=True)


@register.filter
def signed(value: Any, places: int = 0) -> str:
    """Show a change with its sign, with so many decimals and without a unit."""
    return NOT_MEASURED if value in EMPTY else format_number(float(value), places, signed=True)
