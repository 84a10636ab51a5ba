"""The road-use notice looks at the whole bike: what earlier jobs left on it, and what came off again."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.job.page import load_page
from jobs.job.registry import all_rows, carried_rows
from jobs.job.road_use import describe_causes
from jobs.models import BikeChange, Job, Part, PartKind, TuneChange, TuneChangeKind, TuneRevision
from reports.documents.bike_history import bike_history_pdf
from reports.documents.job_tag import job_tag_facts
from reports.handover import notices
from reports.handover.notices import VERSION, current_wording
from reports.handover.snapshot import make_snapshot
from reports.models import NoticeWording
from tests import factories
from tests.html import read_html
from tests.jobs.job_page.test_job_page import FIXED_QUERIES, make_job_with_everything
from tests.reports import whole_jobs
from tests.reports.reading import squeezed, whole_text
from workshop.models import Bike, Role, ShopProfile

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).parents[3]
SPRING = datetime(2026, 3, 2, 9, tzinfo=UTC)
SUMMER = SPRING + timedelta(days=100)


@pytest.fixture
def earlier(staff) -> Job:
    """Return a job that left a race exhaust and disabled sensor feedback on the bike."""
    whole_jobs.make_shop(time_zone="UTC")
    job = factories.make_job(received_at=SPRING)
    Part.objects.create(
        job=job,
        name="Exhaust, two into one",
        kind=factories.get_part_kind("exhaust"),
        race_only=True,
        fitted_at=SPRING,
    )
    set_feedback(job, staff, "on", "off", SPRING)
    return job


@pytest.fixture
def job(earlier) -> Job:
    return factories.make_job(bike=earlier.bike, received_at=SUMMER)


def set_feedback(job: Job, staff, before: str, after: str, at: datetime) -> TuneRevision:
    by = staff[Role.TUNER]
    TuneRevision.objects.get_or_create(job=job, number=0, defaults={"loaded_by": by, "loaded_at": at})
    number = job.tune_revisions.count()
    tune = TuneRevision.objects.create(
        job=job, number=number, loaded_by=by, loaded_at=at + timedelta(hours=number)
    )
    kind = TuneChangeKind.objects.get(name="sensor feedback")
    TuneChange.objects.create(revision=tune, kind=kind, from_value=before, to_value=after, reason="asked for")
    return tune


def causes(job: Job) -> list[str]:
    return factories.load_results(job).get(describe_causes)


def notice(job: Job, staff):
    results = factories.load_results(job)
    return make_snapshot(results, issue_number=1, issued_by=staff[Role.DESK], at=SUMMER).notices


EXHAUST = (
    "Exhaust, two into one (exhaust){}: Marked for race use only: it may not be allowed on public roads. "
    "With a changed exhaust, emissions and noise may no longer meet the law."
)
FEEDBACK = "Tune, sensor feedback{}: With sensor feedback off, exhaust emissions may no longer meet the law."


def test_next_job_names_causes_of_earlier_job_with_its_date(earlier, job, staff) -> None:
    source = f", from job {earlier.number}, 2 Mar 2026"
    assert causes(job) == [EXHAUST.format(source), FEEDBACK.format(source)]
    assert notice(job, staff).state == "causes"
    assert causes(earlier) == [EXHAUST.format(""), FEEDBACK.format("")]


def test_customer_is_to_be_told_of_carried_causes(job) -> None:
    from tests.reports.handover.test_issuing import texts

    assert "Tell the customer, then enter the name of the person told." in texts(job)


def test_part_taken_off_and_feedback_enabled_are_no_causes(earlier, job, staff) -> None:
    exhaust = earlier.parts.get()
    BikeChange.objects.create(
        job=job,
        kind=factories.get_part_kind("put back as built, or removed"),
        description="race exhaust off",
        removes_part=exhaust,
        at=SUMMER,
        by=staff[Role.MECHANIC],
    )
    set_feedback(job, staff, "off", "on", SUMMER)
    assert causes(job) == []


def test_cause_returns_if_the_record_that_took_it_off_is_deleted(earlier, job) -> None:
    fitted = Part.objects.create(
        job=job, name="Exhaust as built", removes_part=earlier.parts.get(), fitted_at=SUMMER
    )
    assert len(causes(job)) == 1
    fitted.delete()
    assert len(causes(job)) == 2


@pytest.mark.parametrize("fitted_at", [None, SPRING - timedelta(days=1)])
def test_part_on_the_shelf_or_fitted_earlier_takes_nothing_off(earlier, job, fitted_at) -> None:
    Part.objects.create(
        job=job, name="Exhaust as built", removes_part=earlier.parts.get(), fitted_at=fitted_at
    )
    assert len(causes(job)) == 2


def test_equal_value_from_another_base_does_not_undo_an_earlier_change(earlier, job, staff) -> None:
    """Job one goes from 0 to +4; job two counts from 0 again and goes back to its own 0."""
    fuel = TuneChangeKind.objects.get(name="fuel")
    for tune, before, after in (
        (earlier.tune_revisions.last(), "0", "+4"),
        (set_feedback(job, staff, "off", "on", SUMMER), "0", "+2"),
        (set_feedback(job, staff, "on", "on", SUMMER), "+2", "0"),
    ):
        TuneChange.objects.create(revision=tune, kind=fuel, from_value=before, to_value=after, reason="lean")
    assert [cause.split(":")[0] for cause in causes(job)][1:] == [
        f"Tune, fuel, from job {earlier.number}, 2 Mar 2026"
    ]
    TuneChange.objects.create(
        revision=job.tune_revisions.last(), kind=fuel, to_value="as built", reason="asked"
    )
    assert len(causes(job)) == 1


def test_part_never_fitted_in_a_cancelled_job_is_no_cause(earlier, job) -> None:
    Part.objects.filter(job=earlier).update(fitted_at=None)
    assert "listed, not marked as fitted" in causes(job)[0]
    Job.objects.filter(pk=earlier.pk).update(stage="cancelled")
    assert causes(job) == [FEEDBACK.format(f", from job {earlier.number}, 2 Mar 2026")]


def test_other_bikes_of_the_customer_do_not_matter(earlier) -> None:
    other = factories.make_job(bike=factories.make_bike(owner=earlier.customer, plate="DEMO 99"))
    assert causes(other) == []


def test_approval_is_printed_beside_the_cause_and_removes_none(earlier, job) -> None:
    part = earlier.parts.get()
    part.approval = "E1 04*0017"
    part.save()
    assert causes(job)[0].endswith("Approval recorded: E1 04*0017. Ask whether it covers this bike.")


def test_empty_notice_says_what_was_looked_at_and_no_more(staff) -> None:
    whole_jobs.make_shop(time_zone="UTC")
    bike = factories.make_bike()
    factories.make_job(bike=bike, received_at=SPRING)
    job = factories.make_job(bike=bike, received_at=SUMMER)
    Part.objects.create(job=job, name="Chain", fitted_at=SUMMER)
    made = notice(job, staff)
    assert made.state == "clear"
    assert made.lead == (
        "We recorded no change on this job that affects road approval. Earlier changes and the bike's "
        "condition were not assessed. This is a record, not an approval."
    )
    assert made.looked_at == (
        "Searched: this shop's records of 2 jobs of this bike since 2 Mar 2026: parts; tunes; "
        "sprockets, ride height and, if the top speed is on record, tyre speed symbols; other changes. "
        "1 part recorded without a type, so not assessed. Work done elsewhere, or not recorded, "
        "is not covered."
    )


def test_track_only_notice_names_causes_and_transport(job, staff) -> None:
    job.intended_use = Job.IntendedUse.TRACK_ONLY
    job.save()
    made = notice(job, staff)
    assert "On public roads it may not be road legal and may not be insured" in made.lead
    assert "Moving it on public roads under its own power, even to a track, is not covered" in made.lead
    assert len(made.causes) == 2


def test_notice_sends_reader_to_insurer_manufacturer_authority_and_organiser(job, staff) -> None:
    text = notices.as_text(notice(job, staff))
    for words in (
        "Your insurer may have to be told of changes",
        "warranty may be affected",
        "may be unlawful to remove or disable emission or noise controls",
        "the circuit may have a noise limit",
        "ask the organiser",
        "This sheet and the shop's software do not.",
        "an authority may have to be told about: Exhaust, two into one (exhaust); Tune, sensor feedback.",
    ):
        assert words in text


def test_earlier_wording_stays_and_a_new_version_is_added(earlier, staff) -> None:
    NoticeWording.objects.all().delete()
    first = NoticeWording.objects.create(version=1, road_use="as it was", safety="as it was")
    assert current_wording().version == VERSION
    first.refresh_from_db()
    assert first.road_use == "as it was"
    assert current_wording() == NoticeWording.objects.get(version=VERSION)
    own = NoticeWording.objects.create(version=VERSION + 1, road_use="later", safety="later")
    assert current_wording() == own


def test_notice_history_and_tag_name_the_carried_causes(job, staff) -> None:
    assert notice(job, staff).causes == causes(job)
    assert f"- {causes(job)[0]}" in notices.as_text(notice(job, staff))
    shop = ShopProfile.current()
    printed = whole_text(bike_history_pdf(Bike.objects.get(), shop, SUMMER))
    assert squeezed(causes(job)[0]) in printed
    assert squeezed("records of 2 jobs of this bike") in printed
    assert job_tag_facts(job, shop)["race_parts"]


def test_job_page_and_bike_page_show_the_carried_causes(earlier, job, login) -> None:
    client = login(Role.MECHANIC)
    page = client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    assert "On the bike from earlier jobs" in read_html(page, "parts")
    assert f"from job {earlier.number}, 2 Mar 2026" in read_html(page, "parts")
    assert "1 change may affect road use" in read_html(page, "tunes")
    bike = client.get(reverse("bike", args=[job.bike_id])).content.decode()
    assert f"Tune, sensor feedback, from job {earlier.number}, 2 Mar 2026" in bike


def test_page_needs_one_more_query_for_each_kind_that_is_carried(login, staff) -> None:
    earlier = make_job_with_everything(staff)
    job = factories.make_job(bike=earlier.bike)
    client, url = login(Role.TUNER), reverse("job", args=[job])
    client.get(url)
    with CaptureQueriesContext(connection) as queries:
        client.get(url)
    assert len(carried_rows()) == 6
    assert len(queries) <= FIXED_QUERIES + len(all_rows()) + len(carried_rows())


def test_carried_rows_are_read_only_if_there_are_any(job, earlier) -> None:
    alone = factories.make_job(bike=factories.make_bike(owner=job.customer, plate="DEMO 98"))
    for page, count in ((load_page(alone), 0), (load_page(job), 1)):
        with CaptureQueriesContext(connection) as queries:
            assert len(page.carried_rows(Part)) == count
        assert len(queries) == count


PART = {"name": "Exhaust as built", "quantity": "1", "fitted_at": "2026-06-10T09:00", "times_right": "on"}


def test_part_form_takes_off_a_part_of_an_earlier_job(earlier, job, login) -> None:
    client, url = login(Role.MECHANIC), reverse("part-add", args=[job])
    page = client.get(url).content.decode()
    assert f"Exhaust, two into one (exhaust), job {earlier.number}" in page
    kind = factories.get_part_kind("part as built, renewed or refitted").pk
    values = {**PART, "kind": kind, "removes_part": earlier.parts.get().pk}
    refused = client.post(url, {**values, "fitted_at": ""})
    assert refused.status_code == 422
    assert "a part that is not fitted replaces nothing" in refused.content.decode()
    early = client.post(url, {**values, "fitted_at": "2026-01-10T09:00"})
    assert early.status_code == 422
    assert "was fitted later than this" in early.content.decode()
    assert client.post(url, values).status_code == 302
    assert "Exhaust" not in " ".join(causes(job))
    timeline = client.get(reverse("timeline", args=[job])).content.decode()
    assert "Exhaust as built fitted in place of Exhaust, two into one" in timeline


def test_part_needs_a_kind(job, login) -> None:
    refused = login(Role.MECHANIC).post(reverse("part-add", args=[job]), PART)
    assert refused.status_code == 422
    assert "This field is required." in refused.content.decode()


KIND = {"name": "sidecar", "for_parts": "on", "road_use": "may", "order": "500"}


def test_kind_added_by_owner_is_offered_and_printed(job, login) -> None:
    owner, url = login(Role.OWNER), reverse("part-kind-list")
    refused = owner.post(url, KIND)
    assert refused.status_code == 422
    assert "Describe the possible effect." in refused.content.decode()
    assert owner.post(url, {**KIND, "for_parts": "", "road_use_effect": "Ask."}).status_code == 422
    assert owner.post(url, {**KIND, "road_use_effect": "A sidecar may need an entry."}).status_code == 302
    kind = PartKind.objects.get(name="sidecar")
    assert "sidecar (may affect road use)" in login(Role.TUNER).get(reverse("part-add", args=[job])).text
    assert "sidecar" not in login(Role.TUNER).get(reverse("bike-change-add", args=[job])).text
    Part.objects.create(job=job, name="Sidecar", kind=kind, fitted_at=SUMMER)
    assert "Sidecar: A sidecar may need an entry." in causes(job)
    assert "sidecar" in owner.get(url).text


def test_kind_in_use_is_not_removed_but_no_longer_offered(job, login) -> None:
    owner, kind = login(Role.OWNER), factories.get_part_kind("mirrors")
    Part.objects.create(job=job, name="Mirror", kind=kind)
    answer = owner.post(reverse("part-kind-remove", args=[kind.pk]), follow=True)
    assert "cannot be removed" in answer.text
    PartKind.objects.filter(pk=kind.pk).update(retired=True)
    assert "mirrors (" not in login(Role.TUNER).get(reverse("part-add", args=[job])).text
    unused = factories.get_part_kind("horn or speedometer")
    owner.post(reverse("part-kind-remove", args=[unused.pk]))
    assert not PartKind.objects.filter(pk=unused.pk).exists()


def test_kind_edit_conflict_names_the_other_user(login) -> None:
    owner, kind = login(Role.OWNER), factories.get_part_kind("mirrors")
    url = reverse("part-kind-edit", args=[kind.pk])
    values = {**KIND, "name": "mirrors", "road_use_effect": "Ask.", "version": kind.version}
    assert owner.post(url, values).status_code == 302
    stale = owner.post(url, {**values, "road_use_effect": "Ask twice."})
    assert stale.status_code == 422
    assert "Ola Owner changed this" in stale.text


def test_only_the_owner_changes_kinds(login) -> None:
    for role in (Role.DESK, Role.MECHANIC, Role.TUNER):
        assert login(role).get(reverse("part-kind-list")).status_code == 403


FORMER_RECORDS = """
import django; django.setup()
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
apps = MigrationExecutor(connection).loader.project_state([("jobs", NAME)]).apps
get = lambda name: apps.get_model(*name.split("."))
owner = get("workshop.Customer").objects.create(name="Ines Quill")
bike = get("workshop.Bike").objects.create(owner=owner, make="Pellorin", model="Tern")
job = get("jobs.Job").objects.create(
    customer=owner, bike=bike, brief="x", intended_use="road", year=2026, sequence=1, number="2026-001"
)
by = get("workshop.StaffMember").objects.create(username="toni")
part = get("jobs.Part").objects.create
part(job=job, name="Chain")
part(job=job, name="Sprocket", changes_gearing=True)
part(job=job, name="Fork", changes_suspension=True)
part(job=job, name="Pads", changes_brakes=True)
part(job=job, name="Pipe", changes_exhaust=True, race_only=True)
part(job=job, name="Box", changes_intake=True, changes_exhaust=True)
for kind in ("gearing", "tyre", "fuel", "other"):
    get("jobs.BikeChange").objects.create(job=job, former_kind=kind, description=kind, by=by)
"""
PRINT_KINDS = """
import json, django; django.setup()
from jobs.models import BikeChange, Part, PartKind, TuneChangeKind
print(json.dumps([
    [[part.name, str(part.kind or ""), part.race_only] for part in Part.objects.all()],
    [[change.description, change.kind.name] for change in BikeChange.objects.all()],
    PartKind.objects.count(),
    sorted(PartKind.objects.filter(retired=True).values_list("name", "road_use")),
]))
"""


@pytest.mark.one_database
@pytest.mark.django_db(transaction=True)
def test_flags_and_choices_of_earlier_versions_become_kinds(fresh_machine) -> None:
    fresh_machine.environment["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    (name,) = (path.stem for path in (ROOT / "jobs/migrations").glob("*_kind_of_bike_changes.py"))
    done = fresh_machine.run("manage.py", "migrate", "jobs", name)  # and what it needs of the shop's tables
    assert done.returncode == 0, done.stderr
    for script in (FORMER_RECORDS.replace("NAME", repr(name)), None):
        done = fresh_machine.run("-c", script) if script else fresh_machine.run("manage.py", "migrate")
        assert done.returncode == 0, done.stderr
    parts, changes, count, retired = json.loads(fresh_machine.run("-c", PRINT_KINDS).stdout)
    assert parts == [
        ["Chain", "", False],
        ["Sprocket", "gearing", False],
        ["Fork", "suspension", False],
        ["Pads", "brakes", False],
        ["Pipe", "exhaust", True],
        ["Box", "exhaust and intake", False],
    ]
    assert changes == [
        ["gearing", "gearing"],
        ["tyre", "tyre"],
        ["fuel", "fuel"],
        ["other", "something else"],
    ]
    assert count == 36
    assert retired == [["exhaust and intake", "may"]]
