"""Slots: no double booking, clock times across DST changes, drag and form."""

import threading
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.models import Slot
from jobs.planner.opening_hours import load_opening_hours
from jobs.planner.schedule import build_schedule
from jobs.planner.slots import format_shop_time
from tests.factories import get_workstation, make_bike, make_job
from tests.html import find
from workshop.models import Role, ShopProfile

pytestmark = pytest.mark.django_db

PARIS = ZoneInfo("Europe/Paris")


@pytest.fixture
def in_paris(shop):
    shop.time_zone = "Europe/Paris"
    shop.save()
    return shop


def next_workday() -> date:
    return load_opening_hours(ShopProfile.current()).working_days_from(
        timezone.localdate() + timedelta(days=1)
    )[0]


def send(client, booked, **changes):
    sent = {
        "job": str(booked),
        "place": get_workstation("dyno").pk,
        "day": next_workday().isoformat(),
        "clock": "09:00",
        "hours": "2",
    }
    return client.post(reverse("slot-new"), {**sent, **changes})


def at(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 6, 10, hour, minute, tzinfo=ZoneInfo("UTC"))


def book(job, name: str, start: datetime, end: datetime) -> Slot:
    return Slot.objects.create(job=job, place=get_workstation(name), starts_at=start, ends_at=end)


@pytest.mark.parametrize(
    ("start", "end"), [(9, 11), (8, 10), (10, 12), (9.25, 9.5), (8, 12)], ids=lambda hour: f"{hour}"
)
def test_database_rejects_overlapping_slots(start: float, end: float) -> None:
    job = make_job()
    book(job, "dyno", at(9), at(11))
    times = [at(0) + timedelta(hours=hour) for hour in (start, end)]
    with pytest.raises(IntegrityError), transaction.atomic():
        book(job, "dyno", *times)
    assert book(job, "bench 1", *times).pk
    assert Slot.objects.count() == 2


def test_adjacent_slots_do_not_overlap() -> None:
    job = make_job()
    book(job, "dyno", at(9), at(11))
    book(job, "dyno", at(11), at(12))
    book(job, "dyno", at(7), at(9))
    assert Slot.objects.count() == 3


@pytest.mark.django_db(transaction=True)
def test_simultaneous_bookings_create_one_slot() -> None:
    job = make_job()
    outcomes: list[bool] = []
    ready = threading.Barrier(2)

    def try_to_book() -> None:
        ready.wait()
        try:
            book(job, "dyno", at(9), at(11))
            outcomes.append(True)
        except IntegrityError:
            outcomes.append(False)
        finally:
            connection.close()

    desks = [threading.Thread(target=try_to_book) for _ in range(2)]
    for desk in desks:
        desk.start()
    for desk in desks:
        desk.join()
    assert sorted(outcomes) == [False, True]
    assert Slot.objects.count() == 1


def test_slot_is_booked_and_overlap_names_the_other_job(login) -> None:
    job = make_job()
    client = login(Role.DESK)
    assert send(client, job).status_code == 302
    page = client.get(reverse("today"), {"day": next_workday().isoformat()}).text
    assert "09:00 to 11:00" in page
    response = send(client, job, clock="10:30", hours="1,5")
    assert response.status_code == 422
    assert f"Dyno is booked for job {job} from 09:00 to 11:00 that day." in response.text
    assert 'value="1,5"' in response.text


@pytest.mark.parametrize(
    ("changes", "error"),
    [
        ({"job": "1999-1"}, "No open job has the number 1999-1."),
        ({"clock": "09:10"}, "Start on a quarter hour"),
        ({"hours": "0,3"}, "in quarter hours"),
        ({"hours": "lots"}, "is not a number"),
        ({"hours": "17"}, "less than or equal to 16"),
        ({"day": "soon"}, "Enter a date, such as 2026-11-30."),
        ({"place": "roof"}, "valid choice"),
        ({"day": "9999-12-31", "clock": "23:00", "hours": "16", "anyway": "on"}, "Check the year: 9999."),
        ({"day": "0001-01-01", "clock": "00:00", "anyway": "on"}, "Check the year: 1."),
    ],
)
def test_invalid_input_shows_error_at_its_field(login, changes, error: str) -> None:
    response = send(login(Role.DESK), make_job(), **changes)
    assert response.status_code == 422
    assert error in response.text
    assert not Slot.objects.exists()


@pytest.mark.parametrize(("year", "error"), [(-1, " is in the past."), (2, " is more than a year away.")])
def test_implausible_day_needs_confirmation(login, year: int, error: str) -> None:
    day = next_workday().replace(day=15, month=6)
    day = day.replace(year=day.year + year)
    response = send(login(Role.DESK), make_job(), day=day.isoformat())
    assert response.status_code == 422
    assert f"{day:%-d %B %Y}{error}" in response.text
    assert send(login(Role.DESK), make_job(), day=day.isoformat(), anyway="on").status_code == 302


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "2026-02-31", "soon", ""])
def test_move_to_an_invalid_day_is_rejected(login, shop, day: str) -> None:
    shop.time_zone = "Pacific/Auckland"  # in UTC its first hours of year 1 are before the earliest date
    shop.save()
    slot = book(make_job(), "dyno", at(9), at(11))
    sent = {"day": day, "place": get_workstation("bench 1").pk}
    page = login(Role.DESK).post(reverse("slot-move", args=[slot.pk]), sent, follow=True).text
    assert "Slot not moved." in page
    slot.refresh_from_db()
    assert (slot.place.name, slot.starts_at) == ("dyno", at(9))


def test_slot_in_the_repeated_hour_keeps_its_instant_when_moved(login, in_paris) -> None:
    # 02:30 for the second time on 25 October 2026 in Paris is 01:30 UTC, for the first 00:30 UTC.
    second = datetime(2026, 10, 25, 1, 30, tzinfo=ZoneInfo("UTC"))
    slot = book(make_job(), "dyno", second, second + timedelta(minutes=30))
    sent = {"day": "2026-10-25", "place": get_workstation("bench 1").pk}
    login(Role.DESK).post(reverse("slot-move", args=[slot.pk]), sent)
    slot.refresh_from_db()
    assert (slot.place.name, slot.starts_at) == ("bench 1", second)


def test_slot_moved_to_another_day_keeps_its_clock_time(login, in_paris) -> None:
    # Paris leaves summer time on 25 October 2026: 09:00 is 07:00 UTC before and 08:00 UTC after.
    begin, end = (datetime(2026, 10, 23, hour, tzinfo=PARIS) for hour in (9, 11))
    slot = book(make_job(), "dyno", begin, end)
    sent = {"day": "2026-10-26", "place": get_workstation("bench 1").pk}
    assert login(Role.DESK).post(reverse("slot-move", args=[slot.pk]), sent).status_code == 302
    slot.refresh_from_db()
    assert slot.place.name == "bench 1"
    assert slot.starts_at == datetime(2026, 10, 26, 8, tzinfo=ZoneInfo("UTC"))
    assert slot.ends_at - slot.starts_at == timedelta(hours=2)


def test_move_onto_another_slot_names_its_job(login) -> None:
    job = make_job()
    day = next_workday()
    mine = datetime.combine(day, datetime.min.time(), ZoneInfo("UTC")) + timedelta(hours=9)
    slot = book(job, "dyno", mine, mine + timedelta(hours=2))
    book(job, "bench 1", mine + timedelta(hours=1), mine + timedelta(hours=3))
    client = login(Role.DESK)
    sent = {"day": day.isoformat(), "place": get_workstation("bench 1").pk}
    page = client.post(reverse("slot-move", args=[slot.pk]), sent, follow=True).text
    assert f"Slot not moved. Bench 1 is booked for job {job} from 10:00 to 12:00" in page
    slot.refresh_from_db()
    assert slot.place.name == "dyno"


def test_repeated_hour_asks_for_the_instant_and_shows_it(login, in_paris) -> None:
    job, client = make_job(), login(Role.DESK)
    twice = {"day": "2026-10-25", "clock": "02:30", "hours": "0,5", "anyway": "on"}
    response = send(client, job, **twice)
    assert response.status_code == 422
    assert "02:30 occurs twice on that day" in response.text
    for which, utc_hour in (("first", 0), ("second", 1)):
        assert send(client, job, **twice, which=which).status_code == 302
        slot = Slot.objects.latest("pk")
        assert slot.starts_at == datetime(2026, 10, 25, utc_hour, 30, tzinfo=ZoneInfo("UTC"))
    with timezone.override(PARIS):
        assert [format_shop_time(slot.starts_at) for slot in Slot.objects.all()] == [
            "02:30 (first time, CEST)",
            "02:30 (second time, CET)",
        ]


def test_time_in_a_dst_gap_is_rejected(login, in_paris) -> None:
    response = send(login(Role.DESK), make_job(), day="2027-03-28", clock="02:30")
    assert response.status_code == 422
    assert "02:30 does not exist on that day" in response.text


def test_five_working_days_skip_the_weekend(shop) -> None:
    # 12 June 2026 is a Friday
    days = load_opening_hours(shop).working_days_from(date(2026, 6, 12))
    assert [day.day for day in days] == [12, 15, 16, 17, 18]


def test_slot_edit_conflict_is_reported(login) -> None:
    job, client = make_job(), login(Role.DESK)
    send(client, job)
    slot = Slot.objects.get()
    edit = reverse("slot-edit", args=[slot.pk])
    sent = {
        "version": "1",
        "place": get_workstation("bench 2").pk,
        "day": next_workday().isoformat(),
        "clock": "14:00",
        "hours": "1",
    }
    assert client.post(edit, sent).status_code == 302
    slot.refresh_from_db()
    assert slot.place.name == "bench 2"
    late = client.post(edit, {**sent, "hours": "3"})
    assert late.status_code == 422
    day = f"{next_workday():%a %-d %b %Y}"
    assert f"Dana Desk has moved this slot to bench 2, {day}, 14:00 to 15:00." in late.text
    # The input is still shown and can be submitted again on top of the other change.
    assert 'name="hours" value="3"' in late.text
    assert 'name="version" value="2"' in late.text
    assert client.post(edit, {**sent, "hours": "3", "version": "2"}).status_code == 302
    slot.refresh_from_db()
    assert slot.ends_at - slot.starts_at == timedelta(hours=3)


def test_slot_weeks_ahead_is_shown_after_saving(login) -> None:
    job, client = make_job(), login(Role.DESK)
    day = load_opening_hours(ShopProfile.current()).working_days_from(
        timezone.localdate() + timedelta(days=40)
    )[0]
    saved = send(client, job, day=day.isoformat())
    assert saved.headers["Location"] == f"{reverse('today')}?day={day}#slots"
    slot = Slot.objects.get()
    edit = reverse("slot-edit", args=[slot.pk])
    assert edit in client.get(saved.headers["Location"]).text
    assert edit not in client.get(reverse("today")).text
    # paged from today on, and on the job page
    url, turned = f"{reverse('today')}?view=week", 0
    while edit not in (page := client.get(url).text) and turned < 12:
        (later,) = find(page, "//a[@rel='next']/@href")
        url, turned = f"{reverse('today')}{later}", turned + 1
    assert edit in page
    assert edit in client.get(reverse("job", args=[job]), {"open": "all"}).text
    shown = " ".join(login(Role.MECHANIC).get(reverse("job", args=[job]), {"open": "all"}).text.split())
    assert f"{day:%a %-d %b %Y}, 09:00–11:00, dyno" in shown


def test_schedule_pages_cover_all_working_days(login, shop) -> None:
    # 7 December 2026 is a Monday; the shop works from Monday to Saturday here.
    shop.working_hours = [["08:00", "17:00"]] * 6 + [None]
    shop.save()
    working = load_opening_hours(shop)
    plans = [build_schedule(working, [], first=date(2026, 12, 7))]
    while len(plans) < 4:
        plans.append(build_schedule(working, [], first=plans[-1].later))
    shown = [day.date for plan in plans for day in plan.days]
    every = [date(2026, 12, 7) + timedelta(days=ahead) for ahead in range(24)]
    assert shown == [day for day in every if day.weekday() != 6][:20]
    assert build_schedule(working, [], first=plans[3].earlier).days == plans[2].days


@pytest.mark.parametrize("day", ["", "soon", "2026-02-31", "0001-01-01", "9999-12-31", "2199-12-31"])
def test_invalid_day_in_the_url_is_ignored(login, day: str) -> None:
    make_job()
    response = login(Role.DESK).get(reverse("today"), {"from": day})
    assert response.status_code == 200
    assert "Later days" in response.text


def test_move_on_a_later_page_returns_to_it(login) -> None:
    job = make_job()
    day = load_opening_hours(ShopProfile.current()).working_days_from(
        timezone.localdate() + timedelta(days=40)
    )[0]
    begin = datetime.combine(day, datetime.min.time(), ZoneInfo("UTC")) + timedelta(hours=9)
    slot = book(job, "dyno", begin, begin + timedelta(hours=2))
    sent = {"day": day.isoformat(), "place": get_workstation("bench 1").pk, "shown": day.isoformat()}
    move_slot = login(Role.DESK).post(reverse("slot-move", args=[slot.pk]), sent)
    assert move_slot.headers["Location"] == f"{reverse('today')}?day={day}#slots"


def test_slot_is_cancelled_by_the_desk_only(login) -> None:
    send(login(Role.DESK), make_job())
    slot = Slot.objects.get()
    for name in ("slot-move", "slot-remove"):
        assert login(Role.MECHANIC).post(reverse(name, args=[slot.pk])).status_code == 403
    assert reverse("slot-edit", args=[slot.pk]) not in login(Role.TUNER).get(reverse("today")).text
    login(Role.OWNER).post(reverse("slot-remove", args=[slot.pk]))
    assert not Slot.objects.exists()


@pytest.mark.parametrize(
    ("first", "second"),
    [(("dyno", "08:00"), ("bench 1", "13:00")), (("bench 1", "13:00"), ("dyno", "08:00"))],
    ids=["bench after dyno", "dyno before bench"],
)
def test_bench_after_the_dyno_of_the_same_day_is_warned_of(login, first, second) -> None:
    # Common practice, no single source: clearances are measured on a cold engine.
    client, job = login(Role.DESK), make_job()
    other = make_job(bike=job.bike)  # another job of the same bike
    pages = [
        client.get(send(client, booked, place=get_workstation(name).pk, clock=clock).url).text
        for booked, (name, clock) in ((job, first), (other, second))
    ]
    warning = (
        "The bike has the dyno until 10:00 and the bench 1 from 13:00, the same day. If you measure "
        "its valves: clearances are measured on a cold engine"
    )
    assert [warning in page for page in pages] == [False, True]
    assert Slot.objects.count() == 2


def test_bench_before_the_dyno_on_another_day_or_for_another_bike_is_not_warned_of(login) -> None:
    client, job = login(Role.DESK), make_job()
    bench = get_workstation("bench 1").pk
    other = make_job(bike=make_bike(owner=job.customer, plate="DEMO 9"))
    next_day = load_opening_hours(ShopProfile.current()).working_days_from(
        next_workday() + timedelta(days=1)
    )[0]
    send(client, job, clock="13:00")
    for booked, changes in (
        (job, {"clock": "08:00"}),
        (job, {"clock": "08:00", "day": next_day.isoformat()}),
        (other, {"clock": "15:00"}),
    ):
        page = client.get(send(client, booked, place=bench, **changes).url).text
        assert "cold engine" not in page
    assert Slot.objects.count() == 4


def test_slot_moved_behind_the_dyno_is_warned_of(login) -> None:
    client, job = login(Role.DESK), make_job()
    day = next_workday()
    later = load_opening_hours(ShopProfile.current()).working_days_from(day + timedelta(days=1))[0]
    send(client, job, clock="08:00")
    send(client, job, clock="13:00", day=later.isoformat(), place=get_workstation("bench 1").pk)
    slot = Slot.objects.latest("pk")
    moved = client.post(
        reverse("slot-move", args=[slot.pk]), {"day": day.isoformat(), "place": slot.place_id}, follow=True
    )
    assert "clearances are measured on a cold engine" in moved.text
