"""What happened: who changed which record when, each field from what to what, in words."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.factories import make_bike, make_customer, make_job
from workshop.happenings import told_models
from workshop.models import Customer, Role

pytestmark = pytest.mark.django_db


def shop_history(client, **wanted: str) -> str:
    return client.get(reverse("shop-history"), wanted).text


def test_a_change_is_told_with_who_and_from_what_to_what(login) -> None:
    job = make_job(bike=make_bike(), intended_use="road")
    edit = reverse("job-edit", args=[job])
    sent = {"version": "1", "brief": "Raise the idle", "intended_use": "track_only"}
    assert login(Role.DESK).post(edit, sent).status_code == 302
    page = login(Role.MECHANIC).get(reverse("record-history", args=["jobs.job", job.pk])).text
    assert "<strong>Dana Desk</strong> changed job" in page
    assert "Smoother pick-up from closed throttle became Raise the idle" in page
    assert "Intended use: road became track only" in page
    assert "Version" not in page


def test_what_a_field_points_to_is_named(login) -> None:
    bike = make_bike()
    before = str(bike.owner)
    bike.owner = make_customer(name="Orla Venn")
    bike.save()
    page = login(Role.TUNER).get(reverse("record-history", args=["workshop.bike", bike.pk])).text
    assert f"Owner: {before} became Orla Venn" in page


def test_what_is_kept_as_a_list_is_counted(login) -> None:
    job = make_job()
    job.condition_marks = [{"x": 1, "y": 2, "note": "Dent"}]
    job.save()
    page = login(Role.OWNER).get(reverse("record-history", args=["jobs.job", job.pk])).text
    assert "Condition on the outline: – became one entry" in page


def test_filtered_by_kind_and_person(login, staff) -> None:
    client = login(Role.DESK)
    client.post(reverse("customer-new"), {"name": "By the desk"})
    make_customer(name="By the program")
    owner = login(Role.OWNER)
    by_desk = shop_history(owner, by=str(staff[Role.DESK].pk))
    assert "By the desk" in by_desk
    assert "By the program" not in by_desk
    assert "By the desk" in shop_history(owner, kind="workshop.customer")
    assert "By the desk" not in shop_history(owner, kind="workshop.bike")
    for nonsense in ({"kind": "lost"}, {"by": "x"}, {"before": "soon"}, {"before": "2026-13-45T00:00"}):
        assert owner.get(reverse("shop-history"), nonsense).status_code == 200


def test_a_removed_record_stays_told(login) -> None:
    customer = make_customer(name="Gone Again")
    pk = customer.pk
    customer.delete()
    page = login(Role.OWNER).get(reverse("record-history", args=["workshop.customer", pk])).text
    assert "removed customer Gone Again" in " ".join(page.split())


def test_pages_go_back_in_time(login) -> None:
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


def test_queries_are_fixed_by_the_kinds_of_record(login) -> None:
    client = login(Role.OWNER)

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            shop_history(client)
        return len(queries)

    job = make_job()
    asked()
    few = asked()
    for number in range(120):
        Customer.objects.create(name=f"Number {number}")
    job.save()
    # session and person, shop, people; then each kind once, and the earlier rows of those on the page
    assert asked() <= few + 2
    assert few <= 5 + 2 * len(told_models())


def test_the_shops_history_is_the_owners(login) -> None:
    for role in (Role.DESK, Role.MECHANIC, Role.TUNER):
        assert login(role).get(reverse("shop-history")).status_code == 403
        assert login(role).get(reverse("record-history", args=["workshop.staffmember", 1])).status_code == 403
    assert login(Role.DESK).get(reverse("record-history", args=["jobs.nothing", 1])).status_code == 404


def test_passwords_are_never_told(login, staff) -> None:
    person = staff[Role.TUNER]
    person.set_password("another long pass phrase")
    person.save()
    page = login(Role.OWNER).get(reverse("record-history", args=["workshop.staffmember", person.pk])).text
    assert "assword" not in page.split("<main")[1].split("</main>")[0]
