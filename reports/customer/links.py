"""The customer's link: find it by its token, count openings, acknowledge, mail it."""

from datetime import timedelta

from django.db import transaction
from django.db.models import F
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from reports.handover.notices import as_text
from reports.handover.snapshot.codec import from_json
from reports.models import Acknowledgement, HandoverSheet, LinkCall, Publication, SheetLink
from workshop.mail.outbox import queue_mail
from workshop.models import Customer, OutgoingMail, ShopProfile, StaffMember

MAX_OPENINGS_PER_HOUR = 60
MAX_UNKNOWN_LINKS_PER_HOUR = 30
HOUR = timedelta(hours=1)
ERASED = (
    "The customer's personal data were erased after this sheet was issued, so no link to it "
    "can be made or mailed. Staff can still open a PDF that the shop has stored."
)


class LinkRefused(Exception):
    """No link may be made to this sheet; the message says why."""


class RateLimited(Exception):
    """Too many requests from one address within an hour."""


def count_request(name: str, limit: int) -> None:
    """Count a request under a name; raise RateLimited above the limit per hour."""
    now = timezone.now()
    LinkCall.objects.filter(until__lte=now).delete()
    call, _created = LinkCall.objects.get_or_create(name=name, defaults={"until": now + HOUR})
    if not LinkCall.objects.filter(pk=call.pk, calls__lt=limit).update(calls=F("calls") + 1):
        raise RateLimited("Too many requests. Wait an hour and try again.")


def find_link(token: str, address: str) -> SheetLink | None:
    """Return the link with this token, live or not, or None if there is none."""
    link = SheetLink.objects.select_related("sheet__job__customer").filter(token=token).first()
    if link is None:
        count_request(f"unknown:{address}", MAX_UNKNOWN_LINKS_PER_HOUR)
        return None
    count_request(f"{link.pk}:{address}", MAX_OPENINGS_PER_HOUR)
    return link


def find_checked_sheet(code: str, address: str) -> HandoverSheet | None:
    """Return the printed sheet with this code, or None; needs no link and ends with none."""
    sheet = (
        HandoverSheet.objects.select_related("job")
        .defer("snapshot", "signature")
        .filter(check_code=code)
        .first()
    )
    if sheet is None:
        count_request(f"unknown:{address}", MAX_UNKNOWN_LINKS_PER_HOUR)
        return None
    count_request(f"check {sheet.pk}:{address}", MAX_OPENINGS_PER_HOUR)
    return sheet


def count_opening(link: SheetLink) -> None:
    # Nobody edits the record here, so update it without a new version or history entry.
    SheetLink.objects.filter(pk=link.pk).update(openings=F("openings") + 1, last_opened_at=timezone.now())


def make_link(*, sheet: HandoverSheet, by: StaffMember) -> SheetLink:
    """Make a link to a sheet.

    Raises
    ------
    LinkRefused
        The personal data of the customer were erased after the sheet was issued.
    """
    if sheet.is_of_erased_customer:
        raise LinkRefused(ERASED)
    until = timezone.now() + timedelta(days=ShopProfile.current().link_days)
    return SheetLink.objects.create(sheet=sheet, expires_at=until, made_by=by)


def revoke(opened: SheetLink | Publication) -> None:
    """Close an address for good; the first time stays on record."""
    if opened.revoked_at is None:
        opened.revoked_at = timezone.now()
        opened.save()


def revoke_links(customer: Customer) -> None:
    """Revoke every link to the customer's sheets, so that none shows an erased name."""
    for link in SheetLink.objects.filter(sheet__job__customer=customer):
        revoke(link)


@transaction.atomic
def acknowledge(*, link: SheetLink, name: str) -> Acknowledgement:
    """Store the acknowledgement with the text that was shown, once per link."""
    locked = SheetLink.objects.select_for_update().get(pk=link.pk)
    earlier = Acknowledgement.objects.filter(link=locked).first()
    if earlier is not None:
        return earlier
    snapshot = from_json(link.sheet.snapshot)
    with translation.override(snapshot.language):
        notices = as_text(snapshot.notices)
    text = "\n".join(filter(None, (notices, snapshot.not_inspected, snapshot.confirmation)))
    return Acknowledgement.objects.create(sheet=link.sheet, link=locked, name=name, notice_text=text)


def page_language(sheet: HandoverSheet) -> str:
    """Return the language of a sheet's page: its own, or the customer's if an older sheet has none."""
    stored: str = sheet.snapshot["sheet"].get("language", "")
    return stored or sheet.job.customer.language


def mail_link(*, link: SheetLink, to: str, page_address: str, by: StaffMember) -> OutgoingMail:
    """Queue a mail with the address of the sheet; see workshop.mail.outbox.queue_mail."""
    sheet, shop = link.sheet, ShopProfile.current()
    with translation.override(sheet.job.customer.language):
        until = timezone.localtime(link.expires_at)
        words = {
            "number": sheet.number,
            "bike": from_json(sheet.snapshot).bike.title,
            "day": date_format(until, pgettext("date format", "j M Y")),
        }
        subject = f"{_('Handover sheet')} {sheet.number}, {shop.name}"
        paragraphs = [
            _("Hello,"),
            _("the handover sheet %(number)s for your %(bike)s is ready. Read and confirm it here:") % words,
            page_address,
            _("The link expires on %(day)s. Anyone who has it can read the sheet.") % words,
            f"{shop.name}\n{shop.phone}".strip(),
        ]
    return queue_mail(
        to=to,
        subject=subject,
        body="\n\n".join(paragraphs) + "\n",
        page=f"{reverse('handover', args=[sheet.job.number])}#sheet-{sheet.pk}",
        by=by,
        about=sheet,
        customer=sheet.job.customer,
    )
