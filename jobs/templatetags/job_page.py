"""Template tags for the job page."""

from functools import cache

from crispy_forms.templatetags.crispy_forms_filters import as_crispy_form
from django import template
from django.middleware.csrf import get_token
from django.template import Context
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from jobs.job.forms import StageForm
from jobs.job.results import JobResults
from jobs.job.section import State
from jobs.job_page.head import stored_head
from jobs.job_page.sections import find_record, stored_line
from jobs.job_page.stored import fill_tokens
from jobs.models import Job

register = template.Library()


@register.filter
def state_slug(state: State) -> str:
    return state.replace(" ", "-")


@register.simple_tag(takes_context=True)
def job_page_changes(context: Context, results: JobResults, key: str) -> SafeString:
    """Render the head of the job page and the line of a section, to replace those that are shown."""
    record, request = find_record(key), context["request"]
    assert record is not None
    head = fill_tokens(stored_head(results, frozenset(request.user.roles)), get_token(request))
    line = stored_line(record, results).summary.replace("<summary ", '<summary hx-swap-oob="true" ', 1)
    return format_html('<div id="job-head" hx-swap-oob="innerHTML">{}</div>{}', head, mark_safe(line))


@register.simple_tag
def stage_fields(job: Job, sent: StageForm | None) -> str:
    """Show the fields that move a job to another stage, as submitted or untouched."""
    return as_crispy_form(sent) if sent else unsubmitted_stage_fields(job.stage, job.waiting_for)


@cache
def unsubmitted_stage_fields(stage: str, waiting_for: str) -> str:
    # The same for every job at a stage, and as slow to render as the rest of the page head.
    return as_crispy_form(StageForm(job=Job(stage=stage, waiting_for=waiting_for)))
