"""The calendar feed: its entries, its readers and its address."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from jobs.models import CalendarAddress, Slot
from jobs.planner.calendar_feed import create_token
from tests.factories import get_workstation, make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db


def get_feed(token: str):
    return Client().get(reverse("calendar-feed", args=[token]))


def test_calendar_lists_slots_and_promised_times_in_shop_time(staff, shop) -> None:
    shop.time_zone = "Europe/Paris"
    shop.save()
    begin = (
        timezone.now().astimezone(ZoneInfo("Europe/Paris")).replace(hour=9, minute=0, second=0, microsecond=0)
    )
    begin += timedelta(days=1)
    job = make_job(brief="Valves; shims, 2 off", promised_at=begin + timedelta(days=3))
    Slot.objects.create(
        job=job, place=get_workstation("dyno"), starts_at=begin, ends_at=begin + timedelta(hours=2)
    )
    response = get_feed(create_token(staff[Role.MECHANIC]))
    assert response.headers["Content-Type"] == "text/calendar; charset=utf-8"
    calendar = Calendar.from_ical(response.content)
    slot, promise = calendar.walk("VEVENT")
    assert slot["summary"] == f"dyno: {job.bike} ({job})"
    assert slot["dtstart"].dt == begin
    assert slot["dtstart"].params["TZID"] == "Europe/Paris"
    assert slot["dtend"].dt - slot["dtstart"].dt == timedelta(hours=2)
    assert job.brief in slot["description"]
    assert promise["dtstart"].dt == job.promised_at.date()
    assert promise["dtend"].dt == job.promised_at.date() + timedelta(days=1)
    # A TZID needs its VTIMEZONE (RFC 5545, 3.2.19).
    assert [zone["tzid"] for zone in calendar.walk("VTIMEZONE")] == ["Europe/Paris"]
    assert job.customer.name not in response.content.decode()


@pytest.mark.parametrize(
    ("zone", "first_utc"),
    [
        # 02:30 occurs twice in Berlin on 31 October 2027: at 00:30 and at 01:30 UTC.
        ("Europe/Berlin", datetime(2027, 10, 31, 0, 30, tzinfo=UTC)),
        # On Lord Howe Island the clock goes back by half an hour, at 02:00 on 4 April 2027: 01:45 is shown
        # at 14:45 and at 15:15 UTC of the day before.
        ("Australia/Lord_Howe", datetime(2027, 4, 3, 14, 45, tzinfo=UTC)),
    ],
)
def test_calendar_distinguishes_the_repeated_hour(staff, shop, monkeypatch, zone: str, first_utc) -> None:
    monkeypatch.setattr("jobs.planner.calendar_feed.DAYS_AHEAD", timedelta(days=1000))
    shop.time_zone = zone
    shop.save()
    step = timedelta(minutes=30) if zone == "Australia/Lord_Howe" else timedelta(hours=1)
    begins = [first_utc - step, first_utc, first_utc + step]
    for begin in begins:
        Slot.objects.create(
            job=make_job(), place=get_workstation("dyno"), starts_at=begin, ends_at=begin + step
        )
    entries = Calendar.from_ical(get_feed(create_token(staff[Role.DESK])).content).walk("VEVENT")
    # Programs interpret a repeated local time as its first occurrence (RFC 5545, 3.3.5).
    spans = [(slot["dtstart"].dt, slot["dtend"].dt) for slot in entries]
    instants = [
        (start.replace(fold=0).astimezone(UTC), end.replace(fold=0).astimezone(UTC)) for start, end in spans
    ]
    assert instants == [(begin, begin + step) for begin in begins]


def test_moved_slot_keeps_its_entry_with_a_higher_sequence(staff) -> None:
    begin = timezone.now().replace(minute=0, second=0, microsecond=0)
    slot = Slot.objects.create(
        job=make_job(), place=get_workstation("dyno"), starts_at=begin, ends_at=begin + timedelta(hours=1)
    )
    token = create_token(staff[Role.TUNER])
    before = Calendar.from_ical(get_feed(token).content).walk("VEVENT")[0]
    slot.place = get_workstation("bench 1")
    slot.save()
    after = Calendar.from_ical(get_feed(token).content).walk("VEVENT")[0]
    assert before["uid"] == after["uid"]
    assert after["sequence"] > before["sequence"]


def test_calendar_url_is_shown_once_renewed_and_revoked(login) -> None:
    client = login(Role.TUNER)
    assert "no calendar link yet" in client.get(reverse("calendar")).text
    first = client.post(reverse("calendar-renew")).context["url"]
    assert Client().get(first).status_code == 200
    assert first not in client.get(reverse("calendar")).text
    second = client.post(reverse("calendar-renew")).context["url"]
    assert Client().get(first).status_code == 404
    assert Client().get(second).status_code == 200
    client.post(reverse("calendar-revoke"))
    assert Client().get(second).status_code == 404


def test_calendar_of_inactive_staff_returns_404(staff) -> None:
    person = staff[Role.MECHANIC]
    token = create_token(person)
    person.is_active = False
    person.save()
    assert get_feed(token).status_code == 404
    assert get_feed("guessed").status_code == 404


def test_calendar_secret_is_stored_hashed(staff) -> None:
    token = create_token(staff[Role.DESK])
    stored = CalendarAddress.objects.values().get()
    assert token not in map(str, stored.values())
    assert isinstance(stored["made_at"], datetime)
