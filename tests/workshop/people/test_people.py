"""Login, passwords, and staff with their roles."""

from datetime import UTC, datetime

import pytest
from axes.models import AccessAttempt
from django.contrib.auth.hashers import MD5PasswordHasher
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


def test_login_leads_to_requested_page(client: Client) -> None:
    make_staff(Role.TUNER)
    wanted = reverse("customer-list") + "?q=quill"
    page = client.get(reverse("customer-list"), {"q": "quill"}, follow=True)
    assert page.context["next"] == wanted
    assert log_in(client, next=wanted).headers["Location"] == wanted


def test_login_never_leads_to_another_site(client: Client) -> None:
    make_staff(Role.TUNER)
    assert log_in(client, next="https://elsewhere.example/").headers["Location"] == reverse("today")


def test_wrong_password_shows_error_and_keeps_name(client: Client) -> None:
    make_staff(Role.TUNER)
    response = log_in(client, "wrong")
    assert response.status_code == 422
    assert "Wrong username or password" in response.text
    assert 'value="tuner"' in response.text


def test_closed_login_is_refused(client: Client) -> None:
    make_staff(Role.TUNER, is_active=False)
    assert log_in(client).status_code == 422


def test_ten_wrong_passwords_lock_the_name_until_shown_time(client: Client, shop: ShopProfile) -> None:
    make_staff(Role.TUNER)
    shop.time_zone = "Asia/Kolkata"
    shop.save()
    for _ in range(10):
        response = log_in(client, "wrong")
    assert response.status_code == 429
    # 10:00 UTC plus 15 minutes is 15:45 in Kolkata, 5 h 30 min ahead.
    AccessAttempt.objects.update(attempt_time=datetime(2030, 1, 5, 10, 0, tzinfo=UTC))
    locked = log_in(client)
    assert locked.status_code == 429
    assert "15:45" in locked.text


def test_new_password_from_owner_ends_the_lock(client: Client, login, staff) -> None:
    for _ in range(10):
        log_in(client, "wrong")
    url = reverse("staff-password", args=[staff[Role.TUNER].pk])
    assert login(Role.OWNER).post(url, {"new_password1": NEW, "new_password2": NEW}).status_code == 302
    assert log_in(client, NEW).status_code == 302


def test_logout_requires_post(login) -> None:
    client = login(Role.DESK)
    assert client.get(reverse("logout")).status_code == 405
    assert client.post(reverse("logout")).headers["Location"] == reverse("login")
    assert client.get(reverse("customer-list")).status_code == 302


def test_password_change_keeps_login(login, staff) -> None:
    client = login(Role.DESK)
    values = {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW}
    form = client.get(reverse("password-change")).text
    assert "Enter the new password again." in form and "can’t" not in form and "can&#x27;t" not in form
    assert client.post(reverse("password-change"), values).status_code == 302
    assert StaffMember.objects.get(pk=staff[Role.DESK].pk).check_password(NEW)
    assert client.get(reverse("customer-list")).status_code == 200


def test_common_password_is_refused(login, staff) -> None:
    values = {"old_password": PASSWORD, "new_password1": "password12", "new_password2": "password12"}
    response = login(Role.DESK).post(reverse("password-change"), values)
    assert response.status_code == 422
    assert "too common" in response.text


def test_staff_list_shows_everyone_in_constant_queries(login, shop, staff, django_assert_num_queries) -> None:
    client = login(Role.OWNER)
    with django_assert_num_queries(5):  # session, person, shop, count, staff
        page = client.get(reverse("staff-list"))
    assert all(str(person) in page.text for person in staff.values())


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({"sort": "-username"}, ["tuner", "owner", "nora", "mechanic", "desk"]),
        ({"role": "mechanic"}, ["mechanic", "nora"]),
        ({"state": "closed"}, ["nora"]),
        ({"state": "open", "role": "mechanic"}, ["mechanic"]),
        ({"q": "quay nora"}, ["nora"]),
        ({"q": "nobody of that name"}, []),
    ],
)
def test_staff_list_is_filtered_and_sorted(login, staff, query, found) -> None:
    StaffMember.objects.create(
        username="nora", first_name="Nora", last_name="Quay", is_mechanic=True, is_active=False
    )
    page = login(Role.OWNER).get(reverse("staff-list"), query)
    assert [person.username for person in page.context["page"]] == found


def test_new_person_can_log_in(login, client: Client) -> None:
    assert login(Role.OWNER).post(reverse("staff-new"), payload()).status_code == 302
    assert log_in(client, NEW, username="nora").status_code == 302
    assert StaffMember.objects.get(username="nora").roles == {Role.MECHANIC}


def test_person_without_role_is_refused_and_input_kept(login) -> None:
    response = login(Role.OWNER).post(reverse("staff-new"), payload(is_mechanic=""))
    assert response.status_code == 422
    assert "at least one role" in response.text
    assert 'value="Nora"' in response.text
    assert not StaffMember.objects.filter(username="nora").exists()


def test_roles_are_changed(login, staff) -> None:
    response = edit(staff[Role.DESK], login(Role.OWNER), is_desk="on", is_tuner="on")
    assert response.status_code == 302
    assert StaffMember.objects.get(username="desk").roles == {Role.DESK, Role.TUNER}


@pytest.mark.parametrize("change", [{"is_desk": "on"}, {"is_owner": "on", "is_active": ""}])
def test_last_active_owner_cannot_be_removed(login, staff, change: dict[str, str]) -> None:
    make_staff(Role.OWNER, username="gone", is_active=False)
    response = edit(staff[Role.OWNER], login(Role.OWNER), **change)
    assert response.status_code == 422
    assert "only active owner" in response.text
    assert StaffMember.objects.active_owners().count() == 1


def test_owner_may_step_down_if_another_remains(login, staff) -> None:
    make_staff(Role.OWNER, username="second")
    response = edit(staff[Role.OWNER], login(Role.OWNER), is_desk="on")
    assert response.headers["Location"] == reverse("today")


def test_deactivated_person_is_logged_out_at_once(login, staff) -> None:
    tuner = login(Role.TUNER)
    edit(staff[Role.TUNER], login(Role.OWNER), is_tuner="on", is_active="")
    assert tuner.get(reverse("customer-list")).status_code == 302


def test_edit_conflict_warns_keeps_input_and_saves_on_retry(login, staff) -> None:
    client, person = login(Role.OWNER), staff[Role.TUNER]
    seen = person.history.first().pk
    edit(person, client, is_tuner="on", first_name="First")
    response = edit(person, client, is_tuner="on", first_name="Second", seen=seen)
    assert response.status_code == 422
    assert "Ola Owner has changed this person" in response.text
    assert 'value="Second"' in response.text
    again = edit(
        person, client, is_tuner="on", first_name="Second", seen=response.context["form"]["seen"].value()
    )
    assert again.status_code == 302
    assert StaffMember.objects.get(pk=person.pk).first_name == "Second"


def test_new_password_from_owner_logs_person_out(login, staff) -> None:
    tuner = login(Role.TUNER)
    url = reverse("staff-password", args=[staff[Role.TUNER].pk])
    login(Role.OWNER).post(url, {"new_password1": NEW, "new_password2": NEW})
    assert tuner.get(reverse("customer-list")).status_code == 302


def test_owner_setting_own_password_stays_logged_in(login, staff) -> None:
    client = login(Role.OWNER)
    url = reverse("staff-password", args=[staff[Role.OWNER].pk])
    client.post(url, {"new_password1": NEW, "new_password2": NEW})
    assert client.get(reverse("staff-list")).status_code == 200


@pytest.mark.parametrize("name", ["staff-edit", "staff-password"])
def test_unknown_person_returns_404(login, name: str) -> None:
    assert login(Role.OWNER).get(reverse(name, args=[999])).status_code == 404


def test_created_superuser_is_owner() -> None:
    person = StaffMember.objects.create_superuser("first", password=NEW)
    assert person.holds()
    assert StaffMember.objects.active_owners().get() == person


def test_closed_login_is_reported_only_with_right_password(client: Client) -> None:
    person = make_staff(Role.TUNER)
    person.is_active = False
    person.save()
    response = log_in(client)
    assert (response.status_code, "account is closed. Ask the shop owner" in response.text) == (422, True)
    assert "has been closed" not in log_in(client, "wrong").text
    assert client.get(reverse("today")).status_code == 302


def test_closed_login_can_use_no_old_session(login, staff) -> None:
    tuner = login(Role.TUNER)
    StaffMember.objects.filter(pk=staff[Role.TUNER].pk).update(is_active=False)
    assert tuner.get(reverse("customer-list")).status_code == 302


@pytest.fixture
def hashed(monkeypatch) -> list[str]:
    """List the passwords that are hashed: only that takes the time of a login."""
    passwords: list[str] = []
    encode = MD5PasswordHasher.encode

    def count(self, password: str, salt: str) -> str:
        passwords.append(password)
        return encode(self, password, salt)

    monkeypatch.setattr(MD5PasswordHasher, "encode", count)
    return passwords


@pytest.mark.parametrize(
    ("username", "password"),
    [("tuner", PASSWORD), ("tuner", "wrong"), ("gone", PASSWORD), ("gone", "wrong"), ("nobody", "wrong")],
)
def test_every_login_hashes_once(client: Client, hashed: list[str], username: str, password: str) -> None:
    make_staff(Role.TUNER)
    make_staff(Role.DESK, username="gone", is_active=False)
    hashed.clear()
    log_in(client, password, username=username)
    assert hashed == [password]


@pytest.mark.parametrize(
    "password",
    [
        "Summer2026!", "wInter-2025-26", "December2026", "Monday.Monday.1", "Pa55word2026", "P@ssw0rd!2026",
        "Halyard2026", "halyardengines1", "WorkshopGarage24", "desk-desk-2026", "Dana.Desk.1999",
        "20262026202620", "abcabcabcabc", "qwertyuiop12", "!!iloveyou!!",
    ],
)  # fmt: skip
def test_decorated_common_password_is_refused(password: str, login, staff, shop: ShopProfile) -> None:
    shop.name = "Halyard Engines"
    shop.save()
    values = {"old_password": PASSWORD, "new_password1": password, "new_password2": password}
    response = login(Role.DESK).post(reverse("password-change"), values)
    assert response.status_code == 422
    assert "words" in response.text or "too common" in response.text or "entirely numeric" in response.text
    assert not StaffMember.objects.get(pk=staff[Role.DESK].pk).check_password(password)


@pytest.mark.parametrize(
    "password", ["quiet paper and much ink", "summer tern copper", "Quoin!valley!82", "x7Gq-93kd-Lw0z"]
)
def test_unusual_password_passes(password: str, login, staff) -> None:
    values = {"old_password": PASSWORD, "new_password1": password, "new_password2": password}
    assert login(Role.DESK).post(reverse("password-change"), values).status_code == 302


def guess_old_password(client: Client) -> int:
    values = {"old_password": "a wrong guess", "new_password1": NEW, "new_password2": NEW}
    return client.post(reverse("password-change"), values).status_code


def test_guesses_of_the_old_password_are_throttled(login, staff) -> None:
    client = login(Role.DESK)
    assert [guess_old_password(client) for _ in range(10)] == [422] * 9 + [429]
    values = {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW}
    assert client.post(reverse("password-change"), values).status_code == 429
    assert client.get(reverse("customer-list")).status_code == 200


def test_wrong_tries_are_kept_without_passwords(login, staff, client: Client) -> None:
    guess_old_password(login(Role.DESK))
    log_in(client, "a wrong guess")
    kept = [attempt.post_data for attempt in AccessAttempt.objects.all()]
    assert len(kept) == 2
    assert not any("guess" in text or NEW in text for text in kept)
