"""The schedule drawn to time: positions, loads, dates at the desk, and what is questioned."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job, ShutDays, Slot
from jobs.planner.opening_hours import load_opening_hours
from jobs.planner.schedule import Schedule, build_schedule, format_length
from jobs.today.board import open_jobs
from tests.factories import get_workstation, make_bike, make_job
from workshop.models import Role, ShopProfile

pytestmark = pytest.mark.django_db

UTC = ZoneInfo("UTC")
MONDAY = date(2030, 6, 10)  # the default hours are Monday to Friday, 08:00 to 18:00


def at(day: date, hour: float) -> datetime:
    return datetime.combine(day, time(), UTC) + timedelta(hours=hour)


def book(job: Job, name: str, day: date, start: float, end: float, **fields: object) -> Slot:
    place = get_workstation(name)
    return Slot.objects.create(job=job, place=place, starts_at=at(day, start), ends_at=at(day, end), **fields)


def plan(**asked: object) -> Schedule:
    shop = ShopProfile.current()
    return build_schedule(load_opening_hours(shop), open_jobs(), **{"first": MONDAY, **asked})


def test_slot_is_drawn_to_time_from_the_opening_on() -> None:
    book(make_job(), "dyno", MONDAY, 9.25, 11)
    drawn = plan()
    assert (drawn.start, drawn.quarters) == (8 * 4, 10 * 4)
    (block,) = drawn.lanes[0].cells[0].blocks
    assert (block.start, block.length) == (5, 7)
    assert drawn.hours[:2] == [(0, "08:00"), (4, "09:00")]
    assert drawn.shown[0].closed == []


def test_axis_holds_slots_and_dates_outside_the_hours_and_shades_them() -> None:
    book(make_job(), "dyno", MONDAY, 17, 19.5)
    make_job(bike=make_bike(plate="X 2"), booked_for=at(MONDAY, 6.5))
    drawn = plan()
    assert (drawn.start, drawn.start + drawn.quarters) == (6 * 4, 20 * 4)
    assert [(span.start, span.length) for span in drawn.shown[0].closed] == [(0, 8), (48, 8)]
    (block,) = drawn.lanes[0].cells[0].blocks
    assert block.is_outside


def test_slot_over_midnight_is_on_both_days() -> None:
    book(make_job(), "dyno", MONDAY, 22, 26)
    drawn = plan(is_week=True)
    cells = drawn.lanes[0].cells[:2]
    assert [[(block.start + drawn.start, block.length) for block in cell.blocks] for cell in cells] == [
        [(88, 8)],
        [(0, 8)],
    ]
    assert not cells[0].blocks[0].is_whole
    assert [day.loads[0].booked for day in drawn.days[:2]] == [timedelta(hours=2)] * 2


def test_load_says_how_much_of_the_day_is_booked() -> None:
    job = make_job()
    book(job, "dyno", MONDAY, 9, 12)
    book(job, "dyno", MONDAY, 14, 15.5)
    loads = plan().days[0].loads
    assert [load.words for load in loads] == ["4 h 30 of 10 h booked", "free all day", "free all day"]
    assert [load.percent for load in loads] == [45, 0, 0]


@pytest.mark.parametrize(("minutes", "words"), [(45, "45 min"), (60, "1 h"), (270, "4 h 30"), (600, "10 h")])
def test_length_is_written_in_hours_and_minutes(minutes: int, words: str) -> None:
    assert format_length(timedelta(minutes=minutes)) == words


def test_desk_shows_who_comes_in_and_what_is_due() -> None:
    coming = make_job(booked_for=at(MONDAY, 11), promised_at=at(MONDAY, 17))
    here = make_job(
        bike=make_bike(plate="X 2"), stage="bench", received_at=timezone.now(), booked_for=at(MONDAY, 9)
    )
    ((_, times),) = plan().desk
    assert [(pin.job, pin.way, pin.start, pin.is_left) for pin in times] == [
        (coming, "in", 12, False),
        (coming, "out", 26, True),  # no room to its right, so its mark is the end
    ]
    assert times[1].start + times[1].length == 36
    assert here.booked_for  # it is here already


def test_closed_day_with_a_date_is_shown_as_closed() -> None:
    friday = MONDAY + timedelta(days=4)
    ShutDays.objects.create(first=friday, last=friday, reason="Trade fair")
    make_job(promised_at=at(friday, 12))
    days = plan().days
    assert [(day.date.day, day.closed_reason) for day in days] == [
        (10, ""),
        (11, ""),
        (12, ""),
        (13, ""),
        (14, "Trade fair"),
        (17, ""),
    ]


def test_day_beyond_the_page_starts_another_page() -> None:
    make_job()
    later = MONDAY + timedelta(days=21)
    drawn = plan(chosen=later)
    assert [day.date for day in drawn.shown] == [later]
    assert drawn.first == later


def test_work_without_a_slot_is_in_the_tray_the_most_urgent_first() -> None:
    late, soon = (make_job(promised_at=at(MONDAY, hours)) for hours in (60, 30))
    make_job(stage="ready")
    make_job(stage="waiting", waiting_for="parts")
    book(make_job(), "dyno", timezone.localdate() + timedelta(days=30), 9, 10)
    assert [(item.job, item.question) for item in plan().tray] == [(soon, ""), (late, "")]


def test_tray_is_short_and_says_how_much_more_there_is() -> None:
    bike = make_bike()
    for _ in range(9):
        make_job(bike=bike)
    drawn = plan()
    assert (len(drawn.tray), drawn.more_in_tray) == (6, 3)


def test_slot_that_ends_after_the_due_time_is_questioned() -> None:
    job = make_job(promised_at=at(MONDAY, 11))
    slot = book(job, "dyno", MONDAY, 9, 12)
    (item,) = plan().tray
    assert (item.slot, item.question) == (slot, "due Mon 10 Jun, 11:00, but this slot ends Mon 10 Jun, 12:00")
    Job.objects.update(promised_at=at(MONDAY, 12))
    assert plan().tray == []


def test_bench_after_the_dyno_on_the_same_day_is_questioned() -> None:
    # Rule of thumb, no published source: clearances are measured on a cold engine.
    job = make_job()
    book(job, "dyno", MONDAY, 9, 11)
    bench = book(job, "bench 1", MONDAY, 13, 15)
    book(make_job(bike=make_bike(plate="X 2")), "bench 2", MONDAY, 13, 15)
    (item,) = plan().tray
    assert item.slot == bench
    assert "check that the engine is cold" in item.question
    bench.starts_at, bench.ends_at = at(MONDAY, 7), at(MONDAY, 8)
    bench.save()
    assert plan().tray == []


def send_move(client, slot: Slot, day: date, **changes: object):
    sent = {"day": day.isoformat(), "place": slot.place_id, "version": slot.version, **changes}
    return client.post(reverse("slot-move", args=[slot.pk]), sent, follow=True)


def working_day() -> date:
    hours = load_opening_hours(ShopProfile.current())
    return hours.working_days_from(timezone.localdate() + timedelta(days=1))[0]


def test_slot_is_moved_and_resized_in_quarter_hours(login) -> None:
    day = working_day()
    slot = book(make_job(), "dyno", day, 9, 11)
    bench = get_workstation("bench 1")
    page = send_move(login(Role.DESK), slot, day, place=bench.pk, clock="10:15", minutes="105").text
    assert f"Moved: Bench 1, job {slot.job}, {day:%a} {day.day} {day:%b}, 10:15 to 12:00." in page
    slot.refresh_from_db()
    assert (slot.place, slot.starts_at, slot.ends_at) == (bench, at(day, 10.25), at(day, 12))
    assert slot.history.count() == 2


@pytest.mark.parametrize(
    "wrong",
    [
        {"clock": "10:10"},
        {"clock": "25:00"},
        {"clock": "soon"},
        {"minutes": "0"},
        {"minutes": "-15"},
        {"minutes": "50"},
        {"minutes": "99999999999999"},
        {"minutes": "1e3"},
        {"minutes": "975"},
    ],
)
def test_move_to_an_impossible_time_changes_nothing(login, wrong) -> None:
    day = working_day()
    slot = book(make_job(), "dyno", day, 9, 11)
    assert "Slot not moved." in send_move(login(Role.DESK), slot, day, **wrong).text
    slot.refresh_from_db()
    assert (slot.starts_at, slot.ends_at, slot.version) == (at(day, 9), at(day, 11), 1)


def test_move_of_a_slot_that_someone_else_moved_is_refused(login) -> None:
    day = working_day()
    slot = book(make_job(), "dyno", day, 9, 11)
    client = login(Role.DESK)
    send_move(client, slot, day, clock="12:00")
    page = send_move(client, slot, day, clock="15:00").text
    assert "Slot not moved. Someone else has moved this slot." in page
    slot.refresh_from_db()
    assert slot.starts_at == at(day, 12)


def test_move_outside_the_hours_and_after_the_due_time_is_told(login) -> None:
    day = working_day()
    slot = book(make_job(promised_at=at(day, 16)), "dyno", day, 9, 11)
    page = send_move(login(Role.DESK), slot, day, clock="17:30").text
    assert "This is outside opening hours on" in page
    assert f"Job {slot.job} is due before this slot ends: {day:%a} {day.day} {day:%b}, 16:00." in page


def test_person_of_a_slot_is_chosen_shown_and_told_of_two_at_once(login, staff) -> None:
    day, tuner = working_day(), staff[Role.TUNER]
    book(make_job(), "dyno", day, 9, 11, person=tuner)
    other = make_job(bike=make_bike(plate="X 2"))
    client = login(Role.DESK)
    sent = {
        "job": str(other),
        "place": get_workstation("bench 1").pk,
        "person": tuner.pk,
        "day": day.isoformat(),
        "clock": "10:00",
        "hours": "2",
    }
    page = client.post(reverse("slot-new"), sent, follow=True).text
    assert f"{tuner} also has dyno, job" in page
    assert f"10:00 to 12:00, {tuner}" in page
    slot = Slot.objects.get(job=other)
    assert slot.person == tuner
    tuner.is_active = False
    tuner.save()
    assert f'<option value="{tuner.pk}" selected>' in client.get(reverse("slot-edit", args=[slot.pk])).text


def test_form_of_a_new_slot_takes_over_what_was_drawn(login) -> None:
    query = {"job": "2026-009", "day": "2030-06-10", "clock": "14:15", "hours": "1.75"}
    page = login(Role.DESK).get(reverse("slot-new"), query).text
    for value in ("2026-009", "2030-06-10", "14:15", "1.75"):
        assert f'value="{value}"' in page


def test_view_is_kept_in_the_address_after_a_move(login) -> None:
    day = working_day()
    slot = book(make_job(), "dyno", day, 9, 11)
    sent = {"day": day.isoformat(), "place": slot.place_id, "view": "week", "shown": day.isoformat()}
    answer = login(Role.DESK).post(reverse("slot-move", args=[slot.pk]), sent)
    assert answer.url == f"{reverse('today')}?day={day}&view=week#slots"
