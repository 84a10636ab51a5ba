"""The talk-through: steps with a record only, chosen and ordered, sent, exported, published with consent."""

import io
import re
import zipfile

import pytest
from django.urls import reverse
from PIL import Image

from reports.customer import links
from reports.handover.issuing import issue_sheet
from reports.models import HandoverSheet, Publication, TalkThrough
from reports.talk_through.publishing import revoke_publications
from reports.talk_through.steps import STEPS
from tests.factories import make_job
from tests.html import by_class
from tests.reports import whole_jobs
from tests.reports.reading import pages
from workshop.models import Role

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture
def job(staff):
    return whole_jobs.make_whole_job(staff)


@pytest.fixture
def sheet(job, staff) -> HandoverSheet:
    return issue_sheet(job=job, by=staff[Role.OWNER], override_reason="x", informed_person="Ines Quill")


def shown(page: str) -> list[str]:
    return [step.get("id") for step in by_class(page, "talk-step")]


def choose(client, job, *keys: str, **data: str):
    places = {f"step_{key}": str(place) for place, key in enumerate(keys, start=1)}
    return client.post(reverse("talk-through-steps", args=[job]), {**places, **data})


def test_steps_follow_the_records_of_the_job(login, job) -> None:
    page = login(Role.MECHANIC).get(reverse("talk-through", args=[job])).text
    assert shown(page) == [key for key in STEPS if key in shown(page)]
    assert {"asked", "valves", "parts", "received", "tune", "modes", "curves", "road"} <= {*shown(page)}
    # Why each thing was changed, for the speaker.
    assert "stalls when warm" in page
    assert page.count("talk-notes") > 1


def test_job_without_records_talks_of_the_request_and_the_road_only(login) -> None:
    page = login(Role.TUNER).get(reverse("talk-through", args=[make_job()])).text
    assert {*shown(page)} <= {"asked", "road", "next"}


def test_steps_are_chosen_and_ordered_with_history(login, job) -> None:
    client = login(Role.TUNER)
    assert choose(client, job, "road", "asked").status_code == 302
    assert shown(client.get(reverse("talk-through", args=[job])).text) == ["road", "asked"]
    stored = TalkThrough.objects.get()
    assert choose(client, job, "asked", version=str(stored.version)).status_code == 302
    assert [row.steps for row in TalkThrough.history.all()] == [["asked"], ["road", "asked"]]


def test_choice_needs_a_step_and_a_place(login, job) -> None:
    assert "at least one step" in choose(login(Role.TUNER), job).text
    refused = login(Role.TUNER).post(reverse("talk-through-steps", args=[job]), {"step_asked": "first"})
    assert refused.status_code == 422
    assert 'value="first"' in refused.text


def test_second_person_is_told_of_changed_steps(login, job) -> None:
    choose(login(Role.TUNER), job, "asked")
    version = TalkThrough.objects.get().version
    choose(login(Role.TUNER), job, "road", version=str(version))
    answer = choose(login(Role.DESK), job, "valves", version=str(version))
    assert answer.status_code == 422
    assert "Toni Tuner" in answer.text


def test_mechanic_sees_but_does_not_choose(login, job) -> None:
    assert login(Role.MECHANIC).get(reverse("talk-through-steps", args=[job])).status_code == 403
    assert reverse("talk-through-steps", args=[job]) not in (
        login(Role.MECHANIC).get(reverse("talk-through", args=[job])).text
    )


def test_link_shows_the_talk_through_only_if_switched_on(client, login, sheet, staff) -> None:
    link = links.make_link(sheet=sheet, by=staff[Role.DESK])
    url, page = (reverse(name, args=[link.token]) for name in ("customer-talk-through", "customer-sheet"))
    assert client.get(url).status_code == 404
    assert url not in client.get(page).text
    switch = reverse("link-talk-through", args=[link.pk])
    assert login(Role.DESK).post(switch, {"on": "on"}).status_code == 302
    answer = client.get(url)
    assert answer.status_code == 200
    assert url in client.get(page).text
    assert "talk-notes" not in answer.text
    assert "stalls when warm" not in answer.text  # the reasons are the speaker's
    assert answer.headers["X-Robots-Tag"] == "noindex, nofollow"
    login(Role.DESK).post(switch, {})
    assert client.get(url).status_code == 404


def test_slides_are_pages_of_16_to_9_with_each_step(login, job) -> None:
    client = login(Role.TUNER)
    choose(client, job, "asked", "valves", "curves")
    answer = client.get(reverse("talk-through-pdf", args=[job]))
    printed = pages(b"".join(answer.streaming_content) if answer.streaming else answer.content)
    assert len(printed) == 3
    assert "Valves are due." in printed[0]
    archive = zipfile.ZipFile(io.BytesIO(client.get(reverse("talk-through-pictures", args=[job])).content))
    assert archive.namelist() == ["01.png", "02.png", "03.png"]
    picture = Image.open(io.BytesIO(archive.read("03.png")))
    assert picture.width == 1920
    assert picture.height == pytest.approx(1080, abs=1)
    assert len(picture.convert("L").getcolors() or []) > 20  # a chart, not an empty page


def publish(client, job, **data: str):
    given = {"consent_by": "Ines Quill", "consent_how": "writing", "consent_at": "", "agreed": "on"}
    return client.post(reverse("talk-through-publish", args=[job]), {**given, "times_right": "on", **data})


def test_publishing_needs_consent_on_record(login, sheet) -> None:
    client = login(Role.DESK)
    refused = publish(client, sheet.job, agreed="")
    assert refused.status_code == 422
    assert publish(client, sheet.job, consent_by="x").status_code == 422
    assert not Publication.objects.exists()
    assert login(Role.MECHANIC).get(reverse("talk-through-publish", args=[sheet.job])).status_code == 403


def test_job_without_a_sheet_cannot_be_published(login, job) -> None:
    answer = login(Role.DESK).get(reverse("talk-through-publish", args=[job]), follow=True)
    assert "Issue a handover sheet first." in answer.text


def test_public_talk_through_has_no_name_plate_or_vin(client, login, job, staff) -> None:
    for wish in job.wishes.all():
        wish.text = f"{wish.text} Says Quill of DEMO660, VIN XX9TERN66K0000001."
        wish.save()
    part = job.parts.first()
    part.name = "Filter for Ines, plate DEMO 660"
    part.save()
    sheet = issue_sheet(job=job, by=staff[Role.OWNER], override_reason="x", informed_person="Ines Quill")
    assert publish(login(Role.DESK), job, consent_at="2026-05-04T10:30").status_code == 302
    publication = Publication.objects.get()
    assert (publication.consent_by, publication.sheet) == ("Ines Quill", sheet)
    assert len(publication.token) >= 43
    answer = client.get(reverse("published-talk-through", args=[publication.token]))
    assert answer.status_code == 200
    assert {"asked", "valves", "parts"} <= {*shown(answer.text)}
    found = [
        word
        for word in ("Ines", "Quill", "DEMO 660", "DEMO660", "XX9TERN66K0000001", job.number, "talk-notes")
        if re.search(rf"(?<!\w){re.escape(word)}", answer.text, re.IGNORECASE)
    ]
    assert found == []
    assert answer.headers["X-Robots-Tag"] == "noindex, nofollow"


def test_withdrawn_consent_closes_the_address(client, login, sheet) -> None:
    publish(login(Role.DESK), sheet.job, consent_at="2026-05-04T10:30")
    publication = Publication.objects.get()
    url = reverse("published-talk-through", args=[publication.token])
    assert login(Role.MECHANIC).post(reverse("publication-revoke", args=[publication.pk])).status_code == 403
    assert client.get(url).status_code == 200
    assert login(Role.TUNER).post(reverse("publication-revoke", args=[publication.pk])).status_code == 302
    answer = client.get(url)
    assert answer.status_code == 410
    assert "no longer public" in answer.text
    assert "Valves are due." not in answer.text
    assert [row.revoked_at is None for row in publication.history.all()] == [False, True]
    page = login(Role.TUNER).get(reverse("talk-through-steps", args=[sheet.job])).text
    assert "Withdrawn" in page and "Ines Quill" in page


def test_erasing_the_customer_withdraws_publications(client, sheet, staff) -> None:
    publication = Publication.objects.create(
        sheet=sheet, steps=["asked"], consent_by="Ines", consent_how="phone", recorded_by=staff[Role.DESK]
    )
    revoke_publications(sheet.job.customer)
    assert client.get(reverse("published-talk-through", args=[publication.token])).status_code == 410


def test_unknown_address_of_a_talk_through_is_not_found(client, db) -> None:
    assert client.get(reverse("published-talk-through", args=["x" * 43])).status_code == 404
