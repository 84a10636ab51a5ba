"""The job page and what is written on the job itself."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.forms.job import JobForm, ReceiveForm, RemarksForm, StageForm
from jobs.models import Job
from jobs.page import get_job, load_page
from jobs.receiving import receive_bike
from jobs.sections import job_sections
from jobs.stages import move_to_stage
from jobs.views.pages import form_page
from workshop.answers import posted, say_saved
from workshop.models import Role, StaleRecord
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
        "stage_form": stage_form,
    }
    return render(request, "jobs/job.html", context, status=status)


@staff
@require_safe
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
    try:
        move_to_stage(job=job, by=request.user, **step)
    except StaleRecord:
        form.add_error(None, "Somebody saved this job at the same moment. Look at it and send again.")
        return render_job(request, find_job(number), form, status=422)
    messages.success(request, f"Job {job} is now: {job.get_stage_display()}.")
    return redirect(job)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def job_edit(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    form = JobForm(posted(request), instance=job)
    draft = f"job-{job.pk}"
    if form.is_valid() and form.save_unless_stale():
        say_saved(request, f"Job {job} is saved.", draft)
        return redirect(job)
    return form_page(request, form, job=job, title="Edit job", section="brief", draft=draft)


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
def job_remarks(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    form = RemarksForm(posted(request), instance=job)
    draft = f"remarks-{job.pk}"
    if form.is_valid() and form.save_unless_stale():
        say_saved(request, "The remarks are saved.", draft)
        return redirect(job)
    title = "What was not tested, and the next service"
    return form_page(request, form, job=job, title=title, section="brief", draft=draft)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@once
def job_receive(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("bike"), number=number)
    form = ReceiveForm(posted(request), request.FILES or None, instance=job, shop=request.shop)
    draft = f"receive-{job.pk}"
    if form.is_valid() and form.save_unless_stale():
        receive_bike(job=job, by=request.user, photos=form.cleaned_data["photos"])
        say_saved(request, f"The receipt of job {job} is saved.", draft)
        return redirect(job)
    return form_page(
        request,
        form,
        job=job,
        title="Receive the bike",
        section="brief",
        draft=draft,
        template="jobs/job_receive.html",
    )
