"""The place of a page for what the apps above add to it."""

from django import template
from django.template import Context, Engine
from django.utils.html import format_html_join

from workshop.additions import templates_at

register = template.Library()


@register.simple_tag(takes_context=True)
def additions(context: Context, place: str) -> str:
    """Render the templates added at a place, with everything that the page has given."""
    engine = Engine.get_default()
    rendered = ((engine.get_template(name).render(context),) for name in templates_at(place))
    return format_html_join("", "{}", rendered)
