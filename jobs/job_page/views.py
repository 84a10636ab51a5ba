"""The job page and what is written on the job itself."""

from collections.abc import Hashable
from dataclasses import dataclass
from functools import lru_cache

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.job.form_page import form_page
from jobs.job.forms import JobForm, RemarksForm, StageForm
from jobs.job.lookup import get_job_page_or_404
from jobs.job.page import load_page
from jobs.job.stages import move_to_stage
from jobs.job_page.sections import job_sections
from jobs.models import Job
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role, ShopProfile, StaffMember, StaleRecord
from workshop.records.responses import flash_saved, post_data
from workshop.records.submit_once import submit_once
from workshop.written import written_mark

KEPT = 32  # of some 80 kB each


@dataclass(frozen=True)
class JobParts:
    """What the job page shows that is the same at every reading, as long as nothing is written."""

    job: Job
    stage_why: str
    rail: str
    sections: str


def parts_of(job: Job, roles: frozenset[Role], shop: ShopProfile) -> JobParts:
    """The page's parts for people who hold these roles; they are told nothing else of who asks or when."""
    page = load_page(job)
    reader = StaffMember(**{f"is_{role}": True for role in roles})
    context = {"job": job, "sections": job_sections(page), "user": reader, "shop": shop}
    rail, sections = (
        render_to_string(f"jobs/job_page/_{name}.html", context) for name in ("rail", "sections")
    )
    return JobParts(job, page.stage_why, rail, sections)


@lru_cache(maxsize=KEPT)
def kept_parts(written: Hashable, number: str, roles: frozenset[Role], shop: ShopProfile) -> JobParts:
    return parts_of(get_job_page_or_404(number), roles, shop)


def render_job(
    request: StaffRequest, parts: JobParts, stage_form: StageForm | None = None, status: int = 200
) -> HttpResponse:
    return render(
        request, "jobs/job_page/detail.html", {**vars(parts), "stage_form": stage_form}, status=status
    )


def asked_by(request: StaffRequest) -> tuple[frozenset[Role], ShopProfile]:
    return frozenset(request.user.roles), request.shop


@staff
@require_safe
def job(request: StaffRequest, number: str) -> HttpResponse:
    written = written_mark()
    read = kept_parts.__wrapped__ if written is None else kept_parts
    return render_job(request, read(written, number, *asked_by(request)))


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_POST
@submit_once
def job_stage(request: StaffRequest, number: str) -> HttpResponse:
    job = get_job_page_or_404(number)
    form = StageForm(request.POST, job=job)
    if not form.is_valid():
        return render_job(request, parts_of(job, *asked_by(request)), form, status=422)
    step = {name: form.cleaned_data[name] for name in ("stage", "why", "waiting_for")}
    try:
        move_to_stage(job=job, by=request.user, **step)
    except StaleRecord:
        form.add_error(None, "Somebody saved this job at the same moment. Look at it and send again.")
        return render_job(
            request, parts_of(get_job_page_or_404(number), *asked_by(request)), form, status=422
        )
    messages.success(request, f"Job {job} is now: {job.get_stage_display()}.")
    return redirect(job)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def job_edit(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    form = JobForm(post_data(request), instance=job)
    draft = f"job-{job.pk}"
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"Job {job} is saved.", draft)
        return redirect(job)
    return form_page(request, form, job=job, title="Edit job", section="brief", draft=draft)


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
def job_remarks(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    form = RemarksForm(post_data(request), instance=job)
    draft = f"remarks-{job.pk}"
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, "The remarks are saved.", draft)
        return redirect(job)
    title = "What was not tested, and the next service"
    return form_page(request, form, job=job, title=title, section="brief", draft=draft)
