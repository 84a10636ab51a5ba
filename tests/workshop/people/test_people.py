"""Logging in and out, the staff and their roles."""

from datetime import UTC, datetime

import pytest
from axes.models import AccessAttempt
from django.test import Client
from django.urls import reverse

from tests.factories import make_staff
from workshop.models import Role, ShopProfile, StaffMember

pytestmark = pytest.mark.django_db
PASSWORD = "a long enough pass phrase"
NEW = "quiet paper and much ink"


def payload(**kwargs: object) -> dict[str, object]:
    values = {"username": "nora", "first_name": "Nora", "last_name": "New", "is_mechanic": "on"}
    return {**values, "password1": NEW, "password2": NEW, **kwargs}


def edit(person: StaffMember, client: Client, **kwargs: object):
    url = reverse("staff-edit", args=[person.pk])
    seen = person.history.first().pk
    values = {"username": person.username, "first_name": person.first_name, "seen": seen, "is_active": "on"}
    return client.post(url, {**values, **kwargs})


def log_in(client: Client, password: str = PASSWORD, **kwargs: str):
    return client.post(reverse("login"), {"username": "tuner", "password": password, **kwargs})


def test_log_in_leads_to_where_one_was_going(client: Client) -> None:
    make_staff(Role.TUNER)
    wanted = reverse("customer-list") + "?q=quill"
    page = client.get(reverse("customer-list"), {"q": "quill"}, follow=True)
    assert page.context["next"] == wanted
    assert log_in(client, next=wanted).headers["Location"] == wanted


def test_log_in_leads_nowhere_outside(client: Client) -> None:
    make_staff(Role.TUNER)
    assert log_in(client, next="https://elsewhere.example/").headers["Location"] == reverse("today")


def test_wrong_password_is_said_and_the_name_kept(client: Client) -> None:
    make_staff(Role.TUNER)
    answer = log_in(client, "wrong")
    assert answer.status_code == 422
    assert "don&#x27;t belong together" in answer.text
    assert 'value="tuner"' in answer.text


def test_closed_log_in_does_not_open(client: Client) -> None:
    make_staff(Role.TUNER, is_active=False)
    assert log_in(client).status_code == 422


def test_too_many_wrong_tries_lock_the_name_and_say_until_when(client: Client, shop: ShopProfile) -> None:
    make_staff(Role.TUNER)
    shop.time_zone = "Asia/Kolkata"
    shop.save()
    for _ in range(10):
        answer = log_in(client, "wrong")
    assert answer.status_code == 429
    # 10:00 UTC and a quarter of an hour are 15:45 in Kolkata, five and a half hours ahead.
    AccessAttempt.objects.update(attempt_time=datetime(2030, 1, 5, 10, 0, tzinfo=UTC))
    locked = log_in(client)
    assert locked.status_code == 429
    assert "15:45" in locked.text


def test_new_password_from_the_owner_ends_the_lock(client: Client, login, staff) -> None:
    for _ in range(10):
        log_in(client, "wrong")
    url = reverse("staff-password", args=[staff[Role.TUNER].pk])
    assert login(Role.OWNER).post(url, {"new_password1": NEW, "new_password2": NEW}).status_code == 302
    assert log_in(client, NEW).status_code == 302


def test_log_out_needs_a_post(login) -> None:
    client = login(Role.DESK)
    assert client.get(reverse("logout")).status_code == 405
    assert client.post(reverse("logout")).headers["Location"] == reverse("login")
    assert client.get(reverse("customer-list")).status_code == 302


def test_password_is_changed_and_one_stays_logged_in(login, staff) -> None:
    client = login(Role.DESK)
    values = {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW}
    assert client.post(reverse("password-change"), values).status_code == 302
    assert StaffMember.objects.get(pk=staff[Role.DESK].pk).check_password(NEW)
    assert client.get(reverse("customer-list")).status_code == 200


def test_password_that_is_easily_guessed_is_refused(login, staff) -> None:
    values = {"old_password": PASSWORD, "new_password1": "password12", "new_password2": "password12"}
    answer = login(Role.DESK).post(reverse("password-change"), values)
    assert answer.status_code == 422
    assert "too common" in answer.text


def test_owner_sees_everybody_with_their_roles(login, shop, staff, django_assert_num_queries) -> None:
    client = login(Role.OWNER)
    # person, shop, staff
    with django_assert_num_queries(3):
        page = client.get(reverse("staff-list"))
    assert all(str(person) in page.text for person in staff.values())


def test_new_person_can_log_in(login, client: Client) -> None:
    assert login(Role.OWNER).post(reverse("staff-new"), payload()).status_code == 302
    assert log_in(client, NEW, username="nora").status_code == 302
    assert StaffMember.objects.get(username="nora").roles == {Role.MECHANIC}


def test_person_without_a_role_is_refused_and_what_was_typed_kept(login) -> None:
    answer = login(Role.OWNER).post(reverse("staff-new"), payload(is_mechanic=""))
    assert answer.status_code == 422
    assert "at least one role" in answer.text
    assert 'value="Nora"' in answer.text
    assert not StaffMember.objects.filter(username="nora").exists()


def test_roles_are_changed(login, staff) -> None:
    answer = edit(staff[Role.DESK], login(Role.OWNER), is_desk="on", is_tuner="on")
    assert answer.status_code == 302
    assert StaffMember.objects.get(username="desk").roles == {Role.DESK, Role.TUNER}


@pytest.mark.parametrize("taken_away", [{"is_desk": "on"}, {"is_owner": "on", "is_active": ""}])
def test_last_active_owner_stays(login, staff, taken_away: dict[str, str]) -> None:
    make_staff(Role.OWNER, username="gone", is_active=False)
    answer = edit(staff[Role.OWNER], login(Role.OWNER), **taken_away)
    assert answer.status_code == 422
    assert "only active owner" in answer.text
    assert StaffMember.objects.active_owners().count() == 1


def test_owner_steps_down_where_another_is_there(login, staff) -> None:
    make_staff(Role.OWNER, username="second")
    answer = edit(staff[Role.OWNER], login(Role.OWNER), is_desk="on")
    assert answer.headers["Location"] == reverse("today")


def test_deactivated_person_is_out_at_once(login, staff) -> None:
    tuner = login(Role.TUNER)
    edit(staff[Role.TUNER], login(Role.OWNER), is_tuner="on", is_active="")
    assert tuner.get(reverse("customer-list")).status_code == 302


def test_second_of_two_who_change_a_person_is_warned_and_keeps_its_typing(login, staff) -> None:
    client, person = login(Role.OWNER), staff[Role.TUNER]
    seen = person.history.first().pk
    edit(person, client, is_tuner="on", first_name="First")
    answer = edit(person, client, is_tuner="on", first_name="Second", seen=seen)
    assert answer.status_code == 422
    assert "Ola Owner changed this person meanwhile" in answer.text
    assert 'value="Second"' in answer.text
    again = edit(
        person, client, is_tuner="on", first_name="Second", seen=answer.context["form"]["seen"].value()
    )
    assert again.status_code == 302
    assert StaffMember.objects.get(pk=person.pk).first_name == "Second"


def test_new_password_logs_the_person_out_elsewhere(login, staff) -> None:
    tuner = login(Role.TUNER)
    url = reverse("staff-password", args=[staff[Role.TUNER].pk])
    login(Role.OWNER).post(url, {"new_password1": NEW, "new_password2": NEW})
    assert tuner.get(reverse("customer-list")).status_code == 302


def test_owner_who_sets_an_own_new_password_stays_logged_in(login, staff) -> None:
    client = login(Role.OWNER)
    url = reverse("staff-password", args=[staff[Role.OWNER].pk])
    client.post(url, {"new_password1": NEW, "new_password2": NEW})
    assert client.get(reverse("staff-list")).status_code == 200


@pytest.mark.parametrize("name", ["staff-edit", "staff-password"])
def test_unknown_person_is_not_found(login, name: str) -> None:
    assert login(Role.OWNER).get(reverse(name, args=[999])).status_code == 404


def test_first_superuser_owns_the_shop() -> None:
    person = StaffMember.objects.create_superuser("first", password=NEW)
    assert person.holds()
    assert StaffMember.objects.active_owners().get() == person


def test_a_closed_log_in_is_told_only_to_whoever_knows_its_password(client: Client) -> None:
    person = make_staff(Role.TUNER)
    person.is_active = False
    person.save()
    answer = log_in(client)
    assert (answer.status_code, "has been closed. The owner" in answer.text) == (422, True)
    assert "has been closed" not in log_in(client, "wrong").text
    assert client.get(reverse("today")).status_code == 302
