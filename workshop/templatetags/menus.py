"""Links of the bar and of the menu of the settings."""

from django import template
from django.template import Context
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from workshop.areas import area_of

register = template.Library()


@register.simple_tag(takes_context=True)
def menu_link(context: Context, name: str, label: str, exact: bool = False, area: str = "") -> SafeString:
    """Link a page within a menu and mark it as the current one, also on the pages below it unless exact.

    An entry with an area is marked on each page of that area, wherever its address is.
    """
    address, here = reverse(name), context["request"].path if "request" in context else ""
    current = ""
    if here == address:
        current = ' aria-current="page"'
    elif (not exact and here.startswith(address)) or (area and area_of(here) == area):
        current = ' aria-current="true"'
    return format_html('<li><a href="{}"{}>{}</a></li>', address, mark_safe(current), label)
