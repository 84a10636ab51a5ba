"""Pages of mails: all of them, the state of one, what became of it, and the shop's set-up of mail."""

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from workshop.access.roles import StaffRequest, owner_only, roles
from workshop.mail.forms import ReturnForm, TestMailForm
from workshop.mail.outbox import queue_mail, record_return, settle, try_again
from workshop.mail.server import has_mail_server
from workshop.models import OutgoingMail, Role
from workshop.records.lists import list_page
from workshop.records.responses import post_data, render_form
from workshop.records.submit_once import submit_once

MAX_TEST_MAILS = 3


@roles(Role.DESK)
@require_safe
def mail_list(request: StaffRequest) -> HttpResponse:
    is_unsettled = request.GET.get("state") == "unsettled"
    mails = OutgoingMail.objects.unsettled() if is_unsettled else OutgoingMail.objects.all()
    page = list_page(request, mails.select_related("by", "customer"))
    context = {"page": page, "is_unsettled": is_unsettled, "has_mail_server": has_mail_server()}
    return render(request, "workshop/mail/list.html", context)


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
        messages.info(request, f"The mail to {mail.to} waits to be sent. Its state stands beside it.")
    else:
        messages.info(request, "This mail was tried again, sent or dealt with meanwhile.")
    return redirect(mail.page)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def mail_returned(request: StaffRequest, pk: int) -> HttpResponse:
    """Record that a mail came back; the site cannot read the shop's mailbox."""
    mail = get_object_or_404(OutgoingMail, pk=pk)
    if mail.state != OutgoingMail.State.SENT:
        messages.info(request, "Only a mail that the mail server took can come back.")
        return redirect(mail.page)
    form = ReturnForm(post_data(request), initial={"note": mail.returned_note})
    if form.is_valid():
        record_return(mail, form.cleaned_data["note"])
        messages.success(request, "Recorded that the mail came back.")
        return redirect(mail.page)
    return render_form(request, "workshop/mail/returned.html", form, mail=mail)


@roles(Role.DESK)
@require_POST
def mail_settle(request: StaffRequest, pk: int) -> HttpResponse:
    mail = get_object_or_404(OutgoingMail, pk=pk)
    if mail.is_unsettled:
        settle(mail)
        messages.success(request, "Recorded that this mail is dealt with.")
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
