"""The receipt: marks on the outline, and a signature on screen or paper."""

import json

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.intake.receipt import receipt_facts
from jobs.models import Job
from tests.factories import load_results, make_job
from tests.html import find
from workshop.models import Role

pytestmark = pytest.mark.django_db

MARKS = [{"x": 21.04, "y": 70, "note": "Rim scratched"}, {"x": 79, "y": 72.5, "note": " Tyre worn flat "}]
STROKES = [[[100, 50], [200, 80], [300, 40]], [[400, 100], [420, 110]]]


def receive(client, job: Job, marks: object, **more: str):
    sent = {"version": str(job.version), "condition": "Clean", "condition_marks": json.dumps(marks), **more}
    return client.post(reverse("job-receive", args=[job]), sent)


def sign(client, job: Job, **sent: str):
    code = receipt_facts(load_results(job)).code
    return client.post(reverse("job-sign", args=[job]), {"signed_by": "Ines Quill", "code": code, **sent})


def test_receipt_shows_marks_with_their_notes(login) -> None:
    job, client = make_job(), login(Role.DESK)
    assert receive(client, job, MARKS).status_code == 302
    job.refresh_from_db()
    assert job.condition_marks == [
        {"x": 21.0, "y": 70.0, "note": "Rim scratched"},
        {"x": 79.0, "y": 72.5, "note": "Tyre worn flat"},
    ]
    page = client.get(reverse("job-receipt", args=[job])).text
    assert 'data-x="21.0" data-y="70.0">1<' in page
    assert "<li>Tyre worn flat</li>" in page
    assert "2 marked on the outline" in client.get(reverse("job", args=[job]), {"open": "all"}).text


def find_sides(page: str) -> dict[str, list[str]]:
    """Return the numbers of the marks on each drawing."""
    marks = './/span[@class="outline-mark"]'
    return {
        drawing.get("data-side"): [mark.text for mark in drawing.xpath(marks)]
        for drawing in find(page, '//div[@class="outline"]')
    }


@pytest.mark.parametrize(
    ("sides", "drawn"),
    [
        ([], {"right": []}),
        (["right"], {"right": ["1"]}),
        (["left", "left"], {"left": ["1", "2"]}),
        (["left", "right", "left"], {"right": ["2"], "left": ["1", "3"]}),
    ],
)
def test_receipt_draws_the_sides_that_are_marked(login, sides: list[str], drawn) -> None:
    job, client = make_job(), login(Role.DESK)
    marks = [{"x": 20, "y": 70, "side": side, "note": "Scratch"} for side in sides]
    assert receive(client, job, marks).status_code == 302
    job.refresh_from_db()
    assert [mark["side"] for mark in job.condition_marks] == sides
    page = client.get(reverse("job-receipt", args=[job])).text
    assert find_sides(page) == drawn
    assert page.count("(left side)") == sides.count("left")


def test_mark_from_before_there_were_sides_stays_on_the_right(login) -> None:
    job = make_job(condition_marks=[{"x": 20, "y": 70, "note": "Scratch"}])
    client = login(Role.DESK)
    assert find_sides(client.get(reverse("job-receipt", args=[job])).text) == {"right": ["1"]}
    assert receive(client, job, job.condition_marks).status_code == 302
    job.refresh_from_db()
    assert job.condition_marks == [{"x": 20.0, "y": 70.0, "note": "Scratch"}]


@pytest.mark.parametrize(
    ("marks", "error"),
    [
        ([{"x": 120, "y": 5, "note": "off"}], "is outside the drawing"),
        ([{"x": 10, "y": 5, "note": " "}], "Describe each mark"),
        ([{"x": 10, "y": 5, "side": "top", "note": "a"}], "right or on the left side"),
        ([{"x": 10, "y": 5, "side": ["left"], "note": "a"}], "right or on the left side"),
        ([{"x": "left", "y": 5, "note": "a"}], "is outside the drawing"),
        (["a"], "is outside the drawing"),
        ({"x": 1}, "up to 40 damage marks"),
        ([{"x": 1, "y": 1, "note": "a"}] * 41, "up to 40 damage marks"),
    ],
)
def test_invalid_marks_are_rejected_and_other_input_preserved(login, marks, error: str) -> None:
    job = make_job()
    response = receive(login(Role.DESK), job, marks, condition="Dent in the tank")
    assert response.status_code == 422
    assert error in response.text
    assert "Dent in the tank" in response.text


def test_receipt_is_shown_for_note_with_lone_surrogate(login) -> None:
    # A script sends it as "\\ud83d", which cannot be encoded in a page.
    job, client = make_job(), login(Role.DESK)
    assert receive(client, job, [{"x": 1, "y": 2, "note": "dent \ud83d here\0"}]).status_code == 302
    job.refresh_from_db()
    assert job.condition_marks[0]["note"] == "dent ? here"
    for name in ("job-receipt", "job-receive", "job"):
        assert client.get(reverse(name, args=[job])).status_code == 200


def test_deeply_nested_marks_are_rejected(login) -> None:
    job, client = make_job(stage="received"), login(Role.DESK)
    deep = "[" * 100_000
    sent = {"version": "1", "condition": "Dent in the tank", "condition_marks": deep}
    response = client.post(reverse("job-receive", args=[job]), sent)
    assert (response.status_code, sign(client, job, signature=deep).status_code) == (422, 422)
    assert "Dent in the tank" in response.text


def test_receipt_is_signed_on_the_screen(login) -> None:
    job, client = make_job(stage="received"), login(Role.DESK)
    assert sign(client, job, signature=json.dumps(STROKES)).status_code == 302
    receipt = job.signed_receipts.get()
    assert (receipt.signature, receipt.taken_by.username) == (STROKES, "desk")
    page = client.get(reverse("job-receipt", args=[job])).text
    assert '<polyline points="100,50 200,80 300,40"' in page
    assert "Ines Quill" in page


def test_receipt_is_signed_on_paper(login) -> None:
    job, client = make_job(stage="received"), login(Role.DESK)
    assert sign(client, job, on_paper="on").status_code == 302
    assert "on paper" in client.get(reverse("job-receipt", args=[job])).text


@pytest.mark.parametrize(
    ("sent", "error"),
    [
        ({}, "Sign in the box, or tick “Signed on paper”."),
        ({"signature": '[[["a", 1], [2, 3]]]'}, "The signature could not be read."),
        ({"signature": '{"a": 1}'}, "The signature could not be read."),
        ({"signature": "[[[1, 2000], [2, 3]]]"}, "The signature could not be read."),
        ({"signature": "not json"}, "The signature could not be read."),
        ({"signed_by": "", "on_paper": "on"}, "required"),
        ({"signed_by": "x", "on_paper": "on"}, "at least two different letters"),
    ],
)
def test_invalid_signature_is_rejected(login, sent, error: str) -> None:
    job = make_job(stage="received")
    response = sign(login(Role.DESK), job, **sent)
    assert response.status_code == 422
    assert error in response.text
    assert not job.signed_receipts.exists()


def test_second_signature_does_not_replace_the_first(login) -> None:
    job, client = make_job(stage="received", received_at=timezone.now()), login(Role.DESK)
    sign(client, job, signature=json.dumps(STROKES))
    # the page was still open in another window
    assert sign(client, job, signed_by="Bo Tarn", on_paper="on").status_code == 302
    again = client.get(reverse("job-receipt", args=[job]))
    assert "Ines Quill has already signed this check-in on" in again.text
    receipt = job.signed_receipts.get()
    assert (receipt.signed_by, receipt.signature) == ("Ines Quill", STROKES)


def test_receiving_form_of_a_signed_receipt_says_that_changes_are_not_signed(login) -> None:
    job, client = make_job(stage="received", received_at=timezone.now(), keys=1), login(Role.DESK)
    sign(client, job, signature=json.dumps(STROKES))
    assert (
        "If you change it now, ask them to sign again" in client.get(reverse("job-receive", args=[job])).text
    )


def test_signing_requires_desk_role(login) -> None:
    job = make_job()
    assert sign(login(Role.MECHANIC), job, on_paper="on").status_code == 403
    assert login(Role.MECHANIC).get(reverse("job-receipt", args=[job])).status_code == 200
