"""A customer whose name, phone, e-mail and plate stand wherever the program can store them."""

from typing import Any

from django.core.files.base import ContentFile
from django.db import models
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_tasks.base import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from jobs.models import DynoCheck, FileLayout, Handover, Job, Photo, Stage, TuneRevision
from jobs.runs.importing import RunDetails, import_run
from reports.customer.links import acknowledge, mail_link
from reports.handover.issuing import issue_sheet
from reports.models import Publication, SheetLink, TalkThrough
from tests.factories import make_customer, sign_receipt
from tests.reports.whole_jobs import make_whole_job
from workshop.mail.outbox import record_outcome, record_return
from workshop.models import (
    Customer,
    DocumentDecision,
    Instrument,
    InstrumentCheck,
    OutgoingMail,
    Role,
    StaffMember,
)
from workshop.privacy.held_data import declared_models

NAME, FORMER, OTHER = "Zyanya Quorwell", "Zyanya Ambrel", "Z. P. Quorwell"
PHONE, OTHER_PHONE = "+00 555 0471", "+00 555 0472"
EMAIL, OTHER_EMAIL = "zyanya@quorwell.example", "zq@quorwell.example"
PLATE = "ZQX 471"
TEXTS = (
    f"{NAME}, {PHONE}, {EMAIL}",
    f"{FORMER.upper()} (00-555-0472) {OTHER_EMAIL}",
    f"{OTHER} / {NAME.replace(' ', '_')}'s",
)
# Parts of all of it, without capitals and what may part them.
PARTS = ("zyanya", "quorwell", "ambrel", "5550471", "5550472", "zqx471")
RUN_FILE = f"# Rider: {NAME}, {PHONE}\nalpha;beta\n" + "".join(f"{n};{n * n}\n" for n in range(40))
# Written by the program once the customer is erased.
WITHOUT_ROWS = {DocumentDecision}


def squeeze(text: str) -> str:
    return "".join(sign for sign in text.casefold() if sign not in " \t\n-_/.()'")


def find_parts(text: str) -> set[str]:
    """Return the parts of the person that stand in a text."""
    squeezed = squeeze(text)
    return {part for part in PARTS if part in squeezed}


def make_person_everywhere(staff: dict[Role, StaffMember], desk: Client) -> Customer:
    """Make a job that is handed over and holds the person everywhere; merged, mailed, acknowledged."""
    job = make_whole_job(staff)
    customer = job.customer
    for name in (FORMER, NAME):
        customer.name, customer.phone, customer.email = name, PHONE, EMAIL
        customer.save()
    job.bike.plate = PLATE
    job.bike.save()
    make_files(job, staff)
    fill_texts()
    job = Job.objects.get(pk=job.pk)
    sign_receipt(job, staff[Role.DESK], signed_by=NAME)
    job.stage = Stage.HANDED_OVER
    job.save()
    make_duplicate(customer, desk)
    hand_over(job, staff)
    customer.refresh_from_db()
    return customer


def make_files(job: Job, staff: dict[Role, StaffMember]) -> None:
    photo = Photo(job=job, by=staff[Role.DESK], original_name=f"{NAME}.jpg")
    photo.image.save("photo.jpg", ContentFile(b"a picture"))
    import_run(
        job=job, by=staff[Role.TUNER], name=f"{NAME} 1.csv", data=RUN_FILE.encode(), details=RunDetails()
    )
    import_run(
        job=job,
        by=staff[Role.TUNER],
        name=f"{NAME} 2.csv",
        data=RUN_FILE.encode("utf-16"),
        details=RunDetails(),
    )
    FileLayout.objects.create(name=f"like {NAME} 1.csv", fingerprint="f", layout={})
    micrometer = Instrument.objects.create(kind=Instrument.Kind.MICROMETER, name="Micrometer")
    InstrumentCheck.objects.create(instrument=micrometer, checked_on=timezone.localdate(), checked_by=NAME)
    DynoCheck.objects.create(subject=f"The bike of {NAME}", reading=70, by=staff[Role.TUNER])
    tune = TuneRevision.objects.get(job=job, number=1)
    tune.calibration_name = f"{NAME}.bin"
    tune.calibration.save("tune.bin", ContentFile(b"\x00\xffcalibration of " + NAME.encode() + b"\x00"))


def fill_texts() -> None:
    """Write the person into every declared text of every row, in each of their spellings."""
    Handover.objects.update(informed=Handover.Informed.TOLD)  # only who was told has a name
    for model, personal in declared_models().items():
        names = [*personal.cleared, *personal.free_text]
        fields = [field for field in map(model._meta.get_field, names) if is_text(field)]
        for row in model._base_manager.all() if fields and model is not Customer else ():
            for text in TEXTS:
                for field in fields:
                    setattr(row, field.name, fitting(text, row.pk, field))
                row.save()
    for handover in Handover.objects.all():
        handover.open_points = [f"{text} was not told." for text in TEXTS]
        handover.save()
    job = Job.objects.get()
    job.condition_marks = [{"x": 10, "y": 20, "note": text} for text in TEXTS]
    job.save()


def is_text(field: Any) -> bool:
    is_column = isinstance(field, models.CharField | models.TextField) and not field.choices
    return is_column and not isinstance(field, models.EmailField) and field.name != "plate"


def fitting(text: str, pk: Any, field: Any) -> str:
    """Return a text that differs in each row and fits the column."""
    given = f"{text} {pk}"
    if field.max_length is None or len(given) <= field.max_length:
        return given
    return f"{NAME} {pk}"


def make_duplicate(customer: Customer, desk: Client) -> None:
    duplicate = make_customer(name=OTHER, phone=OTHER_PHONE, email=OTHER_EMAIL, note=f"Same as {NAME}")
    answer = desk.post(reverse("customer-merge", args=[customer.pk]), {"other": duplicate.pk})
    assert answer.status_code == 302


def hand_over(job: Job, staff: dict[Role, StaffMember]) -> None:
    """Issue a sheet, mail its link with each outcome, acknowledge it, and let a task fail."""
    sheet = issue_sheet(
        job=job,
        by=staff[Role.OWNER],
        override_reason=f"{NAME} cannot wait",
        informed_person=NAME,
        build_customer_url=lambda token: f"https://shop.example/sheet/{token}/",
    )
    link = SheetLink.objects.get(sheet=sheet)
    acknowledge(link=link, name=NAME)
    TalkThrough.objects.create(job=job, steps=["asked"])
    Publication.objects.create(
        sheet=sheet, steps=["asked"], consent_by=NAME, consent_how="phone", recorded_by=staff[Role.DESK]
    )
    address = "https://shop.example/"
    mails = [mail_link(link=link, to=EMAIL, page_address=address, by=staff[Role.DESK]) for _ in range(4)]
    record_return(OutgoingMail.objects.get(pk=mails[0].pk), f"{EMAIL}: mailbox of {NAME} is full")
    record_outcome(mails[1], error=f"The mail server refused the address: “550 {EMAIL} unknown”.")
    mails[3].refresh_from_db()
    mails[3].subject = f"Handover sheet for {NAME}"
    mails[3].save()
    OutgoingMail.objects.filter(pk=mails[2].pk).update(state=OutgoingMail.State.WAITING, body=f"Dear {NAME}")
    DBTaskResult.objects.create(
        task_path="reports.tasks.print_sheet",
        args_kwargs={"args": [sheet.pk, 1], "kwargs": {}},
        backend_name="default",
        run_after=timezone.now(),
        status=TaskResultStatus.FAILED,
        exception_class_path="builtins.ValueError",
        traceback=f"ValueError: could not set the words of {NAME}",
    )


def declared_texts() -> dict[str, str]:
    """Return what stands in the declared columns of all rows, by the column."""
    return {
        f"{model._meta.label_lower}.{name}": str(
            list(model._base_manager.values_list(name, flat=True).order_by("pk"))
        )
        for model, personal in declared_models().items()
        if model not in WITHOUT_ROWS
        for name in (*personal.cleared, *personal.free_text)
    }
