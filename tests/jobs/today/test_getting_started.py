"""Onboarding of a new shop: steps are linked, and ticked when done."""

import pytest
from django.urls import reverse

from jobs.today.getting_started import onboarding_steps
from tests.factories import make_engine, make_job, make_staff
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(client, shop):
    client.force_login(make_staff(Role.OWNER), backend="workshop.people.backend.StaffBackend")
    return client


def test_new_shop_shows_onboarding_steps_to_the_owner(owner, shop) -> None:
    page = owner.get(reverse("today")).text
    ways = [
        reverse(name)
        for name in ("shop-profile", "place-list", "staff-new", "engine-new", "job-book", "backup")
    ]
    places = [page.index(f'href="{way}">', page.index("Get started")) for way in ways]
    assert places == sorted(places)
    assert [step.done for step in onboarding_steps(shop)] == [False] * 6
    for way in ways:
        assert owner.get(way).status_code == 200


def test_onboarding_step_is_ticked_when_done(owner, shop) -> None:
    shop.name = "Saltmarsh"
    shop.save()
    make_staff(Role.MECHANIC)
    make_engine()
    assert [step.done for step in onboarding_steps(shop)] == [True, False, True, True, False, False]


def test_first_job_ends_the_onboarding(owner) -> None:
    assert "Get started" in owner.get(reverse("today")).text
    make_job()
    assert "Get started" not in owner.get(reverse("today")).text


def test_other_roles_see_no_onboarding_steps(login) -> None:
    assert "Get started" not in login(Role.DESK).get(reverse("today")).text
