"""The last stage: only by a handover, with names, and with open points by the owner alone."""

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from jobs.handing_over.hand_over import hand_over
from jobs.job.stages import BY_HANDOVER_ONLY, move_to_stage
from jobs.models import Handover, Job, Stage, StageEntry
from tests.factories import make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db

NOT_DUE, TOLD, NOT_TOLD = Handover.Informed.NOT_DUE, Handover.Informed.TOLD, Handover.Informed.NOT_TOLD


@pytest.mark.parametrize("stage", [stage for stage in Stage if stage != Stage.HANDED_OVER])
def test_stage_form_does_not_lead_to_the_last_stage(login, stage: Stage) -> None:
    waiting_for = "parts" if stage == Stage.WAITING else ""
    job, client = make_job(stage=stage, waiting_for=waiting_for), login(Role.OWNER)
    assert 'value="handed_over"' not in client.get(reverse("job", args=[job]), {"open": "all"}).text
    refused = client.post(
        reverse("job-stage", args=[job]), {"seen": stage, "stage": "handed_over", "why": "he is in a hurry"}
    )
    assert refused.status_code == 422
    assert BY_HANDOVER_ONLY in refused.text
    assert "he is in a hurry" in refused.text
    assert not StageEntry.objects.exists()
    with pytest.raises(ValueError, match="Hand over the bike on the handover page"):
        move_to_stage(job=job, by=refused.wsgi_request.user, stage=Stage.HANDED_OVER)


def test_handover_stores_people_time_and_stage(staff) -> None:
    job = make_job(stage="ready")
    handover = hand_over(
        job=job, by=staff[Role.DESK], handed_to="Bo Tarn", informed=TOLD, informed_person="Ines Quill"
    )
    job.refresh_from_db()
    assert (job.stage, job.handed_over_at) == ("handed_over", handover.at)
    assert (handover.handed_to, handover.informed_person, handover.by) == (
        "Bo Tarn",
        "Ines Quill",
        staff[Role.DESK],
    )
    assert StageEntry.objects.get().why == "to Bo Tarn"
    assert handover.history.get().history_type == "+"


def test_open_points_need_the_owner_and_a_reason_and_are_stored_by_name(staff) -> None:
    job, points = make_job(stage="ready"), ["Checks before handover: 2 of 7 not ticked.", "No sheet."]
    given = {"job": job, "handed_to": "Ines Quill", "informed": NOT_TOLD, "open_points": points}
    for by, reason in ((Role.DESK, "in a hurry"), (Role.OWNER, ""), (Role.OWNER, "  ")):
        with pytest.raises(ValueError, match="Only the owner can override them, with a reason"):
            hand_over(by=staff[by], override_reason=reason, **given)
    assert not Handover.objects.exists()
    stored = hand_over(by=staff[Role.OWNER], override_reason="Race on Sunday", **given)
    assert (stored.open_points, stored.override_reason) == (points, "Race on Sunday")
    history = Handover.history.get()
    assert (history.open_points, history.override_reason, history.by) == (
        points,
        "Race on Sunday",
        staff[Role.OWNER],
    )


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"handed_to": "x"}, "the person who receives the bike"),
        ({"informed": TOLD, "informed_person": "?"}, "the person who was told"),
    ],
)
def test_handover_needs_names_of_people(staff, given, sentence) -> None:
    values = {"handed_to": "Ines Quill", "informed": NOT_DUE, **given}
    with pytest.raises(ValueError, match=sentence):
        hand_over(job=make_job(stage="ready"), by=staff[Role.DESK], **values)
    assert Job.objects.get().stage == "ready"


@pytest.mark.parametrize("stage", ["handed_over", "cancelled"])
def test_closed_job_is_not_handed_over(staff, stage: str) -> None:
    with pytest.raises(ValueError, match="already"):
        hand_over(job=make_job(stage=stage), by=staff[Role.OWNER], handed_to="Ines Quill", informed=NOT_DUE)
    assert not Handover.objects.exists()


def test_database_refuses_a_told_person_who_was_not_told(staff) -> None:
    job = make_job()
    for values in ({"informed": "not_told", "informed_person": "Ines Quill"}, {"handed_to": ""}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Handover.objects.create(
                **{
                    "job": job,
                    "by": staff[Role.DESK],
                    "handed_to": "Bo Tarn",
                    "informed": "not_due",
                    **values,
                }
            )


def test_reopened_job_keeps_its_handover(login, staff) -> None:
    job = make_job(stage="ready")
    hand_over(job=job, by=staff[Role.DESK], handed_to="Ines Quill", informed=NOT_DUE)
    job.refresh_from_db()
    sent = {"seen": "handed_over", "stage": "bench", "why": "came back with a leak"}
    assert login(Role.DESK).post(reverse("job-stage", args=[job]), sent).status_code == 302
    page = login(Role.DESK).get(reverse("job", args=[job]), {"open": "all"}).text
    assert "to Ines Quill by Dana Desk" in page
