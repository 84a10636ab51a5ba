"""A job that names its customer in many places, and a reader of everything that is stored."""

import hashlib
from typing import Any

from django.apps import apps
from django.core.files.base import ContentFile
from django.db import models
from django.utils import timezone

from jobs.models import Job, Part, Photo, TuneChange, TuneChangeKind
from reports.handover.notices import current_wording
from reports.models import Acknowledgement, HandoverSheet, SheetLink
from tests.factories import make_clearance_set, make_job, make_revision, sign_receipt
from workshop.models import Role, StaffMember
from workshop.models.search import Word

Stored = dict[tuple[type[models.Model], Any], dict[str, Any]]


def make_named_job(staff: dict[Role, StaffMember]) -> Job:
    """Make a job of Ines Quill that is handed over."""
    job = make_job(
        brief="Ines Quill wants it smooth. Call +00 555 0101.",
        stage="handed_over",
        condition_marks=[{"x": 10, "y": 20, "note": "dent, shown to Ines Quill"}],
    )
    sign_receipt(job, staff[Role.DESK])
    make_clearance_set(job, staff[Role.MECHANIC])
    Part.objects.create(job=job, name="Seat for Ines Quill")
    revision = make_revision(job, staff[Role.TUNER])
    kind = TuneChangeKind.objects.first()
    TuneChange.objects.create(revision=revision, kind=kind, to_value="1350", reason="INES  QUILL asked")
    photo = Photo(job=job, by=staff[Role.DESK], original_name="dent.jpg")
    photo.image.save("dent.jpg", ContentFile(b"a picture"))
    return job


def add_sheet(job: Job, by: StaffMember) -> SheetLink:
    """Make an issued sheet with a link, acknowledged by the customer; it is not printed."""
    snapshot = {"customer": {"name": job.customer.name}}
    sheet = HandoverSheet.objects.create(
        job=job,
        issue_number=1,
        wording=current_wording(),
        issued_by=by,
        snapshot=snapshot,
        snapshot_sha256=hashlib.sha256(repr(snapshot).encode()).hexdigest(),
    )
    until = timezone.now() + timezone.timedelta(days=30)
    link = SheetLink.objects.create(sheet=sheet, expires_at=until, made_by=by)
    Acknowledgement.objects.create(sheet=sheet, link=link, name=job.customer.name, notice_text="Read it.")
    return link


def stored_rows() -> Stored:
    """Every row of the product, histories included, without the words of the search."""
    return {
        (model, row[model._meta.pk.attname]): row
        for model in apps.get_models()
        if model._meta.app_label in ("workshop", "jobs", "reports") and not issubclass(model, Word)
        for row in model._base_manager.values()
    }


def stored_text() -> str:
    """Every text of every row, words of the search included, but for the issued sheets."""
    texts = [
        str(value)
        for model in apps.get_models()
        if model._meta.app_label in ("workshop", "jobs", "reports")
        and not issubclass(getattr(model, "instance_type", model), HandoverSheet)
        for row in model._base_manager.values()
        for value in row.values()
        if isinstance(value, str | list | dict)
    ]
    return "\n".join(texts)
