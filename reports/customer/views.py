"""Links to a sheet: the shop makes, revokes and mails them; the customer opens and acknowledges."""

from collections.abc import Callable
from functools import wraps
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.contacts.add import add_contact
from jobs.models import ContactEntry
from reports.customer.links import (
    ERASED,
    RateLimited,
    acknowledge,
    count_opening,
    count_request,
    find_checked_sheet,
    find_link,
    mail_link,
    make_link,
    page_language,
    revoke,
)
from reports.customer.page import page_context
from reports.handover.forms import AcknowledgeForm, MailForm, QuestionForm
from reports.handover.issuing import PdfUnavailable, PrintingInProgress
from reports.handover.snapshot.codec import from_json
from reports.handover.views import build_customer_url, issued_pdf_response
from reports.models import HandoverSheet, Printing, SheetLink
from reports.typesetting.pdf import qr_data_uri
from workshop.access.roles import StaffRequest, public, roles
from workshop.mail.server import has_mail_server
from workshop.models import Role, ShopProfile
from workshop.records.responses import post_data, render_form
from workshop.records.submit_once import submit_once

MAX_QUESTIONS_PER_HOUR = 5
GONE = "This link has expired or was revoked. Ask the shop for a new one."
NOT_PRINTED = "The file of this sheet is not available. Ask the shop."
BEING_PRINTED = "This sheet is being printed. Try again in a few minutes."


def wait_for_pdf(request: StaffRequest, sheet: HandoverSheet) -> HttpResponse:
    messages.info(
        request, f"The PDF of sheet {sheet.number} is not ready yet. You can send the link when it is."
    )
    return redirect("handover", sheet.job.number)


def refuse_link(request: StaffRequest, sheet: HandoverSheet) -> HttpResponse:
    messages.error(request, ERASED)
    return redirect("handover", sheet.job.number)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def link_new(request: StaffRequest, pk: int) -> HttpResponse:
    """Show the links of a sheet with their addresses; a POST adds one."""
    sheet = get_object_or_404(HandoverSheet.objects.select_related("job__customer"), pk=pk)
    if sheet.is_of_erased_customer:
        return refuse_link(request, sheet)
    if not sheet.is_printed:
        return wait_for_pdf(request, sheet)
    if request.method == "POST":
        link = make_link(sheet=sheet, by=request.user)
        messages.success(request, f"Link to sheet {sheet.number} made.")
        return redirect(f"{request.path}#link-{link.pk}")
    links = [
        {"link": link, "address": address, "qr": qr_data_uri(address)}
        for link in sheet.links.select_related("made_by")
        for address in [build_customer_url(request, link.token)]
        if link.is_live
    ]
    return render(
        request,
        "reports/customer/link_new.html",
        {"sheet": sheet, "job": sheet.job, "links": links, "has_mail_server": has_mail_server()},
    )


@roles(Role.DESK)
@require_POST
def link_revoke(request: StaffRequest, pk: int) -> HttpResponse:
    link = get_object_or_404(SheetLink.objects.select_related("sheet__job"), pk=pk)
    revoke(link)
    messages.success(request, "Link revoked. It no longer opens.")
    return redirect("handover", link.sheet.job.number)


@roles(Role.DESK)
@require_POST
def link_talk_through(request: StaffRequest, pk: int) -> HttpResponse:
    """Switch on or off whether a link shows the talk-through too."""
    link = get_object_or_404(SheetLink.objects.select_related("sheet__job"), pk=pk)
    link.with_talk_through = "on" in request.POST
    link.save()
    shows = "shows" if link.with_talk_through else "no longer shows"
    messages.success(request, f"The link {shows} the talk-through.")
    return redirect(f"{reverse('link-new', args=[link.sheet_id])}#link-{link.pk}")


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def sheet_mail(request: StaffRequest, pk: int) -> HttpResponse:
    sheet = get_object_or_404(HandoverSheet.objects.select_related("job__customer"), pk=pk)
    if sheet.is_of_erased_customer:
        return refuse_link(request, sheet)
    if not sheet.is_printed:
        return wait_for_pdf(request, sheet)
    if not has_mail_server():
        return redirect("link-new", sheet.pk)  # which says so, and offers the address to copy
    form = MailForm(post_data(request), sheet=sheet)
    if form.is_valid():
        live = [link for link in sheet.links.all() if link.is_live]
        link = live[-1] if live else make_link(sheet=sheet, by=request.user)
        address, to = build_customer_url(request, link.token), form.cleaned_data["address"]
        mail = mail_link(link=link, to=to, page_address=address, by=request.user)
        messages.info(request, f"Email to {mail.to} is queued. The sheet shows when it is sent.")
        return redirect(mail.page)
    return render_form(request, "reports/customer/mail.html", form, sheet=sheet, job=sheet.job)


def client_address(request: HttpRequest) -> str:
    return str(request.META.get("REMOTE_ADDR", ""))


def customer_page(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Pass the live link to the view, and keep the page out of search engines and caches."""

    @never_cache
    @wraps(view)
    def wrapper(request: HttpRequest, token: str, *args: Any) -> HttpResponseBase:
        try:
            link = find_link(token, client_address(request))
        except RateLimited as problem:
            response: HttpResponseBase = message_page(request, str(problem), status=429)
        else:
            if link is None:
                response = message_page(request, "There is no sheet at this address.", status=404)
            elif not link.is_live or link.sheet.is_of_erased_customer:
                response = message_page(request, GONE, status=410)
            elif not link.sheet.is_printed:
                response = message_page(request, describe_printing(link), status=503)
            else:
                with translation.override(page_language(link.sheet)):
                    response = view(request, link, *args)
        response.headers["X-Robots-Tag"] = "noindex, nofollow"
        return response

    return wrapper


def describe_printing(link: SheetLink) -> str:
    printing = Printing.objects.filter(sheet=link.sheet).first()
    has_failed = printing is None or printing.step == Printing.Step.FAILED
    return NOT_PRINTED if has_failed else BEING_PRINTED


def message_page(request: HttpRequest, sentence: str, status: int) -> HttpResponse:
    return render(request, "reports/customer/gone.html", {"sentence": sentence}, status=status)


def render_sheet(
    request: HttpRequest, link: SheetLink, form: AcknowledgeForm, status: int = 200, **forms: Any
) -> HttpResponse:
    snapshot = from_json(link.sheet.snapshot)
    # Nobody is logged in, so take the shop's time zone from the sheet.
    with timezone.override(ZoneInfo(snapshot.shop.time_zone)):
        context = {**page_context(link, snapshot), "form": form, "question_form": QuestionForm(), **forms}
        return render(request, "reports/customer/detail.html", context, status=status)


@public
@require_safe
@customer_page
def customer_sheet(request: HttpRequest, link: SheetLink) -> HttpResponse:
    if not request.user.is_authenticated:
        count_opening(link)
    return render_sheet(request, link, AcknowledgeForm())


@public
@require_safe
@customer_page
def customer_pdf(request: HttpRequest, link: SheetLink) -> HttpResponseBase:
    try:
        return issued_pdf_response(link.sheet)
    except PrintingInProgress:
        return message_page(request, BEING_PRINTED, status=503)
    except PdfUnavailable:
        return message_page(request, NOT_PRINTED, status=404)


@public
@require_safe
@never_cache
def sheet_check(request: HttpRequest, code: str) -> HttpResponse:
    """Confirm number, date and hash of a sheet to anyone with its printed address; no personal data."""
    try:
        sheet = find_checked_sheet(code.lower(), client_address(request))
    except RateLimited as problem:
        return message_page(request, str(problem), status=429)
    if sheet is None:
        return message_page(request, "This shop issued no sheet with this code.", status=404)
    later = HandoverSheet.objects.filter(job=sheet.job, issue_number__gt=sheet.issue_number)
    context = {"sheet": sheet, "later": later.defer("snapshot", "signature").select_related("job").last()}
    with timezone.override(ZoneInfo(ShopProfile.current().time_zone)):
        response = render(request, "reports/customer/check.html", context)
    response.headers["X-Robots-Tag"] = "noindex, nofollow"
    return response


@public
@require_POST
@customer_page
def customer_acknowledge(request: HttpRequest, link: SheetLink) -> HttpResponse:
    form = AcknowledgeForm(request.POST)
    if not form.is_valid():
        return render_sheet(request, link, form, status=422)
    acknowledge(link=link, name=form.cleaned_data["name"])
    messages.success(request, _("Thank you. Your confirmation is saved."))
    return redirect("customer-sheet", link.token)


@public
@require_POST
@customer_page
def customer_ask(request: HttpRequest, link: SheetLink) -> HttpResponse:
    """Store a question of the customer among the contacts of the job."""
    form = QuestionForm(request.POST)
    if form.is_valid():
        try:
            count_request(f"question {link.pk}:{client_address(request)}", MAX_QUESTIONS_PER_HOUR)
        except RateLimited:
            form.add_error("question", _("Too many questions within an hour. Call us, or try again later."))
            return render_sheet(request, link, AcknowledgeForm(), status=429, question_form=form)
        add_contact(link.sheet.job, ContactEntry.Kind.MESSAGE, form.cleaned_data["question"])
        messages.success(request, _("Thank you. We have your question."))
        return redirect("customer-sheet", link.token)
    return render_sheet(request, link, AcknowledgeForm(), status=422, question_form=form)
