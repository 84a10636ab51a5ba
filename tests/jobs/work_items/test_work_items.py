"""Agreed work above the authorised amount, and the CSV file for invoicing."""

import csv
import io
from decimal import Decimal

import pytest
from django.urls import reverse

from jobs.models import Part, WorkItem
from tests.factories import make_bike, make_customer, make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db


def add_work(client, job, **sent: str):
    return client.post(reverse("work-item-add", args=[job]), sent)


def test_work_above_the_customer_limit_needs_confirmation(login) -> None:
    job, client = make_job(authorised_amount="300"), login(Role.DESK)
    assert add_work(client, job, description="Valves", price="240,50").status_code == 302
    refused = add_work(client, job, description="Synchronise", price="60")
    assert refused.status_code == 422
    assert "This makes 300.50, which is 0.50 more than authorised." in refused.text
    assert "Synchronise" in refused.text
    assert WorkItem.objects.count() == 1
    assert add_work(client, job, description="Synchronise", price="60", asked="on").status_code == 302
    job.refresh_from_db()
    assert job.authorised_amount == Decimal("300.50")
    assert job.history.first().history_user.username == "desk"


def test_work_up_to_the_customer_limit_needs_no_confirmation(login) -> None:
    job, client = make_job(authorised_amount="300"), login(Role.DESK)
    assert add_work(client, job, description="Valves", price="300").status_code == 302
    assert add_work(client, job, description="Courtesy wash", price="").status_code == 302
    job.refresh_from_db()
    assert job.authorised_amount == 300


def test_marking_work_done_needs_no_second_confirmation(login) -> None:
    job = make_job(authorised_amount="10")
    item = WorkItem.objects.create(job=job, description="Valves", price="240")
    sent = {"version": "1", "description": "Valves", "price": "240", "done": "on"}
    assert login(Role.DESK).post(reverse("work-item-edit", args=[item.pk]), sent).status_code == 302
    job.refresh_from_db()
    assert job.authorised_amount == 10


def test_work_without_customer_limit_needs_no_confirmation(login) -> None:
    assert add_work(login(Role.DESK), make_job(), description="Valves", price="900").status_code == 302


def test_csv_has_work_and_parts_with_formulas_escaped(login) -> None:
    job = make_job(bike=make_bike(owner=make_customer(name="=cmd()")))
    WorkItem.objects.create(job=job, description="Valves", price="240.50", done=True)
    Part.objects.create(job=job, name="Gasket", maker="Ostler", part_number="G-7", quantity=2)
    csv_response = login(Role.TUNER).get(reverse("work-csv", args=[job]))
    assert "attachment" in csv_response.headers["Content-Disposition"]
    rows = list(csv.DictReader(io.StringIO(csv_response.content.decode())))
    assert [(row["kind"], row["what"], row["quantity"], row["price"], row["done"]) for row in rows] == [
        ("work", "Valves", "1", "240.50", "yes"),
        ("part", "Ostler Gasket G-7", "2.00", "", "no"),
    ]
    assert rows[0]["job"] == job.number
    assert rows[0]["customer"] == "'=cmd()"


def test_total_above_maximum_shows_error_at_the_price(login) -> None:
    # In some currencies a job costs many millions; the limit has eight digits before the decimal point.
    job = make_job(authorised_amount=Decimal("60000000"))
    WorkItem.objects.create(job=job, description="Engine", price=Decimal("60000000"))
    desk = login(Role.DESK)
    sent = {"description": "Gearbox", "price": "40000000", "asked": "on"}
    response = desk.post(reverse("work-item-add", args=[job]), sent)
    assert response.status_code == 422
    assert "no more than 99\u202f999\u202f999.99 can be authorised" in response.text
    assert 'value="Gearbox"' in response.text
    assert desk.get(reverse("job", args=[job])).status_code == 200
    # 60 000 000 + 39 999 999.99 is the maximum
    sent["price"] = "39999999.99"
    assert desk.post(reverse("work-item-add", args=[job]), sent).status_code == 302
    job.refresh_from_db()
    assert job.authorised_amount == Decimal("99999999.99")
