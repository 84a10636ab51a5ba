"""Stages: who moved a job, when and why."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.job.forms import StageForm
from jobs.job.stages import move_to_stage
from jobs.models import Job, Stage, StageEntry
from tests.factories import make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db


def move(client, job: Job, **data: str):
    return client.post(reverse("job-stage", args=[job]), {"seen": job.stage, **data})


def test_mechanic_moves_a_job_to_the_bench(login, staff) -> None:
    job = make_job()
    response = move(login(Role.MECHANIC), job, stage="bench", why="tank off")
    job.refresh_from_db()
    assert response.status_code == 302
    assert job.stage == "bench"
    entry = StageEntry.objects.get()
    assert (entry.by, entry.stage, entry.why) == (staff[Role.MECHANIC], "bench", "tank off")
    assert job.received_at is not None


def test_waiting_requires_a_cause(login) -> None:
    job = make_job()
    client = login(Role.TUNER)
    refused = move(client, job, stage="waiting", why="gasket ordered")
    assert refused.status_code == 422
    assert "Choose what the job is waiting for." in refused.content.decode()
    assert "gasket ordered" in refused.content.decode()
    assert move(client, job, stage="waiting", why="gasket ordered", waiting_for="parts").status_code == 302
    page = client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    assert '<span class="word">Waiting for parts</span>' in page
    assert "Waiting: gasket ordered" in page


def test_leaving_waiting_clears_the_cause(staff) -> None:
    job = make_job()
    move_to_stage(job=job, by=staff[Role.MECHANIC], stage=Stage.WAITING, waiting_for="parts")
    move_to_stage(job=job, by=staff[Role.MECHANIC], stage=Stage.BENCH, waiting_for="parts")
    job.refresh_from_db()
    assert (job.stage, job.waiting_for) == ("bench", "")


def test_reopening_a_handed_over_job_requires_a_reason(login) -> None:
    job = make_job(stage="handed_over", handed_over_at=timezone.now())
    client = login(Role.DESK)
    refused = move(client, job, stage="bench")
    assert refused.status_code == 422
    assert "This job is handed over. Enter why you are reopening it." in refused.content.decode()
    assert move(client, job, stage="bench", why="came back with a leak").status_code == 302
    job.refresh_from_db()
    assert job.handed_over_at is None
    assert job.stage == "bench"


@pytest.mark.parametrize("stage", ["received", "handed_over", "cancelled"])
def test_move_to_the_same_stage_requires_a_reason(login, stage: str) -> None:
    # The form preselects the current stage, so pressing Move without a choice submits it.
    then = timezone.now() - timedelta(days=3)
    job = make_job(stage=stage, received_at=then, handed_over_at=then if stage == "handed_over" else None)
    refused = move(login(Role.DESK), job, stage=stage)
    assert refused.status_code == 422
    assert f"The job is already “{job.get_stage_display()}”." in refused.text
    assert not StageEntry.objects.exists()
    # A remark may be added; the time of handover does not change.
    assert move(login(Role.DESK), job, stage=stage, why="the customer called").status_code == 302
    left = job.handed_over_at
    job.refresh_from_db()
    assert job.handed_over_at == left
    assert StageEntry.objects.get().why == "the customer called"


def test_changed_cause_of_waiting_is_a_step(login) -> None:
    job = make_job(stage="waiting", waiting_for="parts")
    assert move(login(Role.DESK), job, stage="waiting", waiting_for="customer").status_code == 302
    job.refresh_from_db()
    assert job.waiting_for == "customer"


def test_waiting_job_is_checked_in_when_its_bike_arrives(login) -> None:
    job, client = make_job(), login(Role.DESK)
    move(client, job, stage="waiting", waiting_for="parts", why="gasket ordered")
    job.refresh_from_db()
    assert job.received_at is None
    assert "Check in the bike" in client.get(reverse("job", args=[job]), {"open": "all"}).text
    sent = {"version": str(job.version), "condition": "Clean", "condition_marks": "[]"}
    assert client.post(reverse("job-receive", args=[job]), sent).status_code == 302
    job.refresh_from_db()
    assert (job.stage, job.waiting_for) == ("waiting", "parts")
    assert timezone.now() - job.received_at < timedelta(minutes=5)


def test_rebooking_clears_the_check_in_time(login) -> None:
    job, client = make_job(), login(Role.DESK)
    move(client, job, stage="received")
    job.refresh_from_db()
    move(client, job, stage="booked", why="taken home again")
    job.refresh_from_db()
    assert job.received_at is None


def test_cancelling_requires_a_reason(login) -> None:
    job = make_job()
    assert move(login(Role.DESK), job, stage="cancelled").status_code == 422
    with pytest.raises(ValueError, match="Enter why the job is cancelled"):
        move_to_stage(job=job, by=job.customer, stage=Stage.CANCELLED)


def test_stage_conflict_names_other_user_and_allows_retry(login, staff) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    move_to_stage(job=Job.objects.get(), by=staff[Role.DESK], stage=Stage.WAITING, waiting_for="customer")
    refused = move(client, job, stage="bench", why="started")
    page = refused.content.decode()
    assert refused.status_code == 422
    assert (
        "Dana Desk has moved this job to “waiting” in the meantime. Submit again if your step still applies."
        in page
    )
    assert "started" in page
    assert 'name="seen" value="waiting"' in page
    job.refresh_from_db()
    assert move(client, job, stage="bench", why="started").status_code == 302


def test_simultaneous_save_is_reported_and_nothing_is_lost(login, monkeypatch) -> None:
    job = make_job()
    valid = StageForm.is_valid

    def saved_by_another_meanwhile(form: StageForm) -> bool:
        Job.objects.get().save()
        return valid(form)

    monkeypatch.setattr(StageForm, "is_valid", saved_by_another_meanwhile)
    refused = move(login(Role.MECHANIC), job, stage="bench", why="tank off")
    page = refused.content.decode()
    assert refused.status_code == 422
    assert "Someone else saved this job at the same time." in page
    assert "tank off" in page
    assert not StageEntry.objects.exists()


def test_timeline_shows_the_stages(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    move(client, job, stage="bench", why="tank off")
    assert (
        "On the bench, Mika Mechanic: tank off"
        in client.get(reverse("timeline", args=[job])).content.decode()
    )


def test_repeated_submission_is_one_step(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    key = str(uuid.uuid4())
    move(client, job, stage="bench", form_key=key)
    move(client, job, stage="bench", form_key=key)
    assert StageEntry.objects.count() == 1


def test_stage_requires_login_post_and_known_values(client, login) -> None:
    job = make_job()
    url = reverse("job-stage", args=[job])
    assert client.post(url).status_code == 302
    assert login(Role.DESK).get(url).status_code == 405
    assert login(Role.DESK).post(reverse("job-stage", args=["2026-999"])).status_code == 404
    unknown = move(login(Role.DESK), job, stage="lost")
    assert unknown.status_code == 422
