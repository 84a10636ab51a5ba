"""Suspension settings with their units, and hints about sag."""

from collections.abc import Sequence

from django import template

from jobs.models import SuspensionSetting
from jobs.suspension.settings import SettingValue, hints
from workshop.models import ShopProfile
from workshop.units.display import length_formatter

register = template.Library()


@register.filter
def setting_value(shown: SettingValue, shop: ShopProfile) -> str:
    return shown.display(shop)


@register.simple_tag
def sag_hints(settings: Sequence[SuspensionSetting], intended_use: str, shop: ShopProfile) -> list[str]:
    """Return what the latest sag suggests, in the shop's unit."""
    return hints(settings, intended_use, length_formatter(shop.length_unit))
