"""The job page and what the desk writes on it."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from jobs.forms.job import StageForm
from jobs.models import Job
from jobs.page import get_job, load_page
from jobs.sections import job_sections
from jobs.stages import move_to_stage
from workshop.models import Role
from workshop.once import once
from workshop.roles import StaffRequest, roles, staff


def find_job(number: str) -> Job:
    try:
        return get_job(number)
    except Job.DoesNotExist as problem:
        raise Http404(f"There is no job {number}.") from problem


def render_job(
    request: StaffRequest, job: Job, stage_form: StageForm | None = None, status: int = 200
) -> HttpResponse:
    page = load_page(job)
    context = {
        "job": job,
        "page": page,
        "sections": job_sections(page),
        "stage_form": stage_form or StageForm(job=job),
    }
    return render(request, "jobs/job.html", context, status=status)


@staff
def job(request: StaffRequest, number: str) -> HttpResponse:
    return render_job(request, find_job(number))


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_POST
@once
def job_stage(request: StaffRequest, number: str) -> HttpResponse:
    job = find_job(number)
    form = StageForm(request.POST, job=job)
    if not form.is_valid():
        return render_job(request, job, form, status=422)
    step = {name: form.cleaned_data[name] for name in ("stage", "why", "waiting_for")}
    move_to_stage(job=job, by=request.user, **step)
    messages.success(request, f"Job {job} is now: {job.get_stage_display()}.")
    return redirect(job)
