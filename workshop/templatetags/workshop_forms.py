"""Template tags for forms."""

import uuid

from django import forms, template
from django.utils.html import format_html

from workshop.records.submit_once import FIELD

register = template.Library()

# Inputs that take the whole width of their group; the others share a row if there is room.
WIDE = {
    "textarea",
    "checkbox",
    "checkboxselectmultiple",
    "radioselect",
    "file",
    "clearablefile",
    "numberlist",
}
SENTENCE_LENGTH = 200


@register.simple_tag
def form_key() -> str:
    """Render a hidden key that makes a form act once, however often it is submitted."""
    return format_html('<input type="hidden" name="{}" value="{}">', FIELD, uuid.uuid4())


@register.filter
def is_wide(field: forms.BoundField) -> bool:
    """Return True if a field takes the whole width of its group: a sentence, a list or a box to tick."""
    return field.widget_type in WIDE or (getattr(field.field, "max_length", None) or 0) >= SENTENCE_LENGTH


@register.filter
def input_id(field: forms.BoundField) -> str:
    """Return the id of a field's input, or of the first one if it has several."""
    return field.id_for_label or next((part.id_for_label for part in field.subwidgets), field.auto_id)
