"""The check-in sheet of a bike, to be printed or signed on the screen."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.intake.forms import CheckInForm, SignForm
from jobs.intake.photo_views import store_photos_first, warn_of_problems
from jobs.intake.photos import PreparedPhoto
from jobs.intake.receipt import read_facts
from jobs.intake.receipt_changes import receipt_state
from jobs.intake.receive import check_in_bike, missing_check_in_fields
from jobs.intake.signing import NotSigned, make_documents, sign_receipt
from jobs.job.form_page import form_page
from jobs.job.lookup import get_results_or_404
from jobs.job.results import JobResults
from jobs.models import Job
from workshop.access.roles import StaffRequest, roles, staff
from workshop.mail.outbox import list_mails_about
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once


def show(request: StaffRequest, results: JobResults, form: SignForm | None = None) -> HttpResponse:
    """Show the receipt as it was signed, or as it is now and without any signature."""
    state = receipt_state(results)
    form = form or SignForm(initial={"signed_by": results.job.customer.name, "code": state.present.code})
    signed = state.latest if state.is_current else None
    mails = list_mails_about(state.signed) if state.signed else {}
    context = {
        "job": results.job,
        "state": state,
        "mails": [mail for found in mails.values() for mail in found],
        "signed": signed,
        "facts": (signed and read_facts(signed)) or state.present,
        "shown_at": timezone.now(),
    }
    return render_form(request, "jobs/intake/receipt.html", form, **context)


@staff
@require_safe
def job_receipt(request: StaffRequest, number: str) -> HttpResponse:
    return show(request, get_results_or_404(number, request.shop))


@roles(Role.DESK)
@require_POST
def job_sign(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    form = SignForm(request.POST)
    if not form.is_valid():
        return show(request, results, form)
    try:
        receipt = sign_receipt(results=results, by=request.user, **form.cleaned_data)
    except NotSigned as problem:
        messages.info(request, str(problem))
        return redirect("job-receipt", number=number)
    messages.success(request, f"Check-in sheet signed by {receipt.signed_by}.")
    # After the transaction: the signature stays, whatever becomes of its PDF.
    if not make_documents(receipt):
        messages.error(
            request,
            "The signature is stored, but its PDF could not be created. See the server log. Try again below.",
        )
    return redirect("job-receipt", number=number)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@store_photos_first
@submit_once
def job_receive(request: StaffRequest, number: str, photos: list[PreparedPhoto]) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("bike"), number=number)
    form = CheckInForm(post_data(request), instance=job, shop=request.shop)
    draft = f"receive-{job.pk}"
    if form.is_valid() and form.save_unless_stale():
        check_in_bike(job=job, by=request.user, photos=photos)
        warn_of_problems(request, photos)
        missing = ", ".join(missing_check_in_fields(job))
        flash_saved(request, f"Check-in of job {job} saved.", draft)
        if missing:
            messages.warning(request, f"Still missing from the check-in: {missing}.")
        return redirect(job)
    return form_page(
        request,
        form,
        job=job,
        title="Check in the bike",
        section="brief",
        draft=draft,
        template="jobs/intake/form.html",
        signed=job.signed_receipts.last(),
    )
