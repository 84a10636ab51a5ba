"""Calls, messages and notes of a job."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.contacts.add import add_contact
from jobs.models import ContactEntry
from jobs.timeline.events import timeline
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import to_json
from tests.factories import load_results, make_job
from tests.html import read_values
from workshop.models import Role

pytestmark = pytest.mark.django_db

Kind, Direction = ContactEntry.Kind, ContactEntry.Direction


def send(client, job, **data: str):
    filled = {"text": "Collects at 17:00.", "kind": "call", "direction": "in", **data}
    filled.setdefault("said_at", f"{timezone.localtime():%Y-%m-%dT%H:%M}")
    return client.post(reverse("contact-add", args=[job]), filled)


def test_call_is_on_the_timeline_with_its_text_and_person(login) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    assert send(client, job).status_code == 302
    entry = job.contacts.get()
    assert (entry.kind, entry.direction, entry.by.username) == ("call", "in", "mechanic")
    page = client.get(reverse("timeline", args=[job])).content.decode()
    assert "Call from the customer, Mika Mechanic: Collects at 17:00." in page


def test_note_needs_no_direction_and_a_call_does(login) -> None:
    job, client = make_job(), login(Role.DESK)
    refused = send(client, job, direction="")
    assert refused.status_code == 422
    assert "Choose who called or wrote." in refused.text
    assert send(client, job, kind="note", direction="in").status_code == 302
    assert job.contacts.get().direction == ""


def test_entry_in_the_future_is_asked_about(login) -> None:
    job = make_job()
    tomorrow = timezone.localtime() + timedelta(days=1)
    refused = send(login(Role.DESK), job, said_at=f"{tomorrow:%Y-%m-%dT%H:%M}")
    assert refused.status_code == 422
    assert not job.contacts.exists()


def test_entry_sent_twice_is_stored_once(login) -> None:
    job, client = make_job(), login(Role.DESK)
    key = read_values(client.get(reverse("contact-add", args=[job])).text, "form_key")[0]
    assert [send(client, job, form_key=key).status_code for _ in range(2)] == [302, 302]
    assert job.contacts.count() == 1


def test_two_people_editing_an_entry_are_told(login, staff) -> None:
    entry = add_contact(make_job(), Kind.NOTE, "Quiet bike", by=staff[Role.DESK])
    url, version = reverse("contact-edit", args=[entry.pk]), entry.version
    data = {"kind": "note", "said_at": f"{timezone.localtime():%Y-%m-%dT%H:%M}", "version": version}
    assert login(Role.OWNER).post(url, {**data, "text": "From the owner"}).status_code == 302
    refused = login(Role.DESK).post(url, {**data, "text": "From the desk"})
    assert refused.status_code == 422
    assert "Ola Owner" in refused.text


def test_customers_own_words_cannot_be_edited_and_may_be_deleted(login) -> None:
    entry = add_contact(make_job(), Kind.MESSAGE, "Does it pull better now?")
    client = login(Role.DESK)
    assert client.get(reverse("contact-edit", args=[entry.pk])).status_code == 404
    assert client.post(reverse("contact-remove", args=[entry.pk])).status_code == 302
    assert not ContactEntry.objects.exists()
    assert ContactEntry.history.filter(history_type="-").get().text == "Does it pull better now?"


def test_contacts_change_neither_bike_nor_sheet(staff) -> None:
    job = make_job()
    issued = {"issue_number": 1, "issued_by": staff[Role.OWNER], "at": timezone.now()}
    before = to_json(make_snapshot(load_results(job), **issued))
    add_contact(job, Kind.CALL, "Wants the old settings noted.", direction=Direction.OUT, by=staff[Role.DESK])
    results = load_results(job)
    assert not any(event.changes_bike for event in results.get(timeline))
    assert to_json(make_snapshot(results, **issued)) == before
