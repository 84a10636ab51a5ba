"""The PDF of a signed receipt: read, mailed, or made again if that failed."""

from django import forms
from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.intake.signing import make_documents
from jobs.models import SignedReceipt
from reports.handover.views import pdf_response
from reports.receipt.printing import ReceiptUnavailable, file_name, print_receipt
from workshop.access.roles import StaffRequest, roles, staff
from workshop.languages import format_day
from workshop.mail.forms import MailAddressField
from workshop.mail.outbox import MailUnavailable, queue_mail
from workshop.mail.server import has_mail_server
from workshop.models import OutgoingMail, Role, ShopProfile, StaffMember
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.responses import post_data, render_form
from workshop.records.submit_once import submit_once


class ReceiptMailForm(FieldGroupsMixin, forms.Form):
    address = MailAddressField(label="Email address")


def find_receipt(pk: int) -> SignedReceipt:
    return get_object_or_404(
        SignedReceipt.objects.select_related("job__customer", "job__bike", "taken_by"), pk=pk
    )


@staff
@require_safe
def receipt_pdf(request: StaffRequest, pk: int) -> HttpResponseBase:
    receipt = find_receipt(pk)
    try:
        return pdf_response(print_receipt(receipt), file_name(receipt))
    except ReceiptUnavailable as problem:
        messages.error(request, str(problem))
        return redirect("job-receipt", receipt.job.number)


@roles(Role.DESK)
@require_POST
def receipt_print(request: StaffRequest, pk: int) -> HttpResponse:
    """Make the PDF of a receipt if that failed when it was signed."""
    receipt = find_receipt(pk)
    if make_documents(receipt):
        messages.success(request, f"The PDF of {receipt.label} created.")
    else:
        messages.error(request, f"The PDF of {receipt.label} could not be created. See the server log.")
    return redirect("job-receipt", receipt.job.number)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def receipt_mail(request: StaffRequest, pk: int) -> HttpResponse:
    receipt = find_receipt(pk)
    if not receipt.is_available:
        messages.info(request, f"There is no PDF of {receipt.label} to send.")
        return redirect("job-receipt", receipt.job.number)
    form = ReceiptMailForm(post_data(request), initial={"address": receipt.job.customer.email})
    if form.is_valid():
        try:
            mail = mail_receipt(receipt, form.cleaned_data["address"], request.user, request.shop)
        except MailUnavailable as problem:
            form.add_error(None, str(problem))
        else:
            messages.info(
                request, f"The email to {mail.to} is waiting to be sent. The check-in page shows its state."
            )
            return redirect(mail.page)
    return render_form(
        request,
        "reports/receipt/mail.html",
        form,
        receipt=receipt,
        job=receipt.job,
        has_mail_server=has_mail_server(),
    )


def mail_receipt(receipt: SignedReceipt, to: str, by: StaffMember, shop: ShopProfile) -> OutgoingMail:
    """Queue a mail with the PDF of a receipt; see workshop.mail.outbox.queue_mail."""
    with translation.override(receipt.job.customer.language):
        values = {
            "number": f"{receipt.job.number}/{receipt.number}",
            "bike": receipt.job.bike,
            "day": format_day(receipt.signed_at),
            "shop": shop.name,
        }
        subject = _("Check-in sheet %(number)s, %(shop)s") % values
        paragraphs = [
            _("Hello,"),
            _("here is the check-in sheet %(number)s for your %(bike)s, as signed on %(day)s.") % values,
            f"{shop.name}\n{shop.phone}".strip(),
        ]
    return queue_mail(
        to=to,
        subject=subject,
        body="\n\n".join(paragraphs) + "\n",
        page=f"{reverse('job-receipt', args=[receipt.job.number])}#receipt-{receipt.pk}",
        by=by,
        about=receipt,
        customer=receipt.job.customer,
        attached=receipt.pdf.name or "",
    )
