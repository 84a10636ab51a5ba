"""The customer's link: found by its token, opened, acknowledged, sent by e-mail."""

from datetime import timedelta
from smtplib import SMTPException

from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import F
from django.utils import timezone

from reports.handover.notices import as_text
from reports.handover.snapshot.codec import from_json
from reports.models import Acknowledgement, HandoverSheet, LinkCall, SheetLink
from workshop.models import Customer, ShopProfile, StaffMember

OPENINGS_AN_HOUR = 60
WRONG_ADDRESSES_AN_HOUR = 30
HOUR = timedelta(hours=1)


class TooOften(Exception):
    """One address asks more often than a reader would."""


class NotSent(Exception):
    """The mail could not be handed on; the sentence says why."""


def count_call(name: str, most: int) -> None:
    """Count a call under a name; raise TooOften where there were too many within the hour."""
    now = timezone.now()
    LinkCall.objects.filter(until__lte=now).delete()
    call, _ = LinkCall.objects.get_or_create(name=name, defaults={"until": now + HOUR})
    if not LinkCall.objects.filter(pk=call.pk, calls__lt=most).update(calls=F("calls") + 1):
        raise TooOften("This page was asked for too often. Wait an hour and try again.")


def find_link(token: str, address: str) -> SheetLink | None:
    """The link with this token, live or not; None where there is none."""
    link = SheetLink.objects.select_related("sheet__job").filter(token=token).first()
    if link is None:
        count_call(f"unknown:{address}", WRONG_ADDRESSES_AN_HOUR)
        return None
    count_call(f"{link.pk}:{address}", OPENINGS_AN_HOUR)
    return link


def count_opening(link: SheetLink) -> None:
    # An opening is no change of the record by anybody, so it makes no version and no history.
    SheetLink.objects.filter(pk=link.pk).update(openings=F("openings") + 1, last_opened_at=timezone.now())


def make_link(*, sheet: HandoverSheet, by: StaffMember) -> SheetLink:
    until = timezone.now() + timedelta(days=ShopProfile.current().link_days)
    return SheetLink.objects.create(sheet=sheet, expires_at=until, made_by=by)


def revoke_link(link: SheetLink) -> None:
    if link.revoked_at is None:
        link.revoked_at = timezone.now()
        link.save()


def revoke_links(customer: Customer) -> None:
    """Revoke every link to the customer's sheets, so that none shows an erased name."""
    for link in SheetLink.objects.filter(sheet__job__customer=customer):
        revoke_link(link)


@transaction.atomic
def acknowledge(*, link: SheetLink, name: str) -> Acknowledgement:
    """Keep the customer's word together with the text that was shown; once for a link."""
    locked = SheetLink.objects.select_for_update().get(pk=link.pk)
    before = Acknowledgement.objects.filter(link=locked).first()
    if before is not None:
        return before
    text = as_text(from_json(link.sheet.snapshot).notices)
    return Acknowledgement.objects.create(sheet=link.sheet, link=locked, name=name, notice_text=text)


def send_link(*, link: SheetLink, address: str, page_address: str) -> None:
    """Send the customer the address of the sheet.

    Raises
    ------
    NotSent
        The mail server refused it or can't be reached.
    """
    sheet, shop = link.sheet, ShopProfile.current()
    until = timezone.localtime(link.expires_at)
    paragraphs = [
        "Good day,",
        f"the handover sheet {sheet.number} for your {from_json(sheet.snapshot).bike.title} is ready. "
        "Read it, and acknowledge it, here:",
        page_address,
        f"The address works until {until:%d %b %Y}. Whoever has it can read the sheet.",
        f"{shop.name}\n{shop.phone}".strip(),
    ]
    body = "\n\n".join(paragraphs) + "\n"
    mail = EmailMessage(f"Handover sheet {sheet.number}, {shop.name}", body, to=[address])
    if shop.email:
        mail.reply_to = [shop.email]
    try:
        mail.send()
    except (SMTPException, OSError) as problem:
        raise NotSent(f"The mail was not sent: the mail server said “{problem}”.") from problem
