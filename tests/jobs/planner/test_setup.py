"""Workstations, opening hours and closed days, and their effect on the schedule."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from jobs.models import ShutDays, Slot, WorkPlace
from jobs.planner.calendar_feed import create_token
from jobs.planner.opening_hours import load_opening_hours
from tests.factories import get_workstation, make_job
from workshop.models import Role, ShopProfile

pytestmark = pytest.mark.django_db

UTC = ZoneInfo("UTC")
FRIDAY = date(2026, 6, 12)


def next_weekday(weekday: int, after: int = 1) -> date:
    """Return the next such weekday, at least a number of days from now."""
    day = timezone.localdate() + timedelta(days=after)
    return day + timedelta(days=(weekday - day.weekday()) % 7)


def at(day: date, hour: int) -> datetime:
    return datetime.combine(day, time(), UTC) + timedelta(hours=hour)


def book(name: str, day: date, hour: int = 9) -> Slot:
    return Slot.objects.create(
        job=make_job(), place=get_workstation(name), starts_at=at(day, hour), ends_at=at(day, hour + 2)
    )


def hours(**changes: str) -> dict[str, str]:
    """Return form data of opening hours: Monday to Friday, 08:00 to 18:00."""
    sent = {f"{end}_{day}": "" for end in ("opens", "shuts") for day in range(7)}
    sent |= {f"opens_{day}": "08:00" for day in range(5)} | {f"shuts_{day}": "18:00" for day in range(5)}
    return {**sent, **changes}


def today(client: Client, **query: str) -> str:
    return " ".join(client.get(reverse("today"), query).text.split())


def test_schedule_has_workstations_in_the_order_of_the_owner(login) -> None:
    make_job()
    owner = login(Role.OWNER)
    new = {"name": "ramp outside", "kind": "bench", "order": "5"}
    assert owner.post(reverse("place-list"), new).status_code == 302
    bench = get_workstation("bench 1")
    edit = reverse("place-edit", args=[bench.pk])
    changed = {"version": bench.version, "name": "lift by the door", "kind": "bench", "order": "40"}
    assert owner.post(edit, changed).status_code == 302
    plan = owner.get(reverse("today")).context["plan"]
    assert [lane.place.name for lane in plan.lanes] == ["ramp outside", "dyno", "bench 2", "lift by the door"]


def test_workstation_without_unique_name_is_rejected(login) -> None:
    owner = login(Role.OWNER)
    for name, error in (
        ("", "This field is required."),
        ("dyno", "A workstation with this name already exists."),
    ):
        response = owner.post(reverse("place-list"), {"name": name, "kind": "bench", "order": "7"})
        assert response.status_code == 422
        assert error in response.text
        assert 'value="7"' in response.text
    assert WorkPlace.objects.count() == 3


def test_only_a_workstation_without_slots_can_be_removed(login) -> None:
    slot = book("bench 1", next_weekday(0))
    owner = login(Role.OWNER)
    assert "Remove this workstation" not in owner.get(reverse("place-edit", args=[slot.place_id])).text
    page = owner.post(reverse("place-remove", args=[slot.place_id]), follow=True).text
    assert "“bench 1” has slots and cannot be removed." in page
    assert Slot.objects.filter(pk=slot.pk).exists()
    owner.post(reverse("place-remove", args=[get_workstation("bench 2").pk]))
    assert list(WorkPlace.objects.values_list("name", flat=True)) == ["dyno", "bench 1"]


def test_archived_workstation_keeps_slots_and_is_not_offered(login) -> None:
    slot = book(
        "bench 1", load_opening_hours(ShopProfile.current()).working_days_from(timezone.localdate())[1]
    )
    WorkPlace.objects.filter(name__startswith="bench").update(retired=True)
    client = login(Role.DESK)
    plan = client.get(reverse("today")).context["plan"]
    assert [lane.place.name for lane in plan.lanes] == ["dyno", "bench 1"]
    new, edit = (client.get(url).text for url in (reverse("slot-new"), reverse("slot-edit", args=[slot.pk])))
    assert ("bench 1" in new, "bench 1" in edit, "bench 2" in edit) == (False, True, False)


def test_schedule_without_workstations_links_to_adding_one(login) -> None:
    make_job()
    WorkPlace.objects.update(retired=True)
    assert f'href="{reverse("place-list")}"' in today(login(Role.OWNER))
    assert "The owner can add them" in today(login(Role.DESK))


def test_saturday_with_opening_hours_is_scheduled(login) -> None:
    make_job()
    owner = login(Role.OWNER)
    url = reverse("working-hours")
    assert owner.post(url, hours(opens_5="09:00", shuts_5="13:00", opens_0="", shuts_0="")).status_code == 302
    days = load_opening_hours(ShopProfile.current()).working_days_from(FRIDAY)
    assert [day.isoformat()[8:] for day in days] == ["12", "13", "16", "17", "18"]
    assert 'value="13:00"' in owner.get(url).text


@pytest.mark.parametrize(
    ("changes", "error"),
    [
        ({"shuts_2": ""}, "Wednesday: enter both times, or leave both empty"),
        ({"opens_6": "10:00"}, "Sunday: enter both times, or leave both empty"),
        ({"shuts_1": "07:00"}, "Tuesday: the closing time must be after the opening time."),
        ({"opens_3": "early"}, "Enter a time, such as 09:00."),
        (
            {f"{end}_{day}": "" for end in ("opens", "shuts") for day in range(5)},
            "Enter opening hours for at least one day.",
        ),
    ],
)
def test_invalid_opening_hours_show_errors_and_save_nothing(login, changes, error: str) -> None:
    response = login(Role.OWNER).post(reverse("working-hours"), hours(**changes))
    assert response.status_code == 422
    assert error in response.text
    assert all(f'value="{typed}"' in response.text for typed in changes.values() if typed)
    assert ShopProfile.current().working_hours[0] == ["08:00", "18:00"]


def test_edit_conflict_of_opening_hours_is_reported(login) -> None:
    owner = login(Role.OWNER)
    seen = ShopProfile.current().version
    owner.post(reverse("working-hours"), hours(version=str(seen), shuts_4="15:00"))
    late = owner.post(reverse("working-hours"), hours(version=str(seen), opens_0="07:30"))
    assert late.status_code == 422
    assert "Ola Owner" in late.text
    form = late.context["form"]
    assert (form["opens_0"].value(), form["shuts_4"].value()) == ("07:30", "15:00")
    sent = hours(version=form["version"].value(), opens_0="07:30", shuts_4="15:00")
    assert owner.post(reverse("working-hours"), sent).status_code == 302
    week = ShopProfile.current().working_hours
    assert (week[0], week[4]) == (["07:30", "18:00"], ["08:00", "15:00"])


@pytest.mark.parametrize(
    ("changes", "error"),
    [
        ({"clock": "06:00"}, "This is outside opening hours on Monday"),
        ({"clock": "17:00"}, "This is outside opening hours on Monday"),
        ({"weekday": 6}, "The shop is closed on Sunday"),
    ],
)
def test_slot_outside_opening_hours_needs_confirmation(login, changes, error: str) -> None:
    job, client = make_job(), login(Role.DESK)
    day = next_weekday(changes.pop("weekday", 0))
    sent = {
        "job": str(job),
        "place": get_workstation("dyno").pk,
        "day": day.isoformat(),
        "clock": "09:00",
        "hours": "2",
    }
    response = client.post(reverse("slot-new"), {**sent, **changes})
    assert response.status_code == 422
    assert error in response.text
    assert not Slot.objects.exists()
    assert client.post(reverse("slot-new"), {**sent, **changes, "anyway": "on"}).status_code == 302
    assert Slot.objects.get().job == job


def test_closed_days_are_skipped_and_their_slots_reported(login) -> None:
    first, second = load_opening_hours(ShopProfile.current()).working_days_from(
        timezone.localdate() + timedelta(days=1)
    )[:2]
    slot = book("dyno", first)
    owner = login(Role.OWNER)
    sent = {"first": first.isoformat(), "last": "", "reason": "Trade fair", "times_right": "on"}
    page = owner.post(reverse("shut-days-list"), sent, follow=True).text
    assert f"dyno for job {slot.job}" in page[page.index("need moving") :]
    assert reverse("slot-edit", args=[slot.pk]) in page

    page, plan = today(owner), owner.get(reverse("today")).context["plan"]
    assert (
        f"There are slots on {first:%A} {first.day} {first:%B}, when the shop is closed (Trade fair)." in page
    )
    assert [(day.date, day.closed_reason) for day in plan.days if day.closed_reason] == [
        (first, "Trade fair")
    ]
    assert len([day for day in plan.days if not day.closed_reason]) == 5
    assert Slot.objects.filter(pk=slot.pk).exists()

    moved = {"day": second.isoformat(), "place": slot.place_id}
    owner.post(reverse("slot-move", args=[slot.pk]), moved)
    assert "when the shop is closed" not in today(owner)
    back = owner.post(reverse("slot-move", args=[slot.pk]), {**moved, "day": first.isoformat()}, follow=True)
    assert "The shop is closed on" in back.text


def test_slot_outside_shortened_hours_is_reported_until_moved(login) -> None:
    day = next_weekday(4)
    slot, within = book("dyno", day, hour=15), book("bench 1", day, hour=9)
    owner, url = login(Role.OWNER), reverse("working-hours")
    assert "outside the opening hours" not in owner.get(url).text
    page = " ".join(owner.post(url, hours(shuts_4="16:00"), follow=True).text.split())
    assert "These slots are outside the opening hours" in page
    assert f"Move dyno for job {slot.job}, {day:%a} {day.day} {day:%b}, 15:00 to 17:00" in page
    assert reverse("slot-edit", args=[slot.pk]) in page
    assert reverse("slot-edit", args=[within.pk]) not in page

    owner.post(url, hours(opens_4="", shuts_4=""))
    assert reverse("slot-edit", args=[within.pk]) in owner.get(url).text
    Slot.objects.update(starts_at=at(next_weekday(0), 9), ends_at=at(next_weekday(0), 12))
    assert "outside the opening hours" not in owner.get(url).text


def test_slot_outside_opening_hours_is_marked_on_today(login, shop) -> None:
    first = load_opening_hours(shop).working_days_from(timezone.localdate() + timedelta(days=1))[0]
    book("dyno", first, hour=17)
    book("bench 1", first, hour=9)
    page = today(login(Role.DESK), view="week")
    assert page.count("outside opening hours") == 1


def test_slot_until_midnight_is_not_on_the_next_day(login) -> None:
    day = next_weekday(1)
    slot = book("dyno", day, hour=22)
    owner, url = login(Role.OWNER), reverse("shut-days-list")
    owner.post(url, {"first": (day + timedelta(days=1)).isoformat(), "last": "", "reason": "Fair"})
    assert reverse("slot-edit", args=[slot.pk]) not in owner.get(url).text
    owner.post(url, {"first": day.isoformat(), "last": "", "reason": "Eve of the fair"})
    assert reverse("slot-edit", args=[slot.pk]) in owner.get(url).text


@pytest.mark.parametrize("page", ["place-list", "working-hours", "shut-days-list"])
def test_schedule_pages_need_no_more_queries_for_more_slots(login, page: str) -> None:
    owner, url = login(Role.OWNER), reverse(page)

    def fill(number: int) -> None:
        WorkPlace.objects.create(name=f"ramp {number}", kind="bench")
        day = next_weekday(0, after=7 * number)
        ShutDays.objects.create(first=day, last=day, reason=f"Fair {number}")
        book("dyno", day, hour=17)
        book("bench 1", day)

    fill(1)
    with CaptureQueriesContext(connection) as one:
        owner.get(url)
    for number in range(2, 8):
        fill(number)
    with CaptureQueriesContext(connection) as seven:
        shown = owner.get(url).text
    assert "ramp 7" in shown if page == "place-list" else shown.count(">Move ") >= 7
    assert len(seven) == len(one) <= 6


def test_closed_days_must_end_after_start_and_can_be_removed(login) -> None:
    owner = login(Role.OWNER)
    url = reverse("shut-days-list")
    response = owner.post(
        url, {"first": "2031-08-10", "last": "2031-08-03", "reason": "Summer", "times_right": "on"}
    )
    assert response.status_code == 422
    assert "The last day must be on or after the first day." in response.text
    assert 'value="Summer"' in response.text
    owner.post(url, {"first": "2031-08-03", "last": "2031-08-10", "reason": "Summer", "times_right": "on"})
    days = ShutDays.objects.get()
    assert "Sun 3 Aug to Sun 10 Aug 2031" in owner.get(url).text
    edit = {
        "version": days.version,
        "first": "2031-08-04",
        "last": "",
        "reason": "A day of summer",
        "times_right": "on",
    }
    owner.post(reverse("shut-days-edit", args=[days.pk]), edit)
    days.refresh_from_db()
    assert (days.first, days.last) == (date(2031, 8, 4), date(2031, 8, 4))
    owner.post(reverse("shut-days-remove", args=[days.pk]))
    assert "No closed days planned." in owner.get(url).text


def test_shop_closed_for_a_year_has_an_empty_schedule(login, shop) -> None:
    make_job()
    first = timezone.localdate()
    ShutDays.objects.create(first=first, last=first + timedelta(days=500), reason="Rebuilding")
    assert load_opening_hours(shop).working_days_from(first) == []
    assert "closed for the whole of the next year" in today(login(Role.DESK))


def test_calendar_shows_closed_days(staff) -> None:
    first = timezone.localdate() + timedelta(days=4)
    ShutDays.objects.create(first=first, last=first + timedelta(days=2), reason="Trade fair")
    response = Client().get(reverse("calendar-feed", args=[create_token(staff[Role.TUNER])]))
    (event,) = Calendar.from_ical(response.content).walk("VEVENT")
    assert event["summary"] == "Closed: Trade fair"
    # The end of whole days is the day after the last (RFC 5545, 3.6.1).
    assert (event["dtstart"].dt, event["dtend"].dt) == (first, first + timedelta(days=3))


def test_opening_hours_follow_shop_time_across_dst_change(shop) -> None:
    # Paris leaves summer time on 25 October 2026: 08:00 there is 06:00 UTC on Friday, 07:00 UTC on Monday.
    paris, working = ZoneInfo("Europe/Paris"), load_opening_hours(shop)
    for day, opens_utc in ((date(2026, 10, 23), 6), (date(2026, 10, 26), 7)):
        begin = at(day, opens_utc)
        for start, fits in ((begin, True), (begin - timedelta(minutes=15), False)):
            end = start + timedelta(hours=10)
            assert (
                working.outside_hours_message(start.astimezone(paris), end.astimezone(paris)) == ""
            ) is fits


def test_repeated_submission_creates_one_workstation(login) -> None:
    owner = login(Role.OWNER)
    page = owner.get(reverse("place-list")).text
    key = page.split('name="form_key" value="')[1].split('"')[0]
    sent = {"form_key": key, "name": "ramp", "kind": "bench", "order": "50"}
    for _ in range(2):
        assert owner.post(reverse("place-list"), sent).status_code == 302
    assert WorkPlace.objects.filter(name="ramp").count() == 1


def test_change_log_describes_opening_hours_and_closed_days(login) -> None:
    owner = login(Role.OWNER)
    owner.post(reverse("working-hours"), hours(shuts_4="15:00"))
    owner.post(
        reverse("shut-days-list"),
        {"first": "2031-08-04", "last": "", "reason": "Trade fair", "times_right": "on"},
    )
    page = owner.get(reverse("shop-history")).text
    assert "Fri 08:00–18:00" in page
    assert "Fri 08:00–15:00" in page
    assert "Trade fair" in page
