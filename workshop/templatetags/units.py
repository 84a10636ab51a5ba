"""Filters that show a kept figure in the shop's unit: ``{{ run.power_kw|power:shop }}``."""

from decimal import Decimal
from typing import Any

from django import template

from jobs.calc.units.numbers import format_number
from workshop.models import ShopProfile
from workshop.units.display import NO_BREAK_SPACE, NOT_MEASURED, format_plain, format_value, label

register = template.Library()

EMPTY = (None, "")


def show(value: Any, quantity: str, unit_id: str) -> str:
    return format_value(None if value in EMPTY else value, quantity, unit_id)


@register.filter
def power(value: Any, shop: ShopProfile) -> str:
    """Kept in kW."""
    return show(value, "power", shop.power_unit)


@register.filter
def torque(value: Any, shop: ShopProfile) -> str:
    """Kept in N·m."""
    return show(value, "torque", shop.torque_unit)


@register.filter
def pressure(value: Any, shop: ShopProfile) -> str:
    """Kept in kPa."""
    return show(value, "pressure", shop.pressure_unit)


@register.filter
def temperature(value: Any, shop: ShopProfile) -> str:
    """Kept in °C."""
    return show(value, "temperature", shop.temperature_unit)


@register.filter
def distance(value: Any, shop: ShopProfile) -> str:
    """Kept in km."""
    return show(value, "distance", shop.distance_unit)


@register.filter
def mm(value: Any, shop: ShopProfile) -> str:
    """A clearance, kept in mm, rounded to what a blade can tell."""
    return show(value, "clearance", shop.length_unit)


@register.filter
def size(value: Any, shop: ShopProfile) -> str:
    """A limit or a shim's size, kept in mm: as it was entered, with two decimals or more."""
    if value in EMPTY:
        return NOT_MEASURED
    if shop.length_unit != "mm":
        return show(value, "shim", shop.length_unit)
    exact = Decimal(format_plain(value))
    places = max(2, -int(exact.as_tuple().exponent))
    return f"{format_number(float(exact), places)}{NO_BREAK_SPACE}{label('mm')}"


@register.filter
def plain(value: Any) -> str:
    """A number without trailing zeros."""
    return NOT_MEASURED if value in EMPTY else format_plain(value)


@register.filter
def figure(value: Any, places: int = 0) -> str:
    """A number with so many decimals, in no unit or in one that stands elsewhere, as sentences write it."""
    return NOT_MEASURED if value in EMPTY else format_number(float(value), places)


@register.filter
def trimmed(value: Any, places: int) -> str:
    """Write a number with at most so many decimals, without trailing zeros."""
    return NOT_MEASURED if value in EMPTY else format_number(float(value), places, trim=True)


@register.filter
def signed(value: Any, places: int = 0) -> str:
    """The same for a change: a rise has its plus, a fall its minus."""
    return NOT_MEASURED if value in EMPTY else format_number(float(value), places, signed=True)


@register.filter
def road_speed(value: Any, shop: ShopProfile) -> str:
    """Kept in km/h, shown by the unit of the shop's distances."""
    return show(value, "speed", "mph" if shop.distance_unit == "mi" else "kmh")
