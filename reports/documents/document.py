"""The shared part of all documents: from facts and a template to a tagged PDF."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone, translation

from jobs.job.json_values import strip_control_characters
from reports.drawing.pictures import Picture
from reports.typesetting.pdf import PAPERS, AttachedText, DocumentSource, typeset
from reports.typesetting.printing_lock import printing_lock
from workshop.models import ShopProfile

STYLE = "documents/documents.css"


def document_pdf(
    name: str,
    facts: dict[str, Any],
    shop: ShopProfile,
    at: datetime,
    *,
    pictures: Iterable[Picture] = (),
    files: Mapping[str, tuple[bytes, str]] | None = None,
    size: str = "",
    language: str = settings.LANGUAGE_CODE,
    attached: Mapping[str, AttachedText] | None = None,
) -> bytes:
    """Return a document as PDF: the same bytes from the same facts and time.

    Parameters
    ----------
    name : str
        Name of its template, ``templates/reports/documents/<name>.html``.
    facts : dict
        Its content as plain values; control characters are removed from texts.
    files : mapping, optional
        Content and type of further pictures by the address that the template uses.
    size : str, optional
        Page size in CSS; by default that of the shop's paper.
    language : str
        By default that of the staff.
    attached : mapping, optional
        Attached texts by file name.
    """
    drawn = list(pictures)
    svgs = {picture.address: (picture.svg.encode(), "image/svg+xml") for picture in drawn}
    context = {"f": strip_control_characters(facts), "u": shop, "shop": shop, "at": at, "pictures": drawn}
    zone = ZoneInfo(shop.time_zone)
    with printing_lock(), timezone.override(zone), translation.override(language):
        html = render_to_string(f"reports/documents/{name}.html", context)
        source = DocumentSource(html, {**svgs, **(files or {})}, size or PAPERS[shop.paper])
        return typeset(source, styles=[STYLE], attached=attached, at=at)
