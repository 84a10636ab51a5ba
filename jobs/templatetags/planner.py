"""Times of slots in shop time."""

from datetime import datetime

from django import template

from jobs.planner.slots import format_shop_time

register = template.Library()


@register.filter
def shop_clock(when: datetime) -> str:
    return format_shop_time(when)
