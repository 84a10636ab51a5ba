"""Every URL for every role and without a login.

The test takes every URL of the resolver, so a new page is included by itself. It needs from you:

* nothing if the URL has no arguments;
* if it has, one line in ARGUMENTS: the URL name, and the record of ``Records`` that gives the
  arguments (add a property there for a new kind of record);
* a name in PUBLIC only if it needs no login. That list is short on purpose.
"""

import hashlib
from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import cached_property
from io import BytesIO
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from PIL import Image

from jobs import models as jobs
from jobs.planner.calendar_feed import create_token
from reports.handover.notices import current_wording
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import snapshot_sha256, to_json
from reports.models import handover
from tests import factories
from workshop.models import Role, ShimStock, ShopProfile, StaffMember

PUBLIC = {"login", "health", "calendar-feed", "customer-sheet", "customer-pdf", "customer-acknowledge"}


class Records:
    """One of each record, created on first use."""

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
    def bike_change(self) -> Any:
        return jobs.BikeChange.objects.create(job=self.job, kind="fuel", description="E5", by=self.by)

    @cached_property
    def check_item(self) -> Any:
        return jobs.CheckItem.objects.create(list=jobs.CheckItem.List.BEFORE_HANDOVER, text="A line")

    @cached_property
    def sheet(self) -> Any:
        """Kept as an issued one is, but for its pages: those would be set anew for every address."""
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
        )
        sheet.pdf.save("sheet.pdf", ContentFile(pdf))
        return sheet

    @cached_property
    def link(self) -> Any:
        until = timezone.now() + timedelta(days=1)
        return handover.SheetLink.objects.create(sheet=self.sheet, expires_at=until, made_by=self.by)


def picture() -> ContentFile:
    file = BytesIO()
    Image.new("RGB", (8, 8)).save(file, "PNG")
    return ContentFile(file.getvalue())


def of(name: str, *more: str) -> Callable[[Records], list[Any]]:
    """Return the pk of a record and the literal rest of the address."""
    return lambda records: [getattr(records, name).pk, *more]


def of_kind(kind: str, name: str) -> Callable[[Records], list[Any]]:
    """Return a kind of record and the pk of one."""
    return lambda records: [kind, getattr(records, name).pk]


def none_but(name: str) -> Callable[[Records], list[Any]]:
    """No argument, but this record must be there."""

    def arguments(records: Records) -> list[Any]:
        assert getattr(records, name)
        return []

    return arguments


def by_number(*more: str) -> Callable[[Records], list[Any]]:
    return lambda records: [records.job.number, *more]


ARGUMENTS: dict[str, Callable[[Records], list[Any]]] = {
    "staff-edit": lambda records: [records.staff[Role.TUNER].pk],
    "staff-password": lambda records: [records.staff[Role.TUNER].pk],
    "shop-logo": none_but("shop"),
    "record-history": of_kind("jobs.job", "job"),
    "customer": lambda records: [records.bike.owner_id],
    "customer-edit": lambda records: [records.bike.owner_id],
    "customer-merge": lambda records: [records.bike.owner_id],
    "customer-export": lambda records: [records.bike.owner_id],
    "customer-erase": lambda records: [records.bike.owner_id],
    "bike": of("bike"),
    "bike-edit": of("bike"),
    "engine": lambda records: [records.bike.engine_spec_id],
    "engine-edit": lambda records: [records.bike.engine_spec_id],
    "shim-stock-edit": of("shims"),
    "place-edit": of("place"),
    "place-remove": of("place"),
    "shut-days-edit": of("shut_days"),
    "shut-days-remove": of("shut_days"),
    "slot-edit": of("slot"),
    "slot-move": of("slot"),
    "slot-remove": of("slot"),
    "calendar-feed": lambda records: [records.calendar_token],
    "job": by_number(),
    "job-edit": by_number(),
    "job-receive": by_number(),
    "job-remarks": by_number(),
    "work-csv": by_number(),
    "job-receipt": by_number(),
    "job-sign": by_number(),
    "job-stage": by_number(),
    "photo-add": by_number(),
    "photo": of("photo"),
    "photo-edit": of("photo"),
    "photo-remove": of("photo"),
    "work-item-add": by_number(),
    "work-item-edit": of("work_item"),
    "work-item-remove": of("work_item"),
    "check-item-edit": of("check_item"),
    "change-kind-edit": of("change_kind"),
    "change-kind-remove": of("change_kind"),
    "clearances-new": by_number("as_found"),
    "clearances-edit": of("clearance_set"),
    "clearances": of("clearance_set"),
    "shim-plan": of("clearance_set"),
    "shim-plan-accept": of("clearance_set"),
    "shim-plan-take-back": of("clearance_set"),
    "shim-plan-left-over": of("clearance_set"),
    "shim-plan-slip": of("clearance_set"),
    "part-add": by_number(),
    "part-edit": of("part"),
    "part-remove": of("part"),
    "tune-log": by_number(),
    "tune-new": by_number(),
    "tune": of("revision"),
    "tune-edit": of("revision"),
    "tune-change-add": of("revision"),
    "tune-change-edit": of("tune_change"),
    "tune-change-remove": of("tune_change"),
    "calibration": of("revision"),
    "tune-difference": by_number(),
    "throttle": by_number(),
    "throttle-add": of("revision"),
    "throttle-edit": of("throttle_table"),
    "throttle-remove": of("throttle_table"),
    "runs": by_number(),
    "run-attach": by_number(),
    "run": of("run"),
    "run-layout": of("run"),
    "run-edit": of("run"),
    "run-set-aside": of("run"),
    "run-put-back": of("run"),
    "run-sweep": of("run"),
    "run-remove": of("run"),
    "run-file": of("run"),
    "runs-csv": by_number(),
    "layout-edit": of("file_layout"),
    "layout-remove": of("file_layout"),
    "comparison-new": by_number(),
    "comparison": of("comparison"),
    "comparison-edit": of("comparison"),
    "comparison-remove": of("comparison"),
    "comparison-csv": of("comparison"),
    "mixture-new": by_number(),
    "mixture": of("mixture_study"),
    "mixture-edit": of("mixture_study"),
    "mixture-remove": of("mixture_study"),
    "mixture-fuel-table": of("mixture_study"),
    "suspension-new": by_number("as_found"),
    "suspension-edit": of("suspension"),
    "checks": by_number(),
    "check-tick": lambda records: [records.job.number, records.check_item.pk],
    "bike-change-add": by_number(),
    "bike-change-edit": of("bike_change"),
    "bike-change-remove": of("bike_change"),
    "timeline": by_number(),
    "handover": by_number(),
    "handover-preview": by_number(),
    "job-tag": by_number(),
    "tune-summary": by_number(),
    "job-json": by_number(),
    "job-zip": by_number(),
    "bike-history": of("bike"),
    "handover-issue": by_number(),
    "sheet-pdf": of("sheet"),
    "sheet-print": of("sheet"),
    "sheet-printing": of("sheet"),
    "link-new": of("sheet"),
    "link-revoke": of("link"),
    "sheet-mail": of("sheet"),
    "customer-sheet": lambda records: [records.link.token],
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
        response.close()
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


@pytest.mark.django_db
@pytest.mark.parametrize("name", CLOSED)
def test_anonymous_user_is_redirected_to_login(name: str, records: Records) -> None:
    url = address(name, records)
    for response in (Client().get(url), Client().post(url)):
        assert response.status_code == 302, name
        assert response.headers["Location"].startswith(f"{reverse('login')}?next="), name


@pytest.mark.django_db
@pytest.mark.parametrize("name", CLOSED)
@pytest.mark.parametrize("role", Role)
def test_view_admits_its_roles_only(name: str, role: Role, records: Records, login) -> None:
    url = address(name, records)
    get, post = statuses(login(role), url)
    if role in PATTERNS[name].callback.open_to:
        assert get in (200, 302, 405), name
        assert post != 403
        assert post < 500, name
    else:
        assert (get, post) == (403, 403), name


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(PUBLIC & set(PATTERNS)))
def test_public_pages_need_no_login(name: str, records: Records) -> None:
    get, post = statuses(Client(), address(name, records))
    assert get in (200, 302, 405)
    assert post < 500


@pytest.mark.django_db
def test_person_without_role_is_refused(client: Client) -> None:
    factories.make_staff(Role.TUNER, is_tuner=False)
    client.force_login(
        StaffMember.objects.get(username="tuner"), backend="django.contrib.auth.backends.ModelBackend"
    )
    assert client.get(reverse("customer-list")).status_code == 403
