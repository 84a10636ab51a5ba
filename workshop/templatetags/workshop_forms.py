"""Template tags for forms."""

import uuid

from django import template
from django.utils.html import format_html

from workshop.records.submit_once import FIELD

register = template.Library()


@register.simple_tag
def form_key() -> str:
    """Render a hidden key that makes a form act once, however often it is submitted."""
    return format_html('<input type="hidden" name="{}" value="{}">', FIELD, uuid.uuid4())
