"""Agreed work above the authorised amount, and the CSV file for invoicing."""

import csv
import io
from decimal import Decimal

import pytest
from django.urls import reverse

from jobs.models import Part, WorkItem
from tests.factories import make_bike, make_customer, make_job
from tests.html import read_text
from workshop.models import Role
from workshop.people.names import NAME_NEEDED

pytestmark = pytest.mark.django_db


AGREED = {
    "asked": "Ines Quill",
    "how": "phone",
    "asked_at": "2025-03-12T10:30",
    "answer": "agreed",
    "words": "Go on then.",
}


def add_work(client, job, **sent: str):
    return client.post(reverse("work-item-add", args=[job]), sent)


def test_work_above_the_customer_limit_needs_confirmation(login) -> None:
    job, client = make_job(authorised_amount="300"), login(Role.DESK)
    assert add_work(client, job, description="Valves", price="240,50").status_code == 302
    refused = add_work(client, job, description="Synchronise", price="60")
    assert refused.status_code == 422
    assert "This adds up to 300.50, 0.50 over the customer&#x27;s limit." in refused.text
    assert "Synchronise" in refused.text
    assert WorkItem.objects.count() == 1
    assert refused.context["form"]["asked"].value() == job.customer.name
    assert add_work(client, job, description="Synchronise", price="60", **AGREED).status_code == 302
    job.refresh_from_db()
    assert job.authorised_amount == Decimal("300.50")
    assert job.history.first().history_user.username == "desk"
    answer = job.authorisations.get()
    assert (answer.asked, answer.asked_by.username, answer.get_how_display(), str(answer.amount)) == (
        "Ines Quill",
        "desk",
        "by phone",
        "300.50",
    )
    assert (answer.answer, answer.words, f"{answer.at:%Y-%m-%d}") == ("agreed", "Go on then.", "2025-03-12")
    page = read_text(client.get(reverse("job", args=[job]), {"open": "all"}))
    assert "Ines Quill was asked by Dana Desk by phone for a limit of EUR 300.50" in page
    assert "and agreed: “Go on then.”" in page


def test_refusal_is_recorded_and_leaves_work_and_limit_as_they_were(login) -> None:
    job, client = make_job(authorised_amount="300"), login(Role.DESK)
    answer = add_work(client, job, description="Synchronise", price="360", **{**AGREED, "answer": "refused"})
    assert answer.status_code == 302
    job.refresh_from_db()
    assert (job.authorised_amount, job.work_items.count()) == (300, 0)
    assert job.authorisations.get().answer == "refused"
    page = read_text(client.get(reverse("job", args=[job]), {"open": "all"}))
    assert "Ines Quill refused. The refusal is recorded" in page
    assert "for a limit of EUR 360.00 and refused" in page


@pytest.mark.parametrize("missing", ["asked", "how", "asked_at", "answer"])
def test_answer_needs_who_how_when_and_what(login, missing: str) -> None:
    job, client = make_job(authorised_amount="300"), login(Role.DESK)
    refused = add_work(client, job, description="Synchronise", price="360", **{**AGREED, missing: ""})
    assert refused.status_code == 422
    assert refused.context["form"].errors.keys() == {missing}
    assert "Go on then." in refused.text
    assert not job.authorisations.exists()


def test_who_was_asked_is_a_persons_name(login) -> None:
    job, client = make_job(authorised_amount="300"), login(Role.DESK)
    refused = add_work(client, job, description="Synchronise", price="360", **{**AGREED, "asked": "x"})
    assert refused.context["form"].errors == {"asked": [NAME_NEEDED]}
    assert not job.authorisations.exists()


def test_question_is_asked_only_where_the_amount_is_typed(login) -> None:
    job, client = make_job(authorised_amount="300"), login(Role.DESK)
    add_work(client, job, description="Synchronise", price="360", **AGREED)
    item = job.work_items.get()
    for url in (
        reverse("job", args=[job]),
        reverse("work-item-edit", args=[item.pk]),
        reverse("job-edit", args=[job]),
        reverse("job-receipt", args=[job]),
    ):
        assert "Ask the customer" not in client.get(url).text
    sent = {"version": "1", "description": "Synchronise", "price": "355", "done": "on"}
    assert client.post(reverse("work-item-edit", args=[item.pk]), sent).status_code == 302


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
    sent = {"description": "Gearbox", "price": "40000000", **AGREED}
    response = desk.post(reverse("work-item-add", args=[job]), sent)
    assert response.status_code == 422
    assert "no more than 99\u202f999\u202f999.99 can be authorised" in response.text
    assert 'value="Gearbox"' in response.text
    assert desk.get(reverse("job", args=[job]), {"open": "all"}).status_code == 200
    # 60 000 000 + 39 999 999.99 is the maximum
    sent["price"] = "39999999.99"
    assert desk.post(reverse("work-item-add", args=[job]), sent).status_code == 302
    job.refresh_from_db()
    assert job.authorised_amount == Decimal("99999999.99")
