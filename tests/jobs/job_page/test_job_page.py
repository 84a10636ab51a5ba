"""The job page: all sections in printed order, with a fixed number of queries."""

from datetime import UTC, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.job.registry import all_rows
from jobs.models import (
    Authorisation,
    BikeChange,
    Check,
    CheckItem,
    ClearanceSet,
    Comparison,
    ComparisonRun,
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
    sign_receipt,
)
from workshop.models import Bike, Role

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


def test_page_shows_sections_in_printed_order_with_states(login, staff) -> None:
    job = make_full_job(staff)
    page = login(Role.MECHANIC).get(reverse("job", args=[job])).content.decode()
    keys = [
        "brief",
        "clearances",
        "parts",
        "tunes",
        "runs",
        "comparisons",
        "mixture",
        "throttle",
        "suspension",
        "checks",
    ]
    places = [page.index(f'<section id="{key}"') for key in keys]
    assert places == sorted(places)
    assert all(f'href="#{key}"' in page for key in keys)
    assert f"Job {job.number}" in page
    assert "Ines Quill" in page
    assert page.count('class="state state-') >= 2 * len(keys)


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
    assert login(Role.DESK).get(reverse("job", args=["2026-999"])).status_code == 404


def test_job_page_requires_login(client, staff) -> None:
    url = reverse("job", args=[make_job()])
    response = client.get(url)
    assert response.status_code == 302
    assert response.headers["Location"] == f"{reverse('login')}?next={url}"


def test_check_in_button_is_shown_to_the_desk_only(login) -> None:
    job = make_job()
    url, receive = reverse("job", args=[job]), reverse("job-receive", args=[job])
    assert receive in login(Role.DESK).get(url).content.decode()
    assert ">Receive the bike</a>" not in login(Role.MECHANIC).get(url).content.decode()


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
    assert "The work agreed comes to 240.50, which is 40.50 more than this." in refused.text


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
    page = client.get(reverse("job", args=[job])).content.decode()
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
    page = client.get(reverse("job", args=[job])).content.decode()
    assert "240.50" in page
    assert "Ask before going on" not in page
    WorkItem.objects.create(job=job, description="Sync", price="60")
    page = client.get(reverse("job", args=[job])).content.decode()
    assert "300.50" in page
    assert "0.50 EUR more than the 300.00 EUR that the customer authorised. Ask before going on." in page


def test_work_without_price_is_counted(login) -> None:
    job = make_job()
    client = login(Role.DESK)
    add_work(client, job, description="Look at the noise")
    assert "Total, 1 without a price" in client.get(reverse("job", args=[job])).content.decode()


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
    sign_receipt(job, desk)
    return job


FIXED_QUERIES = 6  # session, person, shop, job, kinds of records, transaction of the test


def test_page_needs_at_most_one_query_per_kind_of_record(login, staff) -> None:
    job = make_job_with_everything(staff)
    client, url = login(Role.TUNER), reverse("job", args=[job])
    client.get(url)
    with CaptureQueriesContext(connection) as queries:
        page = client.get(url).content.decode()
    assert len(queries) <= FIXED_QUERIES + len(all_rows()), [query["sql"][:90] for query in queries]
    # PostgreSQL 15, 20.7.4: above join_collapse_limit (8 by default) joins run in the written order.
    assert max(query["sql"].count(" JOIN ") + 1 for query in queries if "UNION" not in query["sql"]) <= 8
    shown = [
        "a.jpg", "Check and set the valves", "the owner is on holiday", "Cotton air filter",
        "rear tyre renewed", "4 turns", "accepted shim plan", "road and track", "Wet", "Silencer alone",
        "All of it", "Held runs",
        f"Sheet {job.number}/1", f"Sheet {job.number}/2",
        "11 Jun 2026, 09:00–11:00", "12 Jun 2026, 09:00–11:00", ", bench 1", ", bench 2",
    ]  # fmt: skip
    assert [words for words in shown if words not in page] == []


def test_page_shows_each_record_once(login, staff) -> None:
    # Twelve runs in two comparisons, two changes of one tune and two sheets: repeated rows.
    page = login(Role.TUNER).get(reverse("job", args=[make_job_with_everything(staff)])).content.decode()
    assert page.count(">Tune 1</a>") == 1
    assert page.count("<dt>Tune 1</dt><dd>1 ") == 1
    assert page.count("<dt>Tune not recorded</dt><dd>11 ") == 1
    assert page.count(">7 runs before, 5 after<") == 2
    assert page.count(">Silencer alone</a>") == page.count(">All of it</a>") == 1
    assert page.count("/2, not printed yet</a>") == 1
    assert page.count("09:00–11:00") == 2
