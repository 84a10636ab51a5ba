"""The page of one form of a job, which most of a job's records share."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.forms import BaseForm
from django.http import HttpResponse
from django.urls import reverse

from jobs.models import Job
from workshop.access.roles import StaffRequest
from workshop.models import Record
from workshop.records.responses import render_form

Caution = tuple[str, str]  # title and text


@dataclass(frozen=True)
class RemoveButton:
    """The button below a form that removes its record."""

    url: str
    label: str


def remove_button(record: Record, url_name: str, label: str) -> RemoveButton | None:
    """Return the remove button of a stored record, or None for a new one."""
    return None if record._state.adding else RemoveButton(reverse(url_name, args=[record.pk]), label)


def form_page(
    request: StaffRequest,
    form: BaseForm,
    *,
    job: Job,
    title: str,
    section: str,
    draft: str = "",
    note: str = "",
    cautions: Sequence[Caution] = (),
    template: str = "jobs/job/form.html",
    **more: Any,
) -> HttpResponse:
    """Show a form of a job.

    ``section`` is the part of the job page that Cancel leads to; ``draft`` the key under which the
    browser stores unsaved input.
    """
    context = {
        "job": job,
        "title": title,
        "section": section,
        "draft": draft,
        "note": note,
        "cautions": cautions,
        **more,
    }
    return render_form(request, template, form, **context)


def section_url(job: Job, section: str) -> str:
    return f"{job.get_absolute_url()}#{section}"
