"""Times far away or on a closed day are asked about in every form, and saved once they are confirmed."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.models import BikeChange, Job, Part, ShutDays, Slot, SuspensionSetting
from tests.factories import get_part_kind, get_workstation, make_bike, make_job
from tests.product_forms import product_forms
from workshop.models import Role
from workshop.records.fields import PlausibleDateField, ShopDateTimeField
from workshop.records.times import QuestionedTimesMixin

pytestmark = pytest.mark.django_db

SLOT_FORMS = {"SlotForm", "NewSlotForm"}  # these ask in their own words, tests/jobs/planner/test_slots.py
# These refuse a time in the future or before the bike was received, tests/jobs/checklists.
REFUSING_FORMS = {"CheckForm", "DynoSessionForm"}
WORK = {"work-TOTAL_FORMS": "4", "work-INITIAL_FORMS": "0"}


def typed(when: datetime) -> str:
    return f"{timezone.localtime(when):%Y-%m-%dT%H:%M}"


def next_weekday(weekday: int, hour: int = 9) -> datetime:
    """Return a time on the first such weekday after the next seven days."""
    day = timezone.localtime() + timedelta(days=7)
    day += timedelta(days=(weekday - day.weekday()) % 7)
    return day.replace(hour=hour, minute=0, second=0, microsecond=0)


MONDAY, SUNDAY = 0, 6


def test_every_time_that_a_person_types_is_asked_about() -> None:
    missing = [
        f"{form.__name__}.{name}"
        for form in product_forms()
        for name, field in getattr(form, "base_fields", {}).items()
        if isinstance(field, PlausibleDateField | ShopDateTimeField)
        and form.__name__ not in SLOT_FORMS | REFUSING_FORMS
        and not (issubclass(form, QuestionedTimesMixin) and name in (*form.PLANNED, *form.RECORDED))
    ]
    assert missing == []


@pytest.fixture
def desk(login: Any) -> Any:
    return login(Role.DESK)


def book(desk: Any, **fields: str) -> Any:
    bike = make_bike()
    sent = {"which-chosen": str(bike.pk), "job-brief": "Valves", "job-intended_use": "road", **WORK, **fields}
    return desk.post(reverse("job-book"), sent)


@pytest.mark.parametrize("name", ["booked_for", "promised_at"])
def test_closed_weekday_is_asked_about_and_saved_when_confirmed(desk: Any, name: str) -> None:
    sunday = next_weekday(SUNDAY)
    asked = book(desk, **{f"job-{name}": typed(sunday)})
    assert asked.status_code == 422
    sentence = f"The shop is closed on {sunday:%A %-d %B}: closed on Sundays. If it is correct, tick the box."
    assert sentence in asked.text
    assert f'value="{typed(sunday)}"' in asked.text
    assert "This time is correct" in asked.text
    assert not Job.objects.exists()
    assert book(desk, **{f"job-{name}": typed(sunday), "job-times_right": "on"}).status_code == 302
    assert getattr(Job.objects.get(), name) == sunday


def test_day_shut_is_asked_about(desk: Any) -> None:
    monday = next_weekday(MONDAY)
    ShutDays.objects.create(first=monday.date(), last=monday.date(), reason="Trade fair")
    assert "Trade fair. If it is correct" in book(desk, **{"job-booked_for": typed(monday)}).text


def test_time_outside_the_opening_hours_is_asked_about(desk: Any) -> None:
    monday = next_weekday(MONDAY, hour=21)
    asked = book(desk, **{"job-promised_at": typed(monday)}).text
    assert f"This is outside opening hours on {monday:%A %-d %B} (08:00 to 18:00)." in asked


@pytest.mark.parametrize(
    ("days", "sentence"),
    [(-400, "is in the past."), (-2, "is in the past."), (500, "is more than a year away.")],
)
def test_promise_a_year_off_is_asked_about(desk: Any, days: int, sentence: str) -> None:
    assert sentence in book(desk, **{"job-promised_at": typed(timezone.now() + timedelta(days=days))}).text
    assert not Job.objects.exists()


def test_ordinary_times_are_not_asked_about(desk: Any) -> None:
    monday = next_weekday(MONDAY)
    times = {"job-booked_for": typed(monday), "job-promised_at": typed(monday + timedelta(hours=8))}
    assert book(desk, **times).status_code == 302


def test_stored_time_is_not_asked_about_again(desk: Any) -> None:
    job = make_job(booked_for=datetime(2020, 3, 1, 9, 0, 20, tzinfo=UTC))
    sent = {"brief": "Valves", "intended_use": "road", "booked_for": "2020-03-01T09:00", "version": "1"}
    assert desk.post(reverse("job-edit", args=[job]), sent).status_code == 302
    job.refresh_from_db()
    assert job.booked_for.second == 20  # the form shows minutes only
    moved = {**sent, "booked_for": "2020-03-01T10:00", "version": "2"}
    assert "Sunday 1 March 2020 is in the past." in desk.post(reverse("job-edit", args=[job]), moved).text


RECORDS = [
    ("bike-change-add", Role.MECHANIC, "at", {"kind": "gearing", "description": "15/45"}, BikeChange),
    ("part-add", Role.MECHANIC, "fitted_at", {"kind": "brakes", "name": "Pads", "quantity": "1"}, Part),
]


@pytest.mark.parametrize(("url_name", "role", "name", "fields", "model"), RECORDS)
@pytest.mark.parametrize(
    ("days", "sentence"), [(-4000, "is more than a year ago."), (3, "is in the future.")]
)
def test_recorded_time_far_off_is_asked_about(
    login: Any, url_name: str, role: Role, name: str, fields: Any, model: Any, days: int, sentence: str
) -> None:
    client, url = login(role), reverse(url_name, args=[make_job()])
    kind = get_part_kind(fields["kind"]).pk
    sent = {**fields, "kind": kind, name: typed(timezone.now() + timedelta(days=days))}
    asked = client.post(url, sent)
    assert (asked.status_code, model.objects.count()) == (422, 0)
    assert sentence in asked.text
    assert client.post(url, {**sent, "times_right": "on"}).status_code == 302
    assert model.objects.count() == 1


def test_suspension_read_in_the_future_is_asked_about(login: Any) -> None:
    url = reverse("suspension-new", args=[make_job(), "as_found"])
    sent = {"front_preload": "5", "set_at": typed(timezone.now() + timedelta(days=3))}
    assert "is in the future." in login(Role.MECHANIC).post(url, sent).text
    assert not SuspensionSetting.objects.exists()


def test_day_shut_in_the_past_is_asked_about(login: Any) -> None:
    sent = {"first": "2020-03-02", "last": "", "reason": "Fair"}
    owner = login(Role.OWNER)
    assert "Monday 2 March 2020 is in the past." in owner.post(reverse("shut-days-list"), sent).text
    assert owner.post(reverse("shut-days-list"), {**sent, "times_right": "on"}).status_code == 302


# A slot reserved with the booking


def reserve(desk: Any, drop_off: datetime | None, hours: str = "2", **fields: str) -> Any:
    given = {"job-booked_for": typed(drop_off)} if drop_off else {}
    place = str(get_workstation("bench 1").pk)
    return book(desk, **given, **{"slot-place": place, "slot-hours": hours}, **fields)


def test_booking_reserves_its_slot_at_the_drop_off(desk: Any) -> None:
    monday = next_weekday(MONDAY)
    assert reserve(desk, monday, "1,5").status_code == 302
    slot = Slot.objects.get()
    assert (slot.job, slot.place.name) == (Job.objects.get(), "bench 1")
    assert (slot.starts_at, slot.ends_at) == (monday, monday + timedelta(minutes=90))


def test_taken_workstation_is_told_as_slots_tell_it_and_nothing_is_saved(desk: Any) -> None:
    monday, other = next_weekday(MONDAY), make_job()
    Slot.objects.create(
        job=other, place=get_workstation("bench 1"), starts_at=monday, ends_at=monday + timedelta(hours=1)
    )
    refused = reserve(desk, monday)
    assert refused.status_code == 422
    assert f"Bench 1 is booked for job {other} from 09:00 to 10:00 that day." in refused.text
    assert Job.objects.count() == 1


@pytest.mark.parametrize(
    ("hour", "minute", "hours", "sentence"),
    [
        (9, 10, "2", "Start on a quarter hour, for example 09:15."),
        (9, 0, "1.1", "Enter the length in quarter hours, for example 1.75."),
        (17, 0, "2", "This is outside opening hours on Monday"),
    ],
)
def test_slot_of_a_booking_keeps_the_rules_of_slots(
    desk: Any, hour: int, minute: int, hours: str, sentence: str
) -> None:
    refused = reserve(desk, next_weekday(MONDAY, hour).replace(minute=minute), hours)
    assert refused.status_code == 422
    assert sentence in refused.text
    assert not Job.objects.exists()


def test_slot_past_closing_time_is_reserved_when_confirmed(desk: Any) -> None:
    confirmed = {"job-times_right": "on"}
    assert reserve(desk, next_weekday(MONDAY, hour=17), "2", **confirmed).status_code == 302
    assert Slot.objects.count() == 1


def test_slot_without_a_drop_off_asks_for_its_time(desk: Any) -> None:
    assert "The bench 1 is reserved from the drop-off time. Enter that time." in reserve(desk, None).text
