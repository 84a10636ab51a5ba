"""Slots of a bike that has left, or never comes, are offered to be cancelled."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job, Slot
from tests.factories import get_workstation, make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db


def add_slot(job: Job, hours: float) -> Slot:
    starts = timezone.now() + timedelta(hours=hours)
    return Slot.objects.create(
        job=job, place=get_workstation("dyno"), starts_at=starts, ends_at=starts + timedelta(hours=1)
    )


@pytest.fixture(params=["handed_over", "cancelled"])
def closed_job(request) -> Job:
    return make_job(stage=request.param)


def cancel(client, job: Job, **sent: int):
    return client.post(reverse("slots-cancel", args=[job]), sent, follow=True)


def test_coming_slots_of_a_closed_job_are_cancelled_at_once(login, closed_job) -> None:
    past, running, coming = (add_slot(closed_job, hours) for hours in (-30, -0.5, 20))
    other = add_slot(make_job(bike=closed_job.bike), 40)
    client = login(Role.DESK)
    for name in ("job", "handover"):
        page = client.get(reverse(name, args=[closed_job])).text
        assert "2 slots of it are still planned" in page
        assert "Cancel all 2 slots" in page
        assert page.count("Cancel this slot") == 2
    answer = cancel(client, closed_job)
    assert f"2 slots of job {closed_job} cancelled." in answer.text
    assert "still planned" not in answer.text
    assert set(Slot.objects.all()) == {past, other}
    assert Slot.history.filter(history_type="-").count() == 2
    assert running.quarters.model.objects.filter(slot_id__in=[running.pk, coming.pk]).count() == 0
    assert f"Job {closed_job} has no slots left to cancel." in cancel(client, closed_job).text


def test_one_slot_is_cancelled_by_itself(login, closed_job) -> None:
    first, second = add_slot(closed_job, 20), add_slot(closed_job, 40)
    other = add_slot(make_job(bike=closed_job.bike), 60)
    answer = cancel(login(Role.OWNER), closed_job, slot=second.pk)
    assert f"1 slot of job {closed_job} cancelled." in answer.text
    assert "1 slot of it is still planned" in answer.text
    for foreign in (other.pk, 0, "x"):
        assert "no slot" in cancel(login(Role.DESK), closed_job, slot=foreign).text
    assert set(Slot.objects.all()) == {first, other}


def test_open_job_keeps_its_slots(login) -> None:
    job = make_job(stage="ready")
    slot = add_slot(job, 20)
    assert "still planned" not in login(Role.DESK).get(reverse("job", args=[job]), {"open": "all"}).text
    assert "is open, so its slots may still be needed" in cancel(login(Role.DESK), job).text
    assert Slot.objects.get() == slot


@pytest.mark.parametrize("role", [Role.MECHANIC, Role.TUNER])
def test_cancelling_requires_the_desk(login, role) -> None:
    job = make_job(stage="cancelled")
    add_slot(job, 20)
    client = login(role)
    assert client.post(reverse("slots-cancel", args=[job])).status_code == 403
    page = client.get(reverse("job", args=[job]), {"open": "all"}).text
    assert "The service desk can cancel it." in page
    assert "Cancel this slot" not in page
    assert Slot.objects.exists()
