"""Every URL for every role and without a login.

The test takes every URL of the resolver, so a new page is included by itself. It needs from you:

* nothing if the URL has no arguments;
* if it has, one line in ARGUMENTS: the URL name, and the record of ``Records`` that gives the
  arguments (add a property there for a new kind of record);
* a name in PUBLIC only if it needs no login. That list is short on purpose.
"""

import hashlib
import inspect
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from functools import cached_property
from io import BytesIO
from typing import Any

import pytest
from django.core.cache import caches
from django.core.files.base import ContentFile
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from PIL import Image

from jobs import models as jobs
from jobs.contacts.add import add_contact
from jobs.planner.calendar_feed import create_token
from reports.handover import preview
from reports.handover.notices import current_wording
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import snapshot_sha256, to_json
from reports.models import handover, talk_through
from tests import factories
from workshop.mail.outbox import mail_key
from workshop.models import (
    Instrument,
    InstrumentCheck,
    OutgoingMail,
    Role,
    ShimStock,
    ShopProfile,
    StaffMember,
)

pytestmark = pytest.mark.one_database

PUBLIC = {
    "login",
    "health",
    "calendar-feed",
    "customer-sheet",
    "customer-pdf",
    "customer-acknowledge",
    "customer-ask",
    "customer-talk-through",
    "published-talk-through",
    "sheet-check",
}


class Records:
    """One record of every kind, created on first use."""

    def __init__(self, staff: dict[Role, StaffMember]) -> None:
        self.staff = staff
        self.by = staff[Role.OWNER]

    @cached_property
    def bike(self) -> Any:
        return factories.make_bike()

    @cached_property
    def job(self) -> Any:
        return factories.make_job(bike=self.bike)

    @cached_property
    def shims(self) -> Any:
        return ShimStock.objects.create(diameter_mm="7.48", thickness_mm="2.35", count=3)

    @cached_property
    def shop(self) -> Any:
        shop = ShopProfile.current()
        shop.logo.save("logo.png", picture())
        return shop

    @cached_property
    def clearance_set(self) -> Any:
        return factories.make_clearance_set(self.job, self.by)

    @cached_property
    def photo(self) -> Any:
        photo = jobs.Photo(job=self.job, original_name="scratch.png", by=self.by)
        photo.image.save("scratch.png", picture())
        return photo

    @cached_property
    def preview_key(self) -> str:
        return preview.start_preview(self.job, self.by)

    @cached_property
    def signed_receipt(self) -> Any:
        return factories.sign_receipt(self.job, self.by)

    @cached_property
    def work_item(self) -> Any:
        return jobs.WorkItem.objects.create(job=self.job, description="Clearances")

    @cached_property
    def part(self) -> Any:
        return jobs.Part.objects.create(job=self.job, name="Chain")

    @cached_property
    def revision(self) -> Any:
        revision = jobs.TuneRevision(job=self.job, number=1, loaded_by=self.by, calibration_name="a.bin")
        revision.calibration_sha256 = "0" * 64
        revision.calibration.save("a.bin", ContentFile(b"\0\1\2"))
        return revision

    @cached_property
    def change_kind(self) -> Any:
        return jobs.TuneChangeKind.objects.create(name="A kind for the walk", unit="1/min")

    @cached_property
    def part_kind(self) -> Any:
        effect = "It may need an approval."
        return jobs.PartKind.objects.create(name="A kind for the walk", road_use_effect=effect)

    @cached_property
    def tune_change(self) -> Any:
        return jobs.TuneChange.objects.create(
            revision=self.revision, kind=self.change_kind, from_value="1300", to_value="1500", reason="stalls"
        )

    @cached_property
    def throttle_table(self) -> Any:
        grid = {"grip_pct": [0, 100], "engine_speed_rpm": [2000, 9000], "plate_pct": [[0, 0], [100, 100]]}
        return jobs.ThrottleTable.objects.create(revision=self.revision, mode="Rain", **grid)

    @cached_property
    def run(self) -> Any:
        run = jobs.Run(job=self.job, original_name="a.csv", sha256="1" * 64, size=24, made_by=self.by)
        run.original.save("a.csv", ContentFile(b"rpm;torque\n3000;50\n3100;51\n"))
        return run

    @cached_property
    def file_layout(self) -> Any:
        return jobs.FileLayout.objects.create(name="One kind of file", fingerprint="f" * 64, layout={})

    @cached_property
    def comparison(self) -> Any:
        return jobs.Comparison.objects.create(job=self.job, title="Exhaust")

    @cached_property
    def mixture_study(self) -> Any:
        after = {
            "text": "\t3000\t6000\n10\t5.2\t5.4\n50\t7.1\t7.3\n",
            "step": 0.1,
            "covered": 0,
            "limited": 0,
        }
        return jobs.MixtureStudy.objects.create(
            job=self.job,
            title="Road",
            made_by=self.by,
            rpm_axis=[3000, 6000],
            load_axis=[10, 50],
            target=0.9,
            fuel_table_after={**after, "changed": [[False, False], [False, False]]},
        )

    @cached_property
    def suspension(self) -> Any:
        return jobs.SuspensionSetting.objects.create(job=self.job, when="as_found", by=self.by)

    @cached_property
    def wish(self) -> Any:
        return jobs.Wish.objects.create(job=self.job, text="Stalls when warm")

    @cached_property
    def slot(self) -> Any:
        starts = timezone.now().replace(minute=0, second=0, microsecond=0)
        return jobs.Slot.objects.create(
            job=self.job,
            place=factories.get_workstation("dyno"),
            starts_at=starts,
            ends_at=starts + timedelta(hours=2),
        )

    @cached_property
    def place(self) -> Any:
        return jobs.WorkPlace.objects.create(name="bench of the walk", kind="bench")

    @cached_property
    def shut_days(self) -> Any:
        day = timezone.localdate() + timedelta(days=30)
        return jobs.ShutDays.objects.create(first=day, last=day, reason="Stock-taking")

    @cached_property
    def calendar_token(self) -> str:
        return create_token(self.by)

    @cached_property
    def contact(self) -> Any:
        return add_contact(self.job, jobs.ContactEntry.Kind.NOTE, "Quiet bike, please.", by=self.by)

    @cached_property
    def bike_change(self) -> Any:
        return jobs.BikeChange.objects.create(
            job=self.job, kind=factories.get_part_kind("fuel"), description="E5", by=self.by
        )

    @cached_property
    def dyno_check(self) -> Any:
        return jobs.DynoCheck.objects.create(subject="A dead weight", reading=98.1, by=self.by)

    @cached_property
    def instrument(self) -> Any:
        return Instrument.objects.create(kind=Instrument.Kind.MICROMETER, name="Micrometer of the walk")

    @cached_property
    def instrument_check(self) -> Any:
        return InstrumentCheck.objects.create(
            instrument=self.instrument, checked_on=timezone.localdate(), checked_by="The laboratory"
        )

    @cached_property
    def check_item(self) -> Any:
        return jobs.CheckItem.objects.create(list=jobs.CheckItem.List.BEFORE_HANDOVER, text="A line")

    @cached_property
    def check(self) -> Any:
        return jobs.Check.objects.create(job=self.job, item=self.check_item, by=self.by)

    @cached_property
    def dyno_session(self) -> Any:
        return jobs.DynoSession.objects.get_or_create(job=self.job, number=2, defaults={"by": self.by})[0]

    @cached_property
    def sheet(self) -> Any:
        """Create an issued sheet without typesetting its pages."""
        pdf = b"%PDF-1.7"
        made = make_snapshot(
            factories.load_results(self.job), issue_number=1, issued_by=self.by, at=timezone.now()
        )
        snapshot = to_json(made)
        sheet = handover.HandoverSheet(
            job=self.job,
            issue_number=1,
            wording=current_wording(),
            issued_by=self.by,
            sha256=hashlib.sha256(pdf).hexdigest(),
            snapshot=snapshot,
            snapshot_sha256=snapshot_sha256(snapshot),
            check_code=handover.make_check_code(),
        )
        sheet.pdf.save("sheet.pdf", ContentFile(pdf))
        return sheet

    @cached_property
    def link(self) -> Any:
        until = timezone.now() + timedelta(days=1)
        return handover.SheetLink.objects.create(
            sheet=self.sheet, expires_at=until, made_by=self.by, with_talk_through=True
        )

    @cached_property
    def publication(self) -> Any:
        return talk_through.Publication.objects.create(
            sheet=self.sheet,
            steps=["asked"],
            consent_by="Ines Quill",
            consent_how="phone",
            recorded_by=self.by,
        )

    @cached_property
    def mail(self) -> Any:
        """Create a mail about the sheet that the mail server accepted."""
        return OutgoingMail.objects.create(
            to="ines@example.org",
            subject="Handover sheet",
            about=mail_key(self.sheet),
            page=reverse("handover", args=[self.job.number]),
            state=OutgoingMail.State.SENT,
            sent_at=timezone.now(),
            by=self.by,
        )


def picture() -> ContentFile:
    file = BytesIO()
    Image.new("RGB", (8, 8)).save(file, "PNG")
    return ContentFile(file.getvalue())


def pk_of(name: str, *more: str) -> Callable[[Records], list[Any]]:
    """Return the pk of a record and the literal rest of the address."""
    return lambda records: [getattr(records, name).pk, *more]


def kind_and_pk_of(kind: str, name: str) -> Callable[[Records], list[Any]]:
    """Return a kind of record and the pk of one."""
    return lambda records: [kind, getattr(records, name).pk]


def nothing_with(name: str) -> Callable[[Records], list[Any]]:
    """Return no argument, but create a record."""

    def arguments(records: Records) -> list[Any]:
        assert getattr(records, name)
        return []

    return arguments


def job_number(*more: str) -> Callable[[Records], list[Any]]:
    return lambda records: [records.job.number, *more]


ARGUMENTS: dict[str, Callable[[Records], list[Any]]] = {
    "staff-edit": lambda records: [records.staff[Role.TUNER].pk],
    "staff-password": lambda records: [records.staff[Role.TUNER].pk],
    "shop-logo": nothing_with("shop"),
    "record-history": kind_and_pk_of("jobs.job", "job"),
    "customer": lambda records: [records.bike.owner_id],
    "customer-edit": lambda records: [records.bike.owner_id],
    "customer-merge": lambda records: [records.bike.owner_id],
    "customer-export": lambda records: [records.bike.owner_id],
    "customer-erase": lambda records: [records.bike.owner_id],
    "bike": pk_of("bike"),
    "bike-edit": pk_of("bike"),
    "engine": lambda records: [records.bike.engine_spec_id],
    "engine-edit": lambda records: [records.bike.engine_spec_id],
    "shim-stock-edit": pk_of("shims"),
    "instrument": pk_of("instrument"),
    "instrument-edit": pk_of("instrument"),
    "instrument-remove": pk_of("instrument"),
    "instrument-check-new": pk_of("instrument"),
    "instrument-check-edit": pk_of("instrument_check"),
    "instrument-check-remove": pk_of("instrument_check"),
    "place-edit": pk_of("place"),
    "place-remove": pk_of("place"),
    "shut-days-edit": pk_of("shut_days"),
    "shut-days-remove": pk_of("shut_days"),
    "slot-edit": pk_of("slot"),
    "slot-move": pk_of("slot"),
    "slot-remove": pk_of("slot"),
    "calendar-feed": lambda records: [records.calendar_token],
    "job": job_number(),
    "job-edit": job_number(),
    "job-receive": job_number(),
    "job-remarks": job_number(),
    "job-section": job_number("parts"),
    "work-csv": job_number(),
    "job-receipt": job_number(),
    "job-sign": job_number(),
    "job-stage": job_number(),
    "photo-add": job_number(),
    "photo": pk_of("photo"),
    "photo-edit": pk_of("photo"),
    "photo-remove": pk_of("photo"),
    "work-item-add": job_number(),
    "work-item-edit": pk_of("work_item"),
    "work-item-remove": pk_of("work_item"),
    "work-items": job_number(),
    "work-item-tick": pk_of("work_item"),
    "slots-cancel": job_number(),
    "check-item-edit": pk_of("check_item"),
    "change-kind-edit": pk_of("change_kind"),
    "change-kind-remove": pk_of("change_kind"),
    "part-kind-edit": pk_of("part_kind"),
    "part-kind-remove": pk_of("part_kind"),
    "clearances-new": job_number("as_found"),
    "clearances-edit": pk_of("clearance_set"),
    "clearances": pk_of("clearance_set"),
    "shim-plan": pk_of("clearance_set"),
    "shim-plan-accept": pk_of("clearance_set"),
    "shim-plan-take-back": pk_of("clearance_set"),
    "shim-plan-left-over": pk_of("clearance_set"),
    "shim-plan-slip": pk_of("clearance_set"),
    "part-add": job_number(),
    "part-edit": pk_of("part"),
    "part-remove": pk_of("part"),
    "tune-log": job_number(),
    "tune-new": job_number(),
    "tune": pk_of("revision"),
    "tune-edit": pk_of("revision"),
    "tune-change-add": pk_of("revision"),
    "tune-change-edit": pk_of("tune_change"),
    "tune-change-remove": pk_of("tune_change"),
    "calibration": pk_of("revision"),
    "tune-difference": job_number(),
    "throttle": job_number(),
    "throttle-add": pk_of("revision"),
    "throttle-edit": pk_of("throttle_table"),
    "throttle-remove": pk_of("throttle_table"),
    "runs": job_number(),
    "run-attach": job_number(),
    "runs-change": job_number(),
    "run": pk_of("run"),
    "run-layout": pk_of("run"),
    "run-edit": pk_of("run"),
    "run-set-aside": pk_of("run"),
    "run-put-back": pk_of("run"),
    "run-sweep": pk_of("run"),
    "run-remove": pk_of("run"),
    "run-file": pk_of("run"),
    "run-csv": pk_of("run"),
    "runs-csv": job_number(),
    "drive-force": job_number(),
    "ignition": job_number(),
    "ignition-csv": job_number(),
    "throttle-linearity-csv": job_number(),
    "overrun-csv": job_number(),
    "injectors": job_number(),
    "injectors-csv": job_number(),
    "heat-soak": job_number(),
    "heat-soak-csv": job_number(),
    "throttle-response": job_number(),
    "throttle-response-csv": job_number(),
    "drive-force-csv": job_number(),
    "layout-edit": pk_of("file_layout"),
    "layout-remove": pk_of("file_layout"),
    "comparison-new": job_number(),
    "comparison": pk_of("comparison"),
    "comparison-edit": pk_of("comparison"),
    "comparison-remove": pk_of("comparison"),
    "comparison-csv": pk_of("comparison"),
    "run-uncertainty": pk_of("run"),
    "mixture-new": job_number(),
    "mixture": pk_of("mixture_study"),
    "mixture-edit": pk_of("mixture_study"),
    "mixture-remove": pk_of("mixture_study"),
    "mixture-fuel-table": pk_of("mixture_study"),
    "wish-add": job_number(),
    "wish-edit": pk_of("wish"),
    "wish-remove": pk_of("wish"),
    "suspension-new": job_number("as_found"),
    "suspension-edit": pk_of("suspension"),
    "checks": job_number(),
    "check-tick": lambda records: [records.job.number, records.check_item.pk],
    "check-answer": lambda records: [records.job.number, records.check_item.pk],
    "check-remove": pk_of("check"),
    "dyno-session-new": job_number(),
    "dyno-session-edit": pk_of("dyno_session"),
    "dyno-check-edit": pk_of("dyno_check"),
    "dyno-check-remove": pk_of("dyno_check"),
    "dyno-session-remove": pk_of("dyno_session"),
    "contact-add": job_number(),
    "contact-edit": pk_of("contact"),
    "contact-remove": pk_of("contact"),
    "bike-change-add": job_number(),
    "bike-change-edit": pk_of("bike_change"),
    "bike-change-remove": pk_of("bike_change"),
    "timeline": job_number(),
    "handover": job_number(),
    "handover-preview": job_number(),
    **dict.fromkeys(
        ("preview", "preview-page", "preview-pdf"),
        lambda records: [records.job.number, records.preview_key],
    ),
    "job-tag": job_number(),
    "tune-summary": job_number(),
    "job-json": job_number(),
    "job-zip": job_number(),
    "bike-history": pk_of("bike"),
    "handover-issue": job_number(),
    "receipt-pdf": pk_of("signed_receipt"),
    "receipt-mail": pk_of("signed_receipt"),
    "receipt-print": pk_of("signed_receipt"),
    "handover-complete": job_number(),
    "sheet-pdf": pk_of("sheet"),
    "sheet-print": pk_of("sheet"),
    "sheet-printing": pk_of("sheet"),
    "link-new": pk_of("sheet"),
    "link-revoke": pk_of("link"),
    "link-talk-through": pk_of("link"),
    "talk-through": job_number(),
    "talk-through-steps": job_number(),
    "talk-through-pdf": job_number(),
    "talk-through-pictures": job_number(),
    "talk-through-publish": lambda records: [records.sheet.job.number],
    "publication-revoke": pk_of("publication"),
    "customer-ask": lambda records: [records.link.token],
    "customer-talk-through": lambda records: [records.link.token],
    "published-talk-through": lambda records: [records.publication.token],
    "sheet-mail": pk_of("sheet"),
    "mail-state": pk_of("mail"),
    "mail-retry": pk_of("mail"),
    "mail-returned": pk_of("mail"),
    "mail-settle": pk_of("mail"),
    "customer-sheet": lambda records: [records.link.token],
    "sheet-check": lambda records: [records.sheet.check_code],
    "customer-pdf": lambda records: [records.link.token],
    "customer-acknowledge": lambda records: [records.link.token],
}


def walk(resolver: URLResolver) -> Iterator[URLPattern]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            yield from walk(entry)
        else:
            yield entry


PATTERNS = {str(pattern.name): pattern for pattern in walk(get_resolver())}
CLOSED = sorted(set(PATTERNS) - PUBLIC)


@pytest.fixture
def records(staff) -> Records:
    return Records(staff)


def address(name: str, records: Records) -> str:
    takes = PATTERNS[name].pattern.converters
    if takes and name not in ARGUMENTS:
        pytest.fail(
            f"“{name}” takes {', '.join(takes)}, for which the test has no record: "
            "add a line to ARGUMENTS in tests/test_access.py."
        )
    return reverse(name, args=ARGUMENTS[name](records) if name in ARGUMENTS else [])


def statuses(client: Client, url: str) -> tuple[int, int]:
    """Return the status codes of a GET and of an empty POST."""
    responses = (client.get(url), client.post(url))
    for response in responses:
        if response.streaming:
            response.getvalue()  # read to its end, the file behind it is closed
    return responses[0].status_code, responses[1].status_code


def test_every_url_has_a_unique_name() -> None:
    names = [pattern.name for pattern in walk(get_resolver())]
    assert sorted(map(str, names)) == sorted({str(name) for name in names if name})


def test_every_view_declares_its_roles() -> None:
    assert [name for name, pattern in PATTERNS.items() if not hasattr(pattern.callback, "open_to")] == []


def test_only_listed_views_are_public() -> None:
    opened = {name for name, pattern in PATTERNS.items() if pattern.callback.open_to == "everybody"}
    assert opened == PUBLIC & set(PATTERNS)
    assert {"login", "health"} <= opened


@contextmanager
def undone() -> Iterator[None]:
    """Undo what is written, so that the next role finds the same records."""
    caches["sections"].clear()
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.mark.django_db
@pytest.mark.parametrize("name", CLOSED)
def test_view_admits_its_roles_only(name: str, records: Records, login) -> None:
    url = address(name, records)
    for response in (Client().get(url), Client().post(url)):
        assert response.status_code == 302
        assert response.headers["Location"].startswith(f"{reverse('login')}?next=")
    for role in Role:
        with undone():
            get, post = statuses(login(role), url)
        if role in PATTERNS[name].callback.open_to:
            assert get in (200, 302, 405), role
            assert post != 403, role
            assert post < 500, role
        else:
            assert (get, post) == (403, 403), role


def allowed_methods(name: str) -> set[str]:
    """Return the HTTP methods that a view declares; the outermost declaration counts."""
    view = PATTERNS[name].callback
    while view is not None:
        if "request_method_list" in view.__code__.co_freevars:
            return set(inspect.getclosurevars(view).nonlocals["request_method_list"])
        view = getattr(view, "__wrapped__", None)
    pytest.fail(f"“{name}” answers every method: give its view require_safe, require_POST or the like.")


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(PATTERNS))
def test_view_answers_its_declared_methods_only(name: str, records: Records, login) -> None:
    client, url, allowed = login(Role.OWNER), address(name, records), allowed_methods(name)
    refused = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "PROPFIND"} - allowed
    assert {"PUT", "PATCH", "DELETE", "OPTIONS", "PROPFIND"} <= refused
    assert {client.generic(method, url).status_code for method in refused} == {405}


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(PUBLIC & set(PATTERNS)))
def test_public_pages_need_no_login(name: str, records: Records) -> None:
    get, post = statuses(Client(), address(name, records))
    assert get in (200, 302, 405)
    assert post < 500


@pytest.mark.django_db
def test_person_without_role_is_rejected(client: Client) -> None:
    factories.make_staff(Role.TUNER, is_tuner=False)
    client.force_login(
        StaffMember.objects.get(username="tuner"), backend="workshop.people.backend.StaffBackend"
    )
    assert client.get(reverse("customer-list")).status_code == 403
