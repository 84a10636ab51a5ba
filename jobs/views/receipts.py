"""The receipt of a bike, to be printed or signed on the screen."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST, require_safe

from jobs.forms.job import SignForm
from jobs.models import Job
from jobs.receiving import altered_since_signed, sign_receipt
from jobs.work import total
from workshop.answers import render_form
from workshop.models import Role
from workshop.roles import StaffRequest, roles, staff


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
        "altered": altered_since_signed(job),
    }
    return render_form(request, "jobs/job_receipt.html", form, **context)


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
