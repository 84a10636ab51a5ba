"""Pages of mails: all of them, the state of one, what became of it, and the shop's set-up of mail."""

from django.conf import settings
from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from workshop.access.roles import StaffRequest, owner_only, roles
from workshop.mail.forms import ReturnForm, TestMailForm
from workshop.mail.outbox import queue_mail, record_return, settle, try_again
from workshop.mail.server import has_mail_server
from workshop.models import OutgoingMail, Role
from workshop.models.mail import MailQuerySet
from workshop.records.lists import ListColumn, list_headings, list_page, search_text, sort_rows
from workshop.records.responses import post_data, render_form
from workshop.records.submit_once import submit_once

COLUMNS = (
    ListColumn("written", "Written", ("created_at",)),
    ListColumn("to", "Recipient", ("to",)),
    ListColumn("subject", "Subject", ("subject",)),
    ListColumn("state", "State", ("state", "returned_at")),
)
STATES = {
    "": "all",
    "unsettled": "did not arrive",
    "sent": "accepted by the mail server",
    "waiting": "waiting or being sent",
    "returned": "returned",
}
MAX_TEST_MAILS = 3


@roles(Role.DESK)
@require_safe
def mail_list(request: StaffRequest) -> HttpResponse:
    text, state = search_text(request), search_text(request, "state")
    context = {
        "page": list_page(request, sort_rows(request, filter_mails(text, state), COLUMNS)),
        "headings": list_headings(request, COLUMNS),
        "wanted": text,
        "state": state,
        "states": STATES,
        "filter_count": int(bool(state)),
        "has_mail_server": has_mail_server(),
    }
    return render(request, "workshop/mail/list.html", context)


def filter_mails(text: str, state: str) -> MailQuerySet:
    """Return the mails of a list with who wrote them; an unknown state is ignored."""
    mails = OutgoingMail.objects.select_related("by", "customer")
    if state == "unsettled":
        mails = mails.unsettled()
    elif state == "sent":
        mails = mails.filter(state=OutgoingMail.State.SENT, returned_at=None)
    elif state == "waiting":
        mails = mails.filter(state__in=(OutgoingMail.State.WAITING, OutgoingMail.State.SENDING))
    elif state == "returned":
        mails = mails.filter(returned_at__isnull=False)
    found = Q(to__icontains=text) | Q(subject__icontains=text) | Q(customer__name__icontains=text)
    return mails.filter(found) if text else mails


@roles(Role.DESK)
@require_safe
def mail_state(request: StaffRequest, pk: int) -> HttpResponse:
    """Render one mail for a page that polls this while it is being sent."""
    mail = get_object_or_404(OutgoingMail.objects.select_related("by", "customer"), pk=pk)
    if "HX-Request" not in request.headers:
        return redirect(mail.page)
    if mail.is_under_way and mail.state == request.GET.get("seen"):
        return HttpResponse(status=204)  # the page keeps what it shows
    return render(request, "workshop/mail/_mail.html", {"mail": mail})


@roles(Role.DESK)
@require_POST
def mail_retry(request: StaffRequest, pk: int) -> HttpResponse:
    mail = get_object_or_404(OutgoingMail, pk=pk)
    if not has_mail_server():
        messages.error(request, "Not sent: no mail server is set up.")
    elif try_again(mail):
        messages.info(request, f"The mail to {mail.to} is waiting to be sent. Its state is shown next to it.")
    else:
        messages.info(request, "This mail has been retried, sent or dealt with in the meantime.")
    return redirect(mail.page)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def mail_returned(request: StaffRequest, pk: int) -> HttpResponse:
    """Record that a mail came back; the site cannot read the shop's mailbox."""
    mail = get_object_or_404(OutgoingMail, pk=pk)
    if mail.state != OutgoingMail.State.SENT:
        messages.info(request, "Only a mail that the mail server accepted can be returned.")
        return redirect(mail.page)
    form = ReturnForm(post_data(request), initial={"note": mail.returned_note})
    if form.is_valid():
        record_return(mail, form.cleaned_data["note"])
        messages.success(request, "Mail recorded as returned.")
        return redirect(mail.page)
    return render_form(request, "workshop/mail/returned.html", form, mail=mail)


@roles(Role.DESK)
@require_POST
def mail_settle(request: StaffRequest, pk: int) -> HttpResponse:
    mail = get_object_or_404(OutgoingMail, pk=pk)
    if mail.is_unsettled:
        settle(mail)
        messages.success(request, "Mail marked as dealt with.")
    return redirect(mail.page)


@owner_only
@require_http_methods(["GET", "POST"])
@submit_once
def mail_setup(request: StaffRequest) -> HttpResponse:
    """Show how mail is set up, without the password, and send a test mail."""
    here = reverse("mail-setup")
    form = TestMailForm(post_data(request), initial={"address": request.user.email or request.shop.email})
    if not has_mail_server():
        form.fields.clear()
    elif form.is_valid():
        queue_mail(
            to=form.cleaned_data["address"],
            subject=f"Test mail, {request.shop.name}",
            body=f"This is a test mail from {request.shop.name}. Nothing needs to be done.\n",
            page=here,
            by=request.user,
        )
        return redirect(here)
    tests = OutgoingMail.objects.filter(page=here).select_related("by")[:MAX_TEST_MAILS]
    return render_form(
        request,
        "workshop/mail/setup.html",
        form,
        tests=tests,
        has_mail_server=has_mail_server(),
        mail_settings=list_mail_settings(),
    )


def list_mail_settings() -> list[tuple[str, str]]:
    """Return what the environment says about mail; whether there is a password, but not which."""
    encryption = "TLS" if settings.EMAIL_USE_SSL else "STARTTLS" if settings.EMAIL_USE_TLS else "none"
    return [
        ("Mail server", f"{settings.EMAIL_HOST}, port {settings.EMAIL_PORT}"),
        ("Encryption", encryption),
        ("User", settings.EMAIL_HOST_USER or "none"),
        ("Password", "set" if settings.EMAIL_HOST_PASSWORD else "none"),
        ("Sender", settings.DEFAULT_FROM_EMAIL),
        ("Time limit for each answer of the server", f"{settings.EMAIL_TIMEOUT} s"),
    ]
