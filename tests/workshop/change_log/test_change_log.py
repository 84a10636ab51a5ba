"""The change log: who changed which record when, with the values before and after."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import (
    FileLayout,
    MixtureStudy,
    PartKind,
    ShutDays,
    StageEntry,
    ThrottleTable,
    TuneChangeKind,
)
from tests.factories import make_bike, make_customer, make_job, make_revision
from workshop.change_log.entries import tracked_models
from workshop.models import Customer, Role, ShopProfile

pytestmark = pytest.mark.django_db


def shop_history(client, **filters: str) -> str:
    return client.get(reverse("shop-history"), filters).text


def test_change_shows_person_and_values_before_and_after(login) -> None:
    job = make_job(bike=make_bike(), intended_use="road")
    edit = reverse("job-edit", args=[job])
    sent = {"version": "1", "brief": "Raise the idle", "intended_use": "track_only"}
    assert login(Role.DESK).post(edit, sent).status_code == 302
    page = login(Role.MECHANIC).get(reverse("record-history", args=["jobs.job", job.pk])).text
    assert "<strong>Dana Desk</strong> changed job" in page
    assert "Smoother pick-up from closed throttle → Raise the idle" in page
    assert "Intended use: road → track only" in page
    assert "Version" not in page


def test_related_record_is_shown_by_name(login) -> None:
    bike = make_bike()
    before = str(bike.owner)
    bike.owner = make_customer(name="Orla Venn")
    bike.save()
    page = login(Role.TUNER).get(reverse("record-history", args=["workshop.bike", bike.pk])).text
    assert f"Owner: {before} → Orla Venn" in page


def test_list_value_is_shown_as_count(login) -> None:
    job = make_job()
    job.condition_marks = [{"x": 1, "y": 2, "note": "Dent"}]
    job.save()
    page = login(Role.OWNER).get(reverse("record-history", args=["jobs.job", job.pk])).text
    assert "Damage marks: – → one entry" in page


def test_entries_are_filtered_by_kind_and_person(login, staff) -> None:
    client = login(Role.DESK)
    client.post(reverse("customer-new"), {"name": "By the desk", "language": "en"})
    make_customer(name="By the program")
    owner = login(Role.OWNER)
    by_desk = shop_history(owner, by=str(staff[Role.DESK].pk))
    assert "By the desk" in by_desk
    assert "By the program" not in by_desk
    assert "By the desk" in shop_history(owner, kind="workshop.customer")
    assert "By the desk" not in shop_history(owner, kind="workshop.bike")
    for nonsense in ({"kind": "lost"}, {"by": "x"}, {"before": "soon"}, {"before": "2026-13-45T00:00"}):
        assert owner.get(reverse("shop-history"), nonsense).status_code == 200


def test_removed_record_keeps_its_entries(login) -> None:
    customer = make_customer(name="Gone Again")
    pk = customer.pk
    customer.delete()
    page = login(Role.OWNER).get(reverse("record-history", args=["workshop.customer", pk])).text
    assert "removed customer Gone Again" in " ".join(page.split())


def test_later_pages_show_earlier_entries(login) -> None:
    for number in range(70):
        make_customer(name=f"Number {number:02}")
    client = login(Role.OWNER)
    first = client.get(reverse("shop-history"), {"kind": "workshop.customer"})
    assert "Number 69" in first.text
    assert "Number 10<" not in first.text
    earlier = client.get(
        reverse("shop-history"), {"kind": "workshop.customer", "before": first.context["more"]}
    )
    assert "Number 10<" in earlier.text
    assert "Number 69" not in earlier.text


def set_clock_back(record) -> None:
    """Give the latest entry of a record a time before that of the one before."""
    latest, earlier = record.history.order_by("-history_id")[:2]
    latest.history_date = earlier.history_date - timedelta(hours=3)
    latest.save()


def test_history_keeps_its_order_if_the_clock_was_set_back(login) -> None:
    customer = make_customer(name="First name")
    for name in ("Second name", "Third name"):
        customer.name = name
        customer.save()
    set_clock_back(customer)
    PartKind.history.all().delete()  # entries of a new shop would fill the page of all kinds
    TuneChangeKind.history.all().delete()
    owner = login(Role.OWNER)
    kind = "workshop.customer"
    for page in (record_history(owner, customer), shop_history(owner), shop_history(owner, kind=kind)):
        assert page.index("Second name → Third name") < page.index("First name → Second name")


def test_later_pages_lose_nothing_if_the_clock_was_set_back(login) -> None:
    customer = make_customer(name="Number 00")
    for number in range(1, 70):
        customer.name = f"Number {number:02}"
        customer.save()
    Customer.history.filter(name__gte="Number 40").update(history_date=datetime(2020, 1, 1, tzinfo=UTC))
    client, url = login(Role.OWNER), reverse("record-history", args=["workshop.customer", customer.pk])
    first = client.get(url)
    second = client.get(url, {"before": first.context["more"]})
    shown = [entry.history_id for page in (first, second) for entry in page.context["entries"]]
    assert shown == sorted(Customer.history.values_list("history_id", flat=True), reverse=True)


def test_conflict_is_told_if_the_clock_was_set_back(login, staff) -> None:
    person, owner = staff[Role.TUNER], login(Role.OWNER)
    seen = person.history.order_by("-history_id").first().pk
    person.first_name = "Changed"
    person.save()
    set_clock_back(person)
    sent = {"username": person.username, "first_name": "Mine", "is_tuner": "on", "is_active": "on"}
    response = owner.post(reverse("staff-edit", args=[person.pk]), {**sent, "seen": seen})
    assert (response.status_code, "has changed this person" in response.text) == (422, True)


def test_query_count_depends_on_kinds_of_record_only(login) -> None:
    client = login(Role.OWNER)

    def count_queries() -> int:
        with CaptureQueriesContext(connection) as queries:
            shop_history(client)
        return len(queries)

    job = make_job()
    count_queries()
    few = count_queries()
    for number in range(120):
        Customer.objects.create(name=f"Number {number}")
    job.save()
    # Session and person, shop, people; then each kind, and the earlier rows of those on the page.
    assert count_queries() <= few + 2
    assert few <= 5 + 2 * len(tracked_models())


def test_shop_history_requires_owner(login) -> None:
    for role in (Role.DESK, Role.MECHANIC, Role.TUNER):
        assert login(role).get(reverse("shop-history")).status_code == 403
        assert login(role).get(reverse("record-history", args=["workshop.staffmember", 1])).status_code == 403
    assert login(Role.DESK).get(reverse("record-history", args=["jobs.nothing", 1])).status_code == 404


def test_password_change_shows_no_password_field(login, staff) -> None:
    person = staff[Role.TUNER]
    person.set_password("another long pass phrase")
    person.save()
    page = login(Role.OWNER).get(reverse("record-history", args=["workshop.staffmember", person.pk])).text
    assert "assword" not in page.split("<main")[1].split("</main>")[0]


def record_history(client, record) -> str:
    kind = record._meta.label_lower
    page = client.get(reverse("record-history", args=[kind, record.pk])).text
    return " ".join(page.split("<main")[1].split("</main>")[0].split())


def test_login_makes_no_entry(client, login, staff) -> None:
    person = staff[Role.MECHANIC]
    sent = {"username": person.username, "password": "a long enough pass phrase"}
    assert client.post(reverse("login"), sent).status_code == 302
    person.refresh_from_db()
    assert person.last_login is not None
    assert "changed staff member" not in record_history(login(Role.OWNER), person)


def test_new_password_is_reported_without_the_password(login, staff) -> None:
    person, owner = staff[Role.MECHANIC], login(Role.OWNER)
    sent = {"new_password1": "quiet-harbour-9-lamps", "new_password2": "quiet-harbour-9-lamps"}
    assert owner.post(reverse("staff-password", args=[person.pk]), sent).status_code == 302
    page = record_history(owner, person)
    assert f"changed staff member {person.username} (a new password)" in page
    assert "quiet-harbour" not in page


def test_numbers_and_dates_are_shown_as_people_write_them(login) -> None:
    job = make_job(odometer_km=None)
    job.odometer_km = 23480.0
    job.save()
    shut = ShutDays.objects.create(first=date(2026, 12, 1), last=date(2026, 12, 1), reason="Fair")
    shut.last = date(2026, 12, 2)
    shut.save()
    owner = login(Role.OWNER)
    assert "Odometer (km): – → 23480<" in record_history(owner, job)
    assert "1 Dec 2026 → 2 Dec 2026<" in record_history(owner, shut)


def test_table_change_shows_changed_rows_only(login, staff) -> None:
    revision = make_revision(make_job(), staff[Role.TUNER])
    table = ThrottleTable.objects.create(
        revision=revision,
        mode="rain",
        grip_pct=[0.0, 50.0],
        engine_speed_rpm=[1000.0, 9000.0],
        plate_pct=[[0.0, 0.0], [40.0, 45.5]],
    )
    table.plate_pct = [[0.0, 0.0], [38.0, 45.5]]
    table.save()
    page = record_history(login(Role.OWNER), table)
    assert "2 entries (40, 45.5) → 2 entries (38, 45.5)" in page


def test_file_layout_change_shows_changed_setting_only(login) -> None:
    layout = FileLayout.objects.create(name="Bench", fingerprint="a", layout={"decimal": ",", "rows": 1})
    layout.layout = {"decimal": ".", "rows": 1}
    layout.save()
    page = record_history(login(Role.OWNER), layout)
    assert "Layout: decimal , → decimal .<" in page


def test_record_without_name_is_named_by_its_parent(login, staff) -> None:
    job = make_job()
    entry = StageEntry.objects.create(job=job, stage="received", by=staff[Role.DESK])
    page = shop_history(login(Role.OWNER), kind="jobs.stageentry")
    assert f">checked in, {job.number}<" in page
    assert f">no. {entry.pk}<" not in page


def test_table_added_later_is_described_by_its_model(login, staff) -> None:
    study = MixtureStudy.objects.create(
        job=make_job(), title="Lean spot", made_by=staff[Role.TUNER], rpm_axis=[], load_axis=[], target=[]
    )
    study.fuel_table_after = {"rpm": [1000], "load": [0], "values": [[1.0]]}
    study.save()
    assert "Fuel table after: – → a fuel table<" in record_history(login(Role.OWNER), study)


def test_line_endings_are_no_change(login) -> None:
    shop = ShopProfile.current()
    shop.address = "Pier Row 7\nFennport"
    shop.save()
    shop.address, shop.phone = "Pier Row 7\r\nFennport", "+00 1"
    shop.save()
    page = record_history(login(Role.OWNER), shop)
    assert "Phone: – → +00 1" in page
    assert "Address: Pier" not in page
