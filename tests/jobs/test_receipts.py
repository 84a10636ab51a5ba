"""The receipt: marks on the outline, signed on the screen or on paper."""

import json

import pytest
from django.urls import reverse

from jobs.models import Job
from tests.factories import make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db

MARKS = [{"x": 21.04, "y": 70, "note": "Rim scratched"}, {"x": 79, "y": 72.5, "note": " Tyre worn flat "}]
STROKES = [[[100, 50], [200, 80], [300, 40]], [[400, 100], [420, 110]]]


def receive(client, job: Job, marks: object, **more: str):
    sent = {"version": "1", "condition": "Clean", "condition_marks": json.dumps(marks), **more}
    return client.post(reverse("job-receive", args=[job]), sent)


def sign(client, job: Job, **sent: str):
    return client.post(reverse("job-sign", args=[job]), {"signed_by": "Ines Quill", **sent})


def test_marks_stand_on_the_receipt_with_their_notes(login) -> None:
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
    assert "2 marked on the outline" in client.get(reverse("job", args=[job])).text


@pytest.mark.parametrize(
    ("marks", "said"),
    [
        ([{"x": 120, "y": 5, "note": "off"}], "lies outside"),
        ([{"x": 10, "y": 5, "note": " "}], "Say of each mark"),
        ([{"x": "left", "y": 5, "note": "a"}], "lies outside"),
        (["a"], "lies outside"),
        ({"x": 1}, "up to 40 marks"),
        ([{"x": 1, "y": 1, "note": "a"}] * 41, "up to 40 marks"),
    ],
)
def test_marks_that_make_no_sense_are_refused_and_the_rest_is_kept(login, marks, said: str) -> None:
    job = make_job()
    answer = receive(login(Role.DESK), job, marks, condition="Dent in the tank")
    assert answer.status_code == 422
    assert said in answer.text
    assert "Dent in the tank" in answer.text


def test_signed_on_the_screen(login) -> None:
    job, client = make_job(stage="received"), login(Role.DESK)
    assert sign(client, job, signature=json.dumps(STROKES)).status_code == 302
    job.refresh_from_db()
    assert job.signature == STROKES
    page = client.get(reverse("job-receipt", args=[job])).text
    assert '<polyline points="100,50 200,80 300,40"/>' in page
    assert "Ines Quill" in page
    assert job.signed_at is not None


def test_signed_on_paper(login) -> None:
    job, client = make_job(stage="received"), login(Role.DESK)
    assert sign(client, job, on_paper="on").status_code == 302
    assert "on paper" in client.get(reverse("job-receipt", args=[job])).text


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({}, "Sign in the field, or tick that it is signed on paper."),
        ({"signature": '[[["a", 1], [2, 3]]]'}, "This is no signature."),
        ({"signature": '{"a": 1}'}, "This is no signature."),
        ({"signature": "[[[1, 2000], [2, 3]]]"}, "This is no signature."),
        ({"signature": "not json"}, "valid JSON"),
        ({"signed_by": "", "on_paper": "on"}, "required"),
    ],
)
def test_what_is_no_signature_is_refused(login, sent, said: str) -> None:
    job = make_job(stage="received")
    answer = sign(login(Role.DESK), job, **sent)
    assert answer.status_code == 422
    assert said in answer.text
    job.refresh_from_db()
    assert job.signed_at is None


def test_only_the_desk_has_it_signed(login) -> None:
    job = make_job()
    assert sign(login(Role.MECHANIC), job, on_paper="on").status_code == 403
    assert login(Role.MECHANIC).get(reverse("job-receipt", args=[job])).status_code == 200
