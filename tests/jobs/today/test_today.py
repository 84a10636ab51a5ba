"""Today's page and the list of jobs."""

import csv
import io
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.job.stages import move_to_stage
from jobs.models import ContactEntry, Job, Slot, StageEntry
from tests.factories import get_workstation, make_bike, make_customer, make_job
from tests.html import find, read_html, read_text
from workshop.models import Role

pytestmark = pytest.mark.django_db


def today(client, **query: str) -> str:
    return client.get(reverse("today"), query).content.decode()


def texts(page: str, path: str) -> list[str]:
    """Return the texts of the elements of a page."""
    return [read_text(found) for found in find(page, path)]


def row(page: str, job: Job) -> str:
    (found,) = texts(page, f"//li[@id='bike-{job}']")
    return found


def counts(page: str) -> dict[str, int]:
    found = (text.partition(" ") for text in texts(page, "//ul[@class='counts']/li"))
    return {label: int(number) for number, _, label in found}


@pytest.fixture
def noon(monkeypatch, shop):
    """Stop the clock on a Tuesday at noon."""
    now = datetime(2030, 6, 11, 12, tzinfo=UTC)
    monkeypatch.setattr(timezone, "now", lambda: now)
    return now


def test_each_open_bike_is_listed_once_by_due_time(login, noon) -> None:
    bike = make_bike()
    later, sooner = (
        make_job(bike=bike, stage="bench", promised_at=noon + timedelta(days=days)) for days in (5, 2)
    )
    never = make_job(bike=bike, stage="received")
    make_job(bike=bike, stage="handed_over", promised_at=noon - timedelta(days=3))
    page = today(login(Role.DESK))
    listed = find(page, "//ul[@class='bikes']/li/@id")
    assert listed == [f"bike-{job}" for job in (sooner, later, never)]


def test_row_says_who_to_call_where_the_bike_is_and_when_it_is_due(login, noon, staff) -> None:
    owner = make_customer(name="Bertil Ngata", phone="+00 555 0158")
    bike = make_bike(owner=owner, plate="DEMO 67")
    job = make_job(
        bike=bike,
        stage="bench",
        mechanic=staff[Role.MECHANIC],
        received_at=noon,
        promised_at=noon + timedelta(days=2, hours=5),
    )
    page = today(login(Role.DESK))
    text = row(page, job)
    for part in (str(bike), "DEMO 67", f"Job {job}", "Bertil Ngata", "Thu 13 Jun, 17:00", "Mika Mechanic"):
        assert part in text
    assert find(page, f"//li[@id='bike-{job}']//a[@href='tel:+005550158']/text()") == ["+00 555 0158"]
    bars = find(page, f"//li[@id='bike-{job}']//span[@class='track']/i/@class")
    assert bars == ["is-done", "is-done", "is-now"]


@pytest.mark.parametrize(
    ("hours", "stage", "due"),
    [
        (-17, "bench", "17 h overdue Mon 10 Jun, 19:00"),
        (-0.75, "bench", "45 min overdue Today, 11:15"),
        (-100, "bench", "4 days overdue Fri 7 Jun, 08:00"),
        (6.75, "bench", "Today, 18:45 6 h 45 left"),
        (24, "bench", "Wed 12 Jun, 12:00"),
        (24 * 365, "bench", "Wed 11 Jun 2031, 12:00"),
        (-17, "ready", "Mon 10 Jun, 19:00 ready, 17 h past its time"),
        (4 * 24, "bench", "Sat 15 Jun, 12:00 closed that day: closed on Saturdays"),
        (None, "bench", "No due time"),
    ],
)
def test_due_time_says_what_it_is(login, noon, hours, stage, due) -> None:
    job = make_job(stage=stage, promised_at=hours and noon + timedelta(hours=hours))
    assert due in row(today(login(Role.DESK)), job)


def test_finished_bike_past_its_time_waits_for_collection_and_is_not_late(login, noon) -> None:
    job = make_job(stage="ready", received_at=noon, promised_at=noon - timedelta(hours=17))
    page = today(login(Role.DESK))
    assert "Waiting for collection" in row(page, job)
    assert counts(page)["overdue"] == 0
    assert counts(page)["waiting for collection"] == 1
    assert job not in Job.objects.overdue()


def test_counts_say_what_the_day_holds_and_filter_the_bikes(login, noon) -> None:
    bike = make_bike()
    late = make_job(bike=bike, stage="bench", received_at=noon, promised_at=noon - timedelta(hours=1))
    out = make_job(bike=bike, stage="bench", received_at=noon, promised_at=noon + timedelta(hours=4))
    coming = make_job(bike=bike, booked_for=noon + timedelta(hours=2))
    make_job(bike=bike, booked_for=noon + timedelta(days=2))
    waiting = make_job(bike=bike, stage="waiting", waiting_for="parts", received_at=noon)
    client = login(Role.MECHANIC)
    assert counts(today(client)) == {
        "overdue": 1,
        "coming in today": 1,
        "due out today": 2,
        "waiting": 1,
        "in the shop": 3,
    }
    for key, jobs in {"late": [late], "out": [late, out], "in": [coming], "waiting": [waiting]}.items():
        listed = find(today(client, show=key), "//ul[@class='bikes']/li/@id")
        assert listed == [f"bike-{job}" for job in jobs]


def test_mine_shows_the_bikes_of_the_reader_and_stays_in_the_address(login, staff) -> None:
    bike = make_bike()
    mine = make_job(bike=bike, stage="bench", mechanic=staff[Role.MECHANIC])
    make_job(bike=bike, stage="bench", mechanic=staff[Role.OWNER])
    client = login(Role.MECHANIC)
    page = today(client, whose="mine", view="week")
    assert find(page, "//ul[@class='bikes']/li/@id") == [f"bike-{mine}"]
    assert find(page, "//*[@aria-label='Whose bikes']/a[@aria-current]/text()") == ["Mine"]
    assert all("whose=mine" in link for link in find(page, "//*[@class='counts']//a/@href"))
    assert all("whose=mine" in link for link in find(page, "//*[@aria-label='Days shown']/a/@href"))


def step_of(page: str, job: Job) -> str:
    (found,) = texts(page, f"//li[@id='bike-{job}']/div[last()]")
    return found.removesuffix(f" , job {job}")


def test_ready_bike_says_when_the_customer_was_told(login, staff, noon) -> None:
    job = make_job(stage="bench", received_at=noon)
    move_to_stage(job=job, by=staff[Role.OWNER], stage="ready")
    ContactEntry.objects.create(job=job, kind="call", direction="out", text="Ready", said_at=noon)
    assert "customer told today, 12:00" in row(today(login(Role.OWNER)), job)


def test_parts_arrived_takes_the_job_back_to_its_stage(login, staff) -> None:
    job = make_job(stage="roller", received_at=timezone.now())
    by = staff[Role.MECHANIC]
    move_to_stage(job=job, by=by, stage="roller", why="strapped down")
    move_to_stage(job=job, by=by, stage="waiting", waiting_for="parts", why="Gasket, two days")
    client = login(Role.MECHANIC)
    page = today(client)
    assert "Gasket, two days" in row(page, job)
    (form,) = find(page, f"//li[@id='bike-{job}']//form")
    sent = {field.get("name"): field.get("value") for field in form.xpath(".//input[@name]")}
    assert client.post(form.get("action"), sent).status_code == 302
    job.refresh_from_db()
    assert job.stage == "roller"


def test_bike_that_is_here_does_not_go_back_to_booked(login, staff) -> None:
    job = make_job(stage="waiting", waiting_for="parts", received_at=timezone.now())
    StageEntry.objects.create(job=job, stage="booked", by=staff[Role.DESK])
    stage = find(today(login(Role.OWNER)), f"//li[@id='bike-{job}']//input[@name='stage']/@value")
    assert stage == ["received"]


def test_step_of_another_role_is_said_without_a_button(login) -> None:
    job = make_job()
    page = today(login(Role.TUNER))
    assert step_of(page, job) == "Next: Check in the bike"
    assert find(page, f"//li[@id='bike-{job}']/div[last()]//a") == []


def test_only_the_most_urgent_bike_has_a_filled_button(login, noon) -> None:
    bike = make_bike()
    make_job(bike=bike, promised_at=noon + timedelta(days=1), booked_for=noon + timedelta(hours=23))
    make_job(bike=bike, promised_at=noon + timedelta(days=2), stage="waiting", waiting_for="parts")
    urgent = make_job(bike=bike, promised_at=noon + timedelta(days=3), stage="bench")
    make_job(bike=bike, promised_at=noon + timedelta(days=4), stage="bench")
    page = today(login(Role.OWNER))
    (button,) = find(page, "//*[contains(@class, 'btn-primary')]")
    assert button.xpath("ancestor::li/@id") == [f"bike-{urgent}"]


def test_today_of_empty_shop_shows_the_next_step(login) -> None:
    assert reverse("job-book") in read_empty_note(today(login(Role.DESK)))
    assert "The service desk can book one." in read_empty_note(today(login(Role.TUNER)))


def read_empty_note(page: str) -> str:
    return page[page.index('<div class="empty">') :]


def test_closed_day_is_said_beside_the_date(login, monkeypatch, shop) -> None:
    monkeypatch.setattr(timezone, "now", lambda: datetime(2030, 6, 9, 12, tzinfo=UTC))
    page = today(login(Role.DESK))
    assert texts(page, "//h1") == ["Sunday 9 June"]
    assert "The shop is closed today: closed on Sundays." in page


def test_today_needs_few_queries_for_any_number_of_jobs(login) -> None:
    bike = make_bike()
    make_job(bike=bike, stage="ready", received_at=timezone.now())
    client = login(Role.DESK)
    today(client)
    with CaptureQueriesContext(connection) as few:
        today(client)
    for number in range(30):
        job = make_job(bike=bike, stage="ready", received_at=timezone.now())
        begin = timezone.now() + timedelta(days=number)
        Slot.objects.create(
            job=job, place=get_workstation("dyno"), starts_at=begin, ends_at=begin + timedelta(hours=1)
        )
    with CaptureQueriesContext(connection) as many:
        page = today(client)
    # Session, person, shop; closed days, open jobs; eleven kinds of record for the next steps; slots,
    # workstations; mails.
    assert len(many) == len(few) == 19
    assert "6 more" in read_html(page, "bikes")


def test_today_requires_login(client, staff) -> None:
    assert client.get(reverse("today")).status_code == 302
    assert client.get(reverse("job-list")).status_code == 302


def get_job_list(client, **query: str) -> str:
    return client.get(reverse("job-list"), query).content.decode()


def test_job_list_is_filtered_by_stage(login) -> None:
    bike = make_bike()
    bench, done = (make_job(bike=bike, stage=stage) for stage in ("bench", "handed_over"))
    client = login(Role.TUNER)
    assert {bench.number, done.number} <= set(get_job_list(client).replace("<", ">").split(">"))
    assert done.number not in get_job_list(client, stage="open")
    assert bench.number not in get_job_list(client, stage="handed_over")
    assert "No jobs found." in get_job_list(client, stage="late")


@pytest.mark.parametrize("words", ["DEMO 44", "demo44", "quill", "tern quill", "cold start", "QUILL DEMO"])
def test_job_list_is_searched(login, words) -> None:
    job = make_job(bike=make_bike(plate="DEMO 44"), brief="Won't idle after a cold start")
    other = make_job(
        bike=make_bike(plate="X 1", make="Ostler", owner=make_customer(name="Orla Venn")), brief="Tyres"
    )
    page = get_job_list(login(Role.DESK), q=words)
    assert job.number in page
    assert other.number not in page


def test_invalid_query_is_ignored(login) -> None:
    client = login(Role.DESK)
    make_job()
    strange = ({"sort": "price"}, {"since": "2026-02-31"}, {"until": "soon"}, {"person": "x"}, {"make": "%"})
    for query in ({"page": "many"}, {"stage": "lost"}, {"q": "%_'\""}, {"q": "x" * 5000}, *strange):
        assert client.get(reverse("job-list"), query).status_code == 200


def test_job_list_is_paged_with_few_queries(login) -> None:
    bike = make_bike()
    for _ in range(60):
        make_job(bike=bike)
    client = login(Role.DESK)
    get_job_list(client)
    with CaptureQueriesContext(connection) as queries:
        page = get_job_list(client)
    assert len(queries) == 7  # session, person, shop; count, jobs; open stages, staff
    assert "Page 1 of 2" in page
    assert Job.objects.order_by("sequence").first().number in get_job_list(client, page="2")


def list_numbers(page: str) -> list[str]:
    return [read_text(cell) for cell in find(page, "//table//tbody//th")]


def test_job_list_is_sorted_by_a_heading_and_back(login) -> None:
    late, soon, none = (
        make_job(bike=make_bike(make=make, plate=make), promised_at=at)
        for make, at in (
            ("Corvessa", timezone.now() + timedelta(days=9)),
            ("Ostler", timezone.now() + timedelta(days=1)),
            ("Dovrant", None),
        )
    )
    client = login(Role.TUNER)
    assert list_numbers(get_job_list(client)) == [none.number, soon.number, late.number]
    page = get_job_list(client, sort="ready")
    assert list_numbers(page) == [soon.number, late.number, none.number]
    (heading,) = find(page, "//th[@aria-sort]")
    assert (read_text(heading), heading.get("aria-sort")) == ("Ready by", "ascending")
    assert heading.find("a").get("href") == "?sort=-ready"
    # A job without a date stays last, whichever way the dates run.
    assert list_numbers(get_job_list(client, sort="-ready")) == [late.number, soon.number, none.number]
    assert list_numbers(get_job_list(client, sort="bike")) == [late.number, none.number, soon.number]


def test_job_list_is_filtered_by_person_make_and_date(login, staff) -> None:
    mine = make_job(
        bike=make_bike(make="Corvessa"),
        mechanic=staff[Role.MECHANIC],
        promised_at=timezone.make_aware(datetime(2026, 12, 1, 12)),
    )
    other = make_job(bike=make_bike(make="Ostler", plate="X 1"), tuner=staff[Role.TUNER])
    client = login(Role.DESK)
    person = str(staff[Role.MECHANIC].pk)
    assert list_numbers(get_job_list(client, person=person)) == [mine.number]
    assert list_numbers(get_job_list(client, person=str(staff[Role.TUNER].pk))) == [other.number]
    assert list_numbers(get_job_list(client, make="corvessa")) == [mine.number]
    assert list_numbers(get_job_list(client, since="2026-12-01", until="2026-12-01")) == [mine.number]
    assert list_numbers(get_job_list(client, since="2026-12-02")) == []


def test_sort_and_filters_stay_in_every_address_of_the_list(login) -> None:
    bike = make_bike()
    for _ in range(60):
        make_job(bike=bike, stage="bench")
    page = get_job_list(login(Role.DESK), stage="bench", sort="-number", q="tern")
    (following,) = find(page, "//a[@rel='next']/@href")
    assert following == "?stage=bench&sort=-number&q=tern&page=2"
    (download,) = find(page, "//a[contains(@href, 'jobs.csv')]/@href")
    assert download == "/jobs.csv?stage=bench&sort=-number&q=tern"


def test_job_list_is_downloaded_as_filtered(login, staff) -> None:
    shown = make_job(bike=make_bike(plate="DEMO 44"), stage="bench", mechanic=staff[Role.MECHANIC])
    make_job(bike=make_bike(plate="X 1"), stage="ready")
    answer = login(Role.TUNER).get(reverse("job-list-csv"), {"stage": "bench"})
    header, *rows = csv.reader(io.StringIO(answer.content.decode(), newline=""))
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert header[:5] == ["job", "bike", "plate", "customer", "stage"]
    assert [row[:4] for row in rows] == [[shown.number, str(shown.bike), "DEMO 44", str(shown.customer)]]
    assert rows[0][7:] == [str(staff[Role.MECHANIC]), ""]


def test_open_stages_show_how_many_jobs_they_have(login) -> None:
    bike = make_bike()
    for stage in ("bench", "bench", "ready", "handed_over"):
        make_job(bike=bike, stage=stage)
    chips = [read_text(chip) for chip in find(get_job_list(login(Role.DESK)), "//*[@class='chip']")]
    assert "All open 3" in chips and "On the bench 2" in chips and "Handed over" in chips
