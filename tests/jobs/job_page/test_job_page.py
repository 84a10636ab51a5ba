"""The job page: all sections in printed order, with a fixed number of queries."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.checklists.ticks import set_tick
from jobs.contacts.add import add_contact
from jobs.job.registry import all_rows
from jobs.job.stages import move_to_stage
from jobs.models import (
    Authorisation,
    BikeChange,
    Check,
    CheckItem,
    ClearanceSet,
    Comparison,
    ComparisonRun,
    ContactEntry,
    DynoSession,
    Handover,
    Job,
    MixtureStudy,
    Part,
    Photo,
    Run,
    ShimPlan,
    ShimPlanRow,
    Slot,
    StageEntry,
    SuspensionSetting,
    ThrottleTable,
    TuneChange,
    TuneChangeKind,
    TuneRevision,
    Wish,
    WorkItem,
)
from reports.handover.notices import current_wording
from reports.models import HandoverSheet
from tests.factories import (
    get_part_kind,
    get_workstation,
    make_bike,
    make_clearance_set,
    make_job,
    make_simulated_runs,
    sign_receipt,
)
from tests.html import by_id, parse, read_text
from workshop.models import Bike, Customer, Role

pytestmark = pytest.mark.django_db


def make_run(job: Job, by, name: str) -> Run:
    return Run.objects.create(
        job=job,
        original="runs/a.csv",
        original_name=name,
        sha256=name,
        size=10,
        status=Run.Status.READ,
        channels="channels/a.npz",
        channel_names=["engine_speed_rpm", "torque_nm"],
        samples=600,
        made_by=by,
    )


def make_full_job(staff) -> Job:
    job = make_job()
    TuneRevision.objects.create(job=job, number=0, loaded_by=staff[Role.DESK])
    for index in range(12):
        make_run(job, staff[Role.TUNER], f"run {index}")
    for _ in range(2):
        make_clearance_set(job, staff[Role.MECHANIC])
        make_clearance_set(job, staff[Role.MECHANIC], when=ClearanceSet.When.AS_LEFT)
    return job


KEYS = [
    "wishes",
    "brief",
    "work",
    "clearances",
    "parts",
    "tunes",
    "runs",
    "comparisons",
    "mixture",
    "throttle",
    "suspension",
    "checks",
    "handover",
]


def test_page_shows_a_line_for_each_section_in_printed_order(login, staff) -> None:
    job = make_full_job(staff)
    page = parse(login(Role.MECHANIC).get(job.get_absolute_url()))
    folds = page.xpath('//details[contains(@class, "fold")]')
    assert [fold.get("id") for fold in folds] == KEYS
    lines = {fold.get("id"): read_text(fold.xpath("./summary")[0]) for fold in folds}
    assert lines["parts"].startswith("Not started: Parts None fitted")
    assert lines["runs"].startswith("Attention: Runs 12 sweeps without air data Toni Tuner, ")
    assert not any(fold.get("open") is not None for fold in folds)
    assert f"Job {job.number}" in read_text(page)
    assert "Ines Quill" in read_text(page)


def test_section_opens_by_address_and_by_its_own(login, staff) -> None:
    job, client = make_full_job(staff), login(Role.MECHANIC)
    page = client.get(job.get_absolute_url(), {"open": "clearances"})
    fold = by_id(page, "clearances")
    assert fold.get("open") is not None
    assert fold.xpath(".//a[contains(@href, 'clearances/')]")
    assert by_id(page, "runs").get("open") is None
    [address] = by_id(client.get(job.get_absolute_url()), "clearances").xpath(".//@hx-get")
    body = client.get(address)
    assert read_text(fold.xpath("./div")[0]) == read_text(body)
    assert client.get(reverse("job-section", args=[job, "gearbox"])).status_code == 404


def test_page_needs_few_queries_for_any_number_of_jobs(login, staff) -> None:
    job = make_full_job(staff)
    client = login(Role.TUNER)
    url = reverse("job", args=[job])
    client.get(url)
    with CaptureQueriesContext(
        connection,
    ) as alone:
        client.get(url)
    bike = Bike.objects.get(pk=job.bike_id)
    for index in range(50):
        make_job(bike=make_bike(owner=bike.owner, plate=f"DEMO {index + 30}"))
    with CaptureQueriesContext(connection) as among_others:
        client.get(url)
    assert len(among_others) == len(alone)


def test_unknown_job_returns_404(login) -> None:
    assert login(Role.DESK).get(reverse("job", args=["2026-999"]), {"open": "all"}).status_code == 404


def test_job_page_requires_login(client, staff) -> None:
    url = reverse("job", args=[make_job()])
    response = client.get(url)
    assert response.status_code == 302
    assert response.headers["Location"] == f"{reverse('login')}?next={url}"


def test_check_in_button_is_shown_to_the_desk_only(login) -> None:
    job = make_job()
    url, receive = reverse("job", args=[job]), reverse("job-receive", args=[job])
    assert receive in login(Role.DESK).get(url).content.decode()
    assert ">Check in the bike</a>" not in login(Role.MECHANIC).get(url).content.decode()


EDITED = {"brief": "Valves and a sync", "intended_use": "road_and_track"}


def test_desk_edits_a_job(login) -> None:
    job = make_job()
    response = login(Role.DESK).post(
        reverse("job-edit", args=[job]), {**EDITED, "version": job.version, "authorised_amount": "410,00"}
    )
    job.refresh_from_db()
    assert response.status_code == 302
    assert (job.brief, job.intended_use, str(job.authorised_amount)) == (
        "Valves and a sync",
        "road_and_track",
        "410.00",
    )


ANSWER = {"asked": "Ines Quill", "how": "message", "asked_at": "2025-03-12T10:30", "words": "All right."}


def edit(client, job: Job, **sent: str):
    return client.post(reverse("job-edit", args=[job]), {**EDITED, "version": job.version, **sent})


def test_higher_limit_needs_the_customers_answer(login) -> None:
    job, client = make_job(authorised_amount="300"), login(Role.DESK)
    refused = edit(client, job, authorised_amount="410")
    assert refused.status_code == 422
    assert "This is 110.00 more than the 300.00 authorised so far." in refused.text
    assert "Valves and a sync" in refused.text
    assert edit(client, job, authorised_amount="410", **ANSWER, answer="agreed").status_code == 302
    job.refresh_from_db()
    answer = job.authorisations.get()
    assert (str(job.authorised_amount), str(answer.amount)) == ("410.00", "410.00")
    assert (answer.asked_by.username, answer.how, answer.words) == ("desk", "message", "All right.")
    assert edit(client, job, authorised_amount="350").status_code == 302  # less needs no question


def test_refused_limit_stays_and_the_rest_is_saved(login) -> None:
    job = make_job(authorised_amount="300")
    answer = edit(login(Role.DESK), job, authorised_amount="410", **ANSWER, answer="refused")
    assert answer.status_code == 302
    job.refresh_from_db()
    assert (str(job.authorised_amount), job.brief) == ("300.00", "Valves and a sync")
    assert job.authorisations.get().answer == "refused"


def test_limit_below_the_agreed_work_is_refused_where_it_is_typed(login) -> None:
    job = make_job(authorised_amount="300")
    WorkItem.objects.create(job=job, description="Valves", price="240.50")
    refused = edit(login(Role.DESK), job, authorised_amount="200")
    assert refused.status_code == 422
    assert "The agreed work adds up to 240.50, which is 40.50 more than this." in refused.text


def test_empty_request_shows_error_at_the_field(login) -> None:
    job = make_job()
    response = login(Role.DESK).post(reverse("job-edit", args=[job]), {"intended_use": "track_only"})
    assert response.status_code == 422
    assert "This field is required." in response.content.decode()
    assert '<option value="track_only" selected>' in response.content.decode()


def test_concurrent_edits_of_a_job_preserve_both_inputs(login) -> None:
    job = make_job()
    url = reverse("job-edit", args=[job])
    seen = job.version
    login(Role.OWNER).post(url, {**EDITED, "brief": "From the owner", "version": seen})
    refused = login(Role.DESK).post(url, {**EDITED, "brief": "From the desk", "version": seen})
    page = refused.content.decode()
    assert refused.status_code == 422
    assert "Ola Owner" in page
    assert "From the owner" in page
    assert "From the desk" in page


def test_tuner_can_edit_the_remarks(login) -> None:
    job = make_job()
    client = login(Role.TUNER)
    words = {"not_tested": "No road test in the wet", "next_service": "Valves at 36 000 km"}
    assert client.post(reverse("job-remarks", args=[job]), words).status_code == 302
    page = client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    assert "No road test in the wet" in page
    assert "Valves at 36 000 km" in page


def test_staff_choices_are_limited_to_the_role(login, staff) -> None:
    page = login(Role.DESK).get(reverse("job-edit", args=[make_job()])).content.decode()
    mechanics = page[page.index('name="mechanic"') : page.index('name="tuner"')]
    assert "Mika Mechanic" in mechanics
    assert "Toni Tuner" not in mechanics


@pytest.mark.parametrize("name", ["job-edit", "work-item-add"])
@pytest.mark.parametrize("role", [Role.MECHANIC, Role.TUNER])
def test_editing_a_job_requires_desk_role(login, name, role) -> None:
    assert login(role).get(reverse(name, args=[make_job()])).status_code == 403


def add_work(client, job: Job, **data: str):
    return client.post(reverse("work-item-add", args=[job]), data)


def test_agreed_work_is_totalled_against_the_customer_limit(login) -> None:
    job = make_job(authorised_amount="300")
    client = login(Role.DESK)
    assert add_work(client, job, description="Valves", price="240,50").status_code == 302
    page = client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    assert "240.50" in page
    assert "Ask the customer before you continue" not in page
    WorkItem.objects.create(job=job, description="Sync", price="60")
    page = client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    assert "300.50" in page
    assert "EUR 0.50 more than the customer's limit of EUR 300.00." in page


def test_work_without_price_is_counted(login) -> None:
    job = make_job()
    client = login(Role.DESK)
    add_work(client, job, description="Look at the noise")
    assert (
        "Total, 1 item without a price"
        in client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    )


def test_work_is_edited_marked_done_and_removed(login) -> None:
    job = make_job()
    client = login(Role.DESK)
    add_work(client, job, description="Valves", price="240")
    item = job.work_items.get()
    edit = reverse("work-item-edit", args=[item.pk])
    client.post(edit, {"description": "Valves", "price": "250", "done": "on", "version": item.version})
    item.refresh_from_db()
    assert (str(item.price), item.done) == ("250.00", True)
    assert client.post(reverse("work-item-remove", args=[item.pk])).status_code == 302
    assert not job.work_items.exists()
    assert client.get(edit).status_code == 404


def test_negative_price_is_rejected(login) -> None:
    response = add_work(login(Role.DESK), make_job(), description="Valves", price="-1")
    assert response.status_code == 422
    assert 'value="-1"' in response.content.decode()


def make_job_with_everything(staff) -> Job:
    """Create a job with at least one of every record on the page."""
    job, mechanic, desk = make_full_job(staff), staff[Role.MECHANIC], staff[Role.DESK]
    Photo.objects.create(job=job, image="photos/a.jpg", original_name="a.jpg", by=desk)
    WorkItem.objects.create(job=job, description="Check and set the valves")
    Authorisation.objects.create(
        job=job, amount="410", asked="Ines Quill", asked_by=desk, how="phone", answer="agreed"
    )
    add_contact(job, ContactEntry.Kind.CALL, "The customer collects on Friday.", by=desk)
    StageEntry.objects.create(job=job, stage=job.stage, by=desk, why="the owner is on holiday")
    Handover.objects.create(
        job=job,
        by=desk,
        handed_to="Ines Quill",
        informed="not_told",
        open_points=["One check is not ticked."],
        override_reason="The customer rides on tonight.",
    )
    Part.objects.create(job=job, name="Cotton air filter", fitted_at=job.created_at)
    BikeChange.objects.create(
        job=job, kind=get_part_kind("tyre"), description="rear tyre renewed", by=mechanic
    )
    for when in SuspensionSetting.When:
        SuspensionSetting.objects.create(job=job, when=when, front_preload="4 turns", by=mechanic)
    for item in CheckItem.objects.all():
        Check.objects.create(job=job, item=item, by=mechanic)
    DynoSession.objects.create(job=job, number=2, by=mechanic)
    measured = job.clearance_sets.earliest("pk")
    plan = ShimPlan.objects.create(
        clearance_set=measured,
        policy="target",
        accepted_by=mechanic,
        stock_booked_out_at=job.created_at,
    )
    for reading in measured.readings.all():
        valve = {name: getattr(reading, name) for name in ("cylinder", "side", "position", "gap")}
        sizes = {"out_mm": "2.50", "in_mm": "2.45", "predicted_mm": "0.16"}
        ShimPlanRow.objects.create(plan=plan, **valve, **sizes, origin="buy")
    tune = TuneRevision.objects.create(job=job, number=1, title="road and track", loaded_by=desk)
    for kind in TuneChangeKind.objects.all()[:2]:
        TuneChange.objects.create(revision=tune, kind=kind, to_value="1350", reason="stalls when warm")
    ThrottleTable.objects.create(
        revision=tune, mode="Wet", grip_pct=[0, 100], engine_speed_rpm=[3000], plate_pct=[[0], [100]]
    )
    job.runs.filter(original_name="run 11").update(tune_revision=tune)
    for title in ("Silencer alone", "All of it"):
        comparison = Comparison.objects.create(job=job, title=title)
        for run in job.runs.all():
            group = "before" if run.original_name < "run 5" else "after"
            ComparisonRun.objects.create(comparison=comparison, run=run, group=group)
    MixtureStudy.objects.create(
        job=job, title="Held runs", made_by=staff[Role.TUNER], rpm_axis=[3000], load_axis=[20], target=1
    )
    for number in (1, 2):
        HandoverSheet.objects.create(
            job=job, issue_number=number, snapshot={}, wording=current_wording(), issued_by=desk
        )
        Slot.objects.create(
            job=job,
            place=get_workstation(f"bench {number}"),
            starts_at=datetime(2026, 6, 10 + number, 9, tzinfo=UTC),
            ends_at=datetime(2026, 6, 10 + number, 11, tzinfo=UTC),
        )
    Wish.objects.create(
        job=job,
        text="Stalls when warm",
        result=Wish.Result.DONE,
        answer="Idle raised",
        answered_by=staff[Role.TUNER],
        records=[f"comparison-{comparison.pk}"],
    )
    sign_receipt(job, desk)
    return job


FIXED_QUERIES = 6  # session, person, shop, job, kinds of records, transaction of the test


def test_page_needs_at_most_one_query_per_kind_of_record(login, staff) -> None:
    job = make_job_with_everything(staff)
    client, url = login(Role.TUNER), reverse("job", args=[job])
    client.get(url)
    with CaptureQueriesContext(connection) as queries:
        page = client.get(url, {"open": "all"}).content.decode()
    assert len(queries) <= FIXED_QUERIES + len(all_rows()), [query["sql"][:90] for query in queries]
    # PostgreSQL 15, 20.7.4: above join_collapse_limit (8 by default) joins run in the written order.
    assert max(query["sql"].count(" JOIN ") + 1 for query in queries if "UNION" not in query["sql"]) <= 8
    shown = [
        "a.jpg", "Check and set the valves", "the owner is on holiday", "Cotton air filter",
        "rear tyre renewed", "4 turns", "Accepted shim plan: ", "road and track", "Wet", "Silencer alone",
        "All of it", "Held runs",
        f"Sheet {job.number}/1", f"Sheet {job.number}/2",
        "11 Jun 2026, 09:00–11:00", "12 Jun 2026, 09:00–11:00", ", bench 1", ", bench 2",
    ]  # fmt: skip
    assert [words for words in shown if words not in page] == []


def test_page_shows_each_record_once(login, staff) -> None:
    # Twelve runs in two comparisons, two changes of one tune and two sheets: repeated rows.
    page = (
        login(Role.TUNER)
        .get(reverse("job", args=[make_job_with_everything(staff)]), {"open": "all"})
        .content.decode()
    )
    assert page.count(">Tune 1</a>") == 1
    assert page.count("<dt>Tune 1</dt><dd>1 ") == 1
    assert page.count("<dt>Tune not recorded</dt><dd>11 ") == 1
    assert page.count(">7 runs before, 5 after<") == 2
    assert page.count(">Silencer alone</a>") == page.count(">All of it</a>") == 1
    assert page.count("/2, not printed yet</a>") == 1
    assert page.count("09:00–11:00") == 2


# --- the head: customer, limit, stages, the next step


def test_customer_can_be_called_and_mailed_from_the_head(login) -> None:
    job = make_job()
    job.customer.phone, job.customer.email = "+00 (555) 0163", "ines@quill.example"
    job.customer.save()
    head = by_id(login(Role.DESK).get(job.get_absolute_url()), "job-head")
    assert head.xpath(".//a[starts-with(@href, 'tel:')]/@href") == ["tel:+005550163"]
    assert "mailto:ines@quill.example" in head.xpath(".//a/@href")


def read_next_step(client, job: Job) -> str:
    """Return the next step that the job page shows, and Today too."""
    [button] = by_id(client.get(job.get_absolute_url()), "job-head").find_class("btn-primary")
    [on_today] = by_id(client.get("/"), f"bike-{job}").find_class("step")
    assert read_text(on_today) == f"{read_text(button)} , job {job}"
    return read_text(button)


def test_one_next_step_follows_the_work(login, staff) -> None:
    job, client = make_job(brief="Valves and a sync"), login(Role.OWNER)
    assert read_next_step(client, job) == "Check in the bike"
    move_to_stage(job=job, by=staff[Role.DESK], stage="received")
    assert read_next_step(client, job) == "Move to the bench"
    move_to_stage(job=job, by=staff[Role.MECHANIC], stage="bench")
    assert read_next_step(client, job) == "Measure valves"
    make_clearance_set(job, staff[Role.MECHANIC], "0.10")
    assert read_next_step(client, job) == "Adjust 6 valves"  # intake 0.10 mm is in range
    left = make_clearance_set(job, staff[Role.MECHANIC], "0.16", when=ClearanceSet.When.AS_LEFT)
    left.readings.filter(side="exhaust").update(clearance_mm="0.31")
    assert read_next_step(client, job).startswith("After valve work: ")
    tick_all(job, staff, "after_valves")
    item = WorkItem.objects.create(job=job, description="Check and set the valves")
    assert read_next_step(client, job) == "Tick agreed work: 1 item"
    item.done = True
    item.save()
    assert read_next_step(client, job).startswith("Before handover: ")
    tick_all(job, staff, "before_handover")
    assert read_next_step(client, job) == "Move to Ready"
    move_to_stage(job=job, by=staff[Role.MECHANIC], stage="ready")
    assert read_next_step(client, job) == "Issue the handover sheet"


def test_next_step_on_the_dyno_while_waiting_and_when_ready(login, staff) -> None:
    now, by, client = timezone.now(), staff[Role.OWNER], login(Role.OWNER)
    job = make_job(received_at=now, stage="roller", promised_at=now + timedelta(days=2))
    assert read_next_step(client, job).startswith("Before the dyno: ")
    tick_all(job, staff, "before_roller")
    assert read_next_step(client, job) == "Upload runs"
    make_simulated_runs(job, by, "tern", "before", "sweep")
    assert read_next_step(client, job).startswith("Before handover: ")
    tick_all(job, staff, "before_handover")
    assert read_next_step(client, job) == "Move to Ready"
    DynoSession.objects.create(job=job, number=2, by=by, started_at=now)
    assert read_next_step(client, job).startswith("Before the dyno: ")  # strapped down again, checked again
    for waits_for, step in (
        ("parts", "Parts arrived"),
        ("decision", "Decision made"),
        ("customer", "Call the customer"),
    ):
        move_to_stage(job=job, by=by, stage="waiting", waiting_for=waits_for)
        assert read_next_step(client, job) == step
    add_contact(job=job, by=by, kind="call", text="May the chain be replaced?", direction="out")
    assert read_next_step(client, job) == "Customer answered"
    DynoSession.objects.all().delete()
    move_to_stage(job=job, by=by, stage="ready")
    HandoverSheet.objects.create(
        job=job, issue_number=1, snapshot={}, wording=current_wording(), issued_by=by
    )
    assert read_next_step(client, job) == "Call the customer"
    Customer.objects.update(phone="")
    assert read_next_step(client, job) == "Tell the customer"
    add_contact(job=job, by=by, kind="message", text="Ready to collect", direction="out")
    assert read_next_step(client, job) == "Hand over the bike"
    ContactEntry.objects.all().delete()
    Job.objects.update(promised_at=timezone.now().replace(hour=23, minute=59, second=59))
    assert read_next_step(client, job) == "Hand over the bike"  # they come today, as agreed


def tick_all(job: Job, staff, kind: str) -> None:
    for item in CheckItem.objects.filter(list=kind):
        set_tick(job=job, item=item, by=staff[Role.MECHANIC], ticked=True)


def test_blockers_lead_to_where_they_are_cured(login, staff) -> None:
    job = make_job(stage="bench", received_at=timezone.now())
    make_clearance_set(job, staff[Role.MECHANIC], "0.10")
    head = by_id(login(Role.MECHANIC).get(job.get_absolute_url()), "job-head")
    links = {read_text(link): link.get("href") for link in head.xpath(".//ul/li/a")}
    assert links["6 valves out of range or not certain"].endswith("?open=clearances#clearances")
    after_valves = next(url for label, url in links.items() if label.startswith("After valve work: "))
    assert after_valves == f"{reverse('checks', args=[job])}#after_valves-title"


def test_stage_moves_by_one_press_of_its_step(login) -> None:
    job, client = make_job(stage="received", received_at=timezone.now()), login(Role.MECHANIC)
    form = by_id(client.get(job.get_absolute_url()), "stage")
    assert form.xpath(".//button[@type='submit']/@value") == ["bench", "roller", "ready"]
    sent = {name: form.xpath(f".//input[@name='{name}']/@value")[0] for name in ("seen", "form_key")}
    assert client.post(form.get("action"), {**sent, "stage": "roller"}).status_code == 302
    steps = by_id(client.get(job.get_absolute_url()), "stage").xpath(".//li")
    assert next(read_text(step) for step in steps if step.get("aria-current")).startswith("Now: On the dyno")
    # Somebody who still saw the earlier stage is told.
    refused = client.post(form.get("action"), {"seen": "received", "stage": "bench"})
    assert refused.status_code == 422
    assert "moved this job" in refused.text


# --- the bike diary


def read_diary(client, job: Job, shown: str = "") -> list[str]:
    page = client.get(job.get_absolute_url(), {"diary": shown} if shown else {})
    return [read_text(entry) for entry in by_id(page, "diary").xpath(".//ul/li/span")]


def test_diary_merges_contact_and_bike_latest_first(login, staff) -> None:
    job, client = make_job(), login(Role.TUNER)
    hour = timedelta(hours=1)
    then = timezone.now() - 9 * hour
    move_to_stage(job=job, by=staff[Role.DESK], stage="received", at=then)
    for name in ("a", "b"):
        run = make_run(job, staff[Role.TUNER], name)
        run.made_at = then + 2 * hour
        run.save()
    kind = ContactEntry.Kind.CALL
    add_contact(job, kind, "Collects on Friday.", by=staff[Role.DESK], said_at=then + hour)
    assert [entry.split(",")[0] for entry in read_diary(client, job)] == [
        "2 runs",
        "Call from the customer",
        "Checked in",
    ]
    [call] = read_diary(client, job, "contact")
    assert call.startswith("Call from the customer, Dana Desk: Collects on Friday.")
    assert read_diary(client, job, "bike") == ["2 runs", "Checked in, Dana Desk"]


def test_note_is_written_from_the_diary_without_a_time(login) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    form = by_id(client.get(job.get_absolute_url()), "diary").xpath(".//form")[0]
    sent = {"text": "Chain is stiff", "kind": "note", "direction": ""}
    assert client.post(form.get("action"), sent).status_code == 302
    assert read_diary(client, job, "contact")[0].startswith("Note by Mika Mechanic: Chain is stiff")
