"""Template tags for the job page."""

from functools import cache

from crispy_forms.templatetags.crispy_forms_filters import as_crispy_form
from django import template
from django.utils.html import format_html

from jobs.job.forms import StageForm
from jobs.job.section import State
from jobs.models import Job

register = template.Library()


@register.filter
def state(state: State) -> str:
    """Show the state of a section by word and shape."""
    return format_html('<span class="state state-{}">{}</span>', state.replace(" ", "-"), state)


@register.simple_tag
def stage_fields(job: Job, sent: StageForm | None) -> str:
    """Show the fields that move a job to another stage, as submitted or untouched."""
    return as_crispy_form(sent) if sent else unsubmitted_stage_fields(job.stage, job.waiting_for)


@cache
def unsubmitted_stage_fields(stage: str, waiting_for: str) -> str:
    # The same for every job at a stage, and as slow to render as the rest of the page head.
    return as_crispy_form(StageForm(job=Job(stage=stage, waiting_for=waiting_for)))
