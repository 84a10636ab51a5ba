"""Whoever did the agreed work ticks it; the history keeps who and when."""

import pytest
from django.urls import reverse

from jobs.models import WorkItem
from tests.factories import make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def item(db) -> WorkItem:
    return WorkItem.objects.create(job=make_job(), description="Set the valves", price="240")


def tick(client, item: WorkItem, tick: str = "on", version: int | None = None):
    sent = {"tick": tick, "version": item.version if version is None else version}
    return client.post(reverse("work-item-tick", args=[item.pk]), sent, follow=True)


@pytest.mark.parametrize("role", [Role.MECHANIC, Role.TUNER, Role.DESK, Role.OWNER])
def test_work_is_ticked_by_whoever_did_it_with_a_history(login, staff, item, role) -> None:
    client = login(role)
    job_page = client.get(item.job.get_absolute_url(), {"open": "all"}).text
    assert reverse("work-items", args=[item.job]) in job_page
    page = tick(client, item)
    assert 'aria-pressed="true"' in page.text
    item.refresh_from_db()
    assert (item.done, item.description, str(item.price)) == (True, "Set the valves", "240.00")
    latest = item.history.first()
    assert (latest.done, latest.history_user) == (True, staff[role])
    log = client.get(reverse("record-history", args=["jobs.workitem", item.pk])).text
    assert str(staff[role]) in log
    assert "done" in log


def test_tick_is_removed_and_repeated_without_a_trace(login, item) -> None:
    client = login(Role.MECHANIC)
    tick(client, item)
    tick(client, item)  # pressed twice on a slow line
    item.refresh_from_db()
    assert item.history.count() == 2  # made and ticked
    assert 'aria-pressed="false"' in tick(client, item, tick="off").text
    item.refresh_from_db()
    assert not item.done


def test_tick_of_work_that_was_changed_meanwhile_is_refused(login, item) -> None:
    seen = item.version
    item.description = "Set the valves and the idle"
    item.save()
    page = tick(login(Role.MECHANIC), item, version=seen).text
    assert "“Set the valves and the idle” was changed in the meantime. Check it and tick it again." in page
    item.refresh_from_db()
    assert not item.done


@pytest.mark.parametrize("version", ["", "x", "-1"])
def test_tick_without_a_version_is_refused(login, item, version) -> None:
    sent = {"tick": "on", "version": version}
    answer = login(Role.TUNER).post(reverse("work-item-tick", args=[item.pk]), sent)
    assert answer.status_code == 302
    item.refresh_from_db()
    assert not item.done


def test_ticking_requires_post_and_a_known_item(login, item) -> None:
    client = login(Role.MECHANIC)
    assert client.get(reverse("work-item-tick", args=[item.pk])).status_code == 405
    assert client.post(reverse("work-item-tick", args=[item.pk + 1])).status_code == 404


def test_list_of_work_needs_the_same_queries_for_any_number_of_items(
    login, item, django_assert_num_queries
) -> None:
    client, url = login(Role.MECHANIC), reverse("work-items", args=[item.job])
    client.get(url)
    for number in range(5):
        WorkItem.objects.create(job=item.job, description=f"More {number}")
    with django_assert_num_queries(5):  # session, person, shop, job, work
        assert client.get(url).text.count('class="btn tick"') == 6


def test_job_without_work_says_who_adds_it(login) -> None:
    url = reverse("work-items", args=[make_job()])
    assert "The service desk adds it." in login(Role.MECHANIC).get(url).text
    assert "Add agreed work" in login(Role.DESK).get(url).text
