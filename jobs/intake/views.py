"""The check-in sheet of a bike, to be printed or signed on the screen."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.intake.forms import CheckInForm, SignForm
from jobs.intake.photo_views import prepare_photos_first, warn_of_problems
from jobs.intake.photos import PreparedPhoto
from jobs.intake.receive import check_in_bike, fields_changed_since_signature, sign_receipt
from jobs.job.form_page import form_page
from jobs.models import Job
from jobs.work_items.totals import total
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once


def find(number: str) -> Job:
    return get_object_or_404(Job.objects.select_related("customer", "bike"), number=number)


def show(request: StaffRequest, job: Job, form: SignForm) -> HttpResponse:
    items = list(job.work_items.all())
    lines = [" ".join(f"{x},{y}" for x, y in stroke) for stroke in job.signature]
    context = {
        "job": job,
        "work_items": items,
        "work": total(job, items),
        "signature_lines": lines,
        "altered": fields_changed_since_signature(job),
    }
    return render_form(request, "jobs/intake/receipt.html", form, **context)


@staff
@require_safe
def job_receipt(request: StaffRequest, number: str) -> HttpResponse:
    job = find(number)
    return show(request, job, SignForm(initial={"signed_by": job.customer.name}))


@roles(Role.DESK)
@require_POST
def job_sign(request: StaffRequest, number: str) -> HttpResponse:
    job = find(number)
    form = SignForm(request.POST)
    if form.is_valid():
        try:
            sign_receipt(
                job=job, signed_by=form.cleaned_data["signed_by"], signature=form.cleaned_data["signature"]
            )
        except ValueError as problem:
            messages.info(request, str(problem))
        else:
            messages.success(request, f"The receipt is signed by {job.signed_by}.")
        return redirect("job-receipt", number=job.number)
    return show(request, job, form)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@prepare_photos_first
@submit_once
def job_receive(request: StaffRequest, number: str, photos: list[PreparedPhoto]) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("bike"), number=number)
    form = CheckInForm(post_data(request), instance=job, shop=request.shop)
    draft = f"receive-{job.pk}"
    if form.is_valid() and form.save_unless_stale():
        check_in_bike(job=job, by=request.user, photos=photos)
        warn_of_problems(request, photos)
        flash_saved(request, f"The receipt of job {job} is saved.", draft)
        return redirect(job)
    return form_page(
        request,
        form,
        job=job,
        title="Receive the bike",
        section="brief",
        draft=draft,
        template="jobs/intake/form.html",
    )
