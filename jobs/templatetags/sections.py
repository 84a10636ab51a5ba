"""Template tags for the job page."""

from django import template
from django.template.context import Context

from jobs.sections import Section

register = template.Library()


@register.simple_tag(takes_context=True)
def section_body(context: Context, section: Section) -> str:
    """The section's own template, with what the section hands it laid over the page's context."""
    assert context.template is not None
    body = context.template.engine.get_template(section.template)
    with context.push(**section.context, section=section):
        return body.render(context)
