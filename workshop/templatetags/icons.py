"""The icons of the site, drawn from one file."""

from django import template
from django.templatetags.static import static
from django.utils.html import format_html
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_tag
def icon(name: str) -> SafeString:
    """Draw a symbol of ``static/img/icons.svg``; the words beside it, or the button's label, name it."""
    return format_html(
        '<svg class="icon" aria-hidden="true"><use href="{}#{}"></use></svg>', static("img/icons.svg"), name
    )
