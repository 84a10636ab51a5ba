"""Filters for texts and dates in the language in use."""

from collections.abc import Sequence
from datetime import datetime

from django import template
from django.utils.translation import gettext

from workshop.languages import format_day, format_day_time, format_weekday_time

register = template.Library()


@register.filter
def translated(text: str) -> str:
    """Return the translation of a label; a text that someone typed has none and stays as it is."""
    return gettext(text) if text else ""


@register.filter
def all_translated(texts: Sequence[str]) -> list[str]:
    return [translated(text) for text in texts]


@register.filter
def day(at: datetime | None) -> str:
    return format_day(at) if at else ""


@register.filter
def day_time(at: datetime | None) -> str:
    return format_day_time(at) if at else ""


@register.filter
def weekday_time(at: datetime | None) -> str:
    return format_weekday_time(at) if at else ""
