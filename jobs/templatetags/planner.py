"""Times of slots in shop time."""

from datetime import datetime

from django import template

from jobs.planner.slots import clock_text

register = template.Library()


@register.filter
def shop_clock(when: datetime) -> str:
    return clock_text(when)
