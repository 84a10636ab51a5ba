"""The job page and what is written on the job itself."""

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.handing_over.slots import left_over_slots
from jobs.job.form_page import form_page
from jobs.job.forms import RemarksForm, StageForm
from jobs.job.lookup import get_results_or_404
from jobs.job.results import JobResults
from jobs.job.stages import move_to_stage
from jobs.job_page.diary import SHOWN, stored_diary
from jobs.job_page.forms import JobEditForm
from jobs.job_page.head import stored_head, stored_menu
from jobs.job_page.sections import find_record, lines, stored_body
from jobs.job_page.stored import fill_tokens
from jobs.models import Job
from jobs.planner.opening_hours import load_opening_hours
from jobs.work_items.authorising import record_answer
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role, StaffMember, StaleRecord
from workshop.records.responses import flash_saved, post_data
from workshop.records.submit_once import submit_once


def render_job(
    request: StaffRequest, results: JobResults, stage_form: StageForm | None = None, status: int = 200
) -> HttpResponse:
    held = frozenset(request.user.roles)
    opened = request.GET.getlist("open")
    shown = request.GET.get("diary", "")
    token = get_token(request)

    def is_open(key: str) -> bool:
        return key in opened or "all" in opened

    context = {
        "job": results.job,
        "menu": stored_menu(results, held),
        "head": fill_tokens(stored_head(results, held), token),
        "sections": [
            (
                line,
                fill_tokens(section_body(results, line.key, held), token) if is_open(line.key) else "",
            )
            for line in lines(results)
        ],
        "diary": fill_tokens(stored_diary(results, held, shown if shown in SHOWN else "all"), token),
        "stage_form": stage_form,
        "left_over_slots": left_over_slots(results),
    }
    return render(request, "jobs/job_page/detail.html", context, status=status)


def section_body(results: JobResults, key: str, held: frozenset[Role]) -> str:
    record = find_record(key)
    if record is None:
        raise Http404(f"There is no section “{key}”.")
    return stored_body(record, results, held)


@staff
@require_safe
def job(request: StaffRequest, number: str) -> HttpResponse:
    return render_job(request, get_results_or_404(number, request.shop))


@staff
@require_safe
def job_section(request: StaffRequest, number: str, key: str) -> HttpResponse:
    """Return the body of a section, which the job page asks for when it is opened."""
    body = section_body(get_results_or_404(number, request.shop), key, frozenset(request.user.roles))
    return HttpResponse(fill_tokens(body, get_token(request)))


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_POST
@submit_once
def job_stage(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    job = results.job
    form = StageForm(request.POST, job=job)
    if not form.is_valid():
        return render_job(request, results, form, status=422)
    step = {name: form.cleaned_data[name] for name in ("stage", "why", "waiting_for")}
    try:
        move_to_stage(job=job, by=request.user, **step)
    except StaleRecord:
        form.add_error(None, "Someone else saved this job at the same time. Check it and submit again.")
        return render_job(request, get_results_or_404(number, request.shop), form, status=422)
    messages.success(request, f"Job {job} moved: {job.get_stage_display()}.")
    return redirect(job)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def job_edit(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    form = JobEditForm(
        post_data(request),
        instance=job,
        outside_hours=load_opening_hours(request.shop).outside_hours_message,
    )
    draft = f"job-{job.pk}"
    if form.is_valid() and save_with_answer(form, request.user):
        flash_saved(request, f"Job {job} saved.", draft)
        if form.is_refused:
            asked = form.cleaned_data["asked"]
            messages.info(request, f"{asked} refused. The refusal is recorded and the limit is unchanged.")
        return redirect(job)
    template = "jobs/work_items/form.html"
    return form_page(
        request, form, job=job, title="Edit job", section="brief", draft=draft, template=template
    )


@transaction.atomic
def save_with_answer(form: JobEditForm, by: StaffMember) -> bool:
    """Save the job with the customer's answer, if there was a question; return False on a conflict."""
    if form.is_refused:
        form.keep_limit()
    if not form.save_unless_stale():
        return False
    if form.question:
        record_answer(form.build_answer(form.instance, by))
    return True


@roles(Role.DESK, Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
def job_remarks(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    form = RemarksForm(post_data(request), instance=job)
    draft = f"remarks-{job.pk}"
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, "Remarks saved.", draft)
        return redirect(job)
    title = "Not tested, and next service"
    return form_page(request, form, job=job, title=title, section="brief", draft=draft)
