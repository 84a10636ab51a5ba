"""Wishes: entered at booking or on the job, answered, and never claiming more than is on record."""

import pytest
from django.urls import reverse

from jobs.models import Comparison, Run, TuneRevision, Wish
from jobs.wishes.facts import wish_facts
from tests.factories import load_results, make_bike, make_job
from tests.jobs.booking.test_booking import ASKED
from workshop.models import Role

pytestmark = pytest.mark.django_db


def make_wish(job=None, **values) -> Wish:
    return Wish.objects.create(job=job or make_job(), **{"text": "It stalls when warm", **values})


def answer(client, wish: Wish, **data):
    typed = {"text": wish.text, "position": "1", "result": "done", "answer": "Idle raised to 1350 rpm"}
    return client.post(reverse("wish-edit", args=[wish.pk]), {**typed, "version": wish.version, **data})


def section(client, job) -> str:
    page = client.get(reverse("job", args=[job]), {"open": "wishes"}).content.decode()
    return page[page.index('id="wishes"') : page.index('id="brief"')]


def test_each_line_at_booking_becomes_a_wish_in_its_order(login) -> None:
    bike = make_bike()
    lines = "Valves are due.\r\n\r\n  Nothing happens   until late. \r\n"
    response = login(Role.DESK).post(reverse("job-book"), {**ASKED, "which-chosen": bike.pk, "wishes": lines})
    assert response.status_code == 302
    job = bike.jobs.get()
    assert [wish.text for wish in job.wishes.all()] == ["Valves are due.", "Nothing happens until late."]
    assert job.brief == ASKED["job-brief"]


def test_booking_without_wishes_leaves_the_request_as_one(login) -> None:
    bike = make_bike()
    client = login(Role.DESK)
    assert client.post(reverse("job-book"), {**ASKED, "which-chosen": bike.pk}).status_code == 302
    job = bike.jobs.get()
    assert not job.wishes.exists()
    assert "answers the request as a whole" in section(client, job)
    assert wish_facts(load_results(job)) == []


def test_too_long_line_is_rejected_and_input_preserved(login) -> None:
    job = make_job()
    response = login(Role.TUNER).post(reverse("wish-add", args=[job]), {"wishes": "short\n" + "x" * 201})
    assert response.status_code == 422
    assert "Shorten this line to 200 characters" in response.content.decode()
    assert "x" * 201 in response.content.decode()
    assert not job.wishes.exists()


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC, Role.TUNER, Role.OWNER])
def test_wishes_are_added_after_those_of_the_job(login, role) -> None:
    first = make_wish(text="First")
    response = login(role).post(reverse("wish-add", args=[first.job]), {"wishes": "Second\nThird"})
    assert response.status_code == 302
    assert [wish.text for wish in first.job.wishes.all()] == ["First", "Second", "Third"]


def test_answer_with_a_record_names_the_record(login) -> None:
    wish = make_wish()
    comparison = Comparison.objects.create(job=wish.job, title="Idle and valves")
    client = login(Role.TUNER)
    assert answer(client, wish, records=[f"comparison-{comparison.pk}"]).status_code == 302
    shown = section(client, wish.job)
    assert "Comparison: Idle and valves" in shown
    assert "words" not in shown
    (fact,) = wish_facts(load_results(wish.job))
    assert [(record.printed, record.name) for record in fact.records] == [("comparisons", "Idle and valves")]


def test_answer_without_a_record_is_shown_as_the_words_of_its_author(login) -> None:
    wish = make_wish()
    client = login(Role.TUNER)
    answer(client, wish, answer="It runs better")
    assert "Toni Tuner's words, no record linked" in section(client, wish.job)
    (fact,) = wish_facts(load_results(wish.job))
    assert (fact.answered_by, fact.records) == ("Toni Tuner", [])


def test_deleted_record_leaves_the_answer_as_words(login) -> None:
    wish = make_wish()
    comparison = Comparison.objects.create(job=wish.job, title="Idle and valves")
    client = login(Role.TUNER)
    answer(client, wish, records=[f"comparison-{comparison.pk}"])
    comparison.delete()
    assert "no record linked" in section(client, wish.job)


def test_record_of_another_job_cannot_be_linked(login) -> None:
    wish = make_wish()
    other = Comparison.objects.create(job=make_job(), title="Another bike")
    response = answer(login(Role.TUNER), wish, records=[f"comparison-{other.pk}"])
    assert response.status_code == 422
    assert "is not one of the available choices" in response.content.decode()


def test_excluded_and_full_throttle_runs_are_not_offered_as_held_grip(login, staff) -> None:
    wish = make_wish()
    job = wish.job
    made = {"job": job, "made_by": staff[Role.TUNER], "status": "read", "channels": "x", "size": 1}
    Run.objects.create(**made, sha256="a", original_name="held 20", kind=Run.Kind.HELD)
    Run.objects.create(**made, sha256="b", original_name="sweep 1", kind=Run.Kind.SWEEP)
    Run.objects.create(
        **made,
        sha256="c",
        original_name="held 60",
        kind=Run.Kind.HELD,
        set_aside=True,
        set_aside_reason="slip",
    )
    page = login(Role.TUNER).get(reverse("wish-edit", args=[wish.pk])).content.decode()
    assert "held 20" in page
    assert "Sweep 1" not in page
    assert "held 60" not in page


def test_result_without_an_answer_is_rejected(login) -> None:
    wish = make_wish()
    response = answer(login(Role.TUNER), wish, answer="")
    assert response.status_code == 422
    assert "Enter the answer in one line" in response.content.decode()


def test_edit_of_a_changed_wish_shows_the_conflict_and_its_records(login, staff) -> None:
    wish = make_wish()
    tune = TuneRevision.objects.create(job=wish.job, number=1, loaded_by=staff[Role.TUNER])
    key = f"tune-{tune.pk}"
    answer(login(Role.TUNER), wish, records=[key])
    response = answer(login(Role.DESK), wish, answer="", result="open", position="2")
    page = response.content.decode()
    assert response.status_code == 422
    assert "Toni Tuner" in page
    assert response.context["form"]["records"].value() == [key]


def test_wish_is_removed_with_history(login) -> None:
    wish = make_wish()
    assert login(Role.DESK).post(reverse("wish-remove", args=[wish.pk])).status_code == 302
    assert not Wish.objects.exists()
    assert [row.history_type for row in Wish.history.all()] == ["-", "+"]


def test_position_orders_the_wishes(login) -> None:
    first, second = make_wish(text="First"), None
    second = make_wish(first.job, text="Second", position=2)
    answer(login(Role.TUNER), first, position="3", result="open", answer="")
    assert [wish.pk for wish in first.job.wishes.all()] == [second.pk, first.pk]
