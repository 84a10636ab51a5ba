"""Job tag, tune summary and a bike's history as documents: complete, tagged, able to load nothing."""

import re
from dataclasses import is_dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from jobs.clearances.trend import clearance_history
from jobs.job.page import get_job
from jobs.models import (
    Job,
    Part,
    Run,
    ShimPlan,
    ShimPlanRow,
    ThrottleTable,
    TuneChange,
    TuneChangeKind,
    TuneRevision,
)
from reports.documents.bike_history import bike_history_pdf, history_facts
from reports.documents.job_tag import job_tag_pdf
from reports.documents.tune_summary import tune_summary_facts, tune_summary_pdf
from tests import factories
from tests.reports import whole_jobs
from tests.reports.reading import (
    attachments,
    elements,
    fonts,
    opened,
    pages,
    squeezed,
    syntax_problems,
    whole_text,
)
from workshop.models import Bike, Role, ShopProfile

pytestmark = pytest.mark.one_database

AT = datetime(2025, 3, 20, 9, tzinfo=UTC)
ADDRESS = "https://shop.example/jobs/2025-001/"
ATTACK = "<link rel=attachment href=file:///etc/hostname><img src=http://127.0.0.1:1/><b>bold</b>"
TONGUES = "Łucja ğ Жук щ é ß ש ع ½ °"
MILLIMETRE_PT = 72 / 25.4
# What a paper's facts hold and its pages do not print as it stands: figures rounded into the shop's units,
# what stands in the attached tables, what the program needs to lay out a page.
UNPRINTED = {
    "template",
    "alt",
    "fuel_table_after",
    "fuel_table_before",
    "picture",
    "quantity",
    "result",
    "settings",
    "sha256",
    "standard",
}


def fact_texts(value: Any, path: str = "") -> list[tuple[str, str]]:
    """Every text among a paper's facts, with where it stands."""
    if is_dataclass(value):
        value = vars(value)
    if isinstance(value, dict):
        pairs = [(key, item) for key, item in value.items() if key not in UNPRINTED]
        return [found for key, item in pairs for found in fact_texts(item, f"{path}.{key}")]
    if isinstance(value, list):
        return [found for index, item in enumerate(value) for found in fact_texts(item, f"{path}[{index}]")]
    is_moment = isinstance(value, str) and re.fullmatch(r"\d{4}-\d\d-\d\dT.*", value)
    return [(path, value)] if isinstance(value, str) and value and not is_moment else []


def missing(facts: dict[str, Any], pdf: bytes) -> list[tuple[str, str]]:
    printed = without_hyphens(whole_text(pdf)).lower()
    found = fact_texts(facts)
    return [(path, text) for path, text in found if without_hyphens(squeezed(text)).lower() not in printed]


def without_hyphens(text: str) -> str:
    """Return text that compares with that of a page, which lacks the hyphens at the ends of lines."""
    return text.replace("-", "")


def tune_pdf(job: Job) -> bytes:
    return tune_summary_pdf(factories.load_results(job), AT)


def history_pdf(job: Job) -> bytes:
    return bike_history_pdf(Bike.objects.get(pk=job.bike_id), ShopProfile.current(), AT)


def check_document(pdf: bytes, title: str) -> None:
    """Assert that a document is a tagged PDF with title, language and bundled fonts."""
    with opened(pdf) as document:
        with document.open_metadata() as meta:
            assert meta["pdfaid:part"] == "3"
            assert meta["pdfaid:conformance"] == "A"
            assert title in meta["dc:title"]
        assert str(document.Root.Lang) == "en"
        assert bool(document.Root.MarkInfo.Marked)
        assert len(document.Root.Outlines.keys()) > 0
    assert [kind for kind, _ in elements(pdf)].count("/H1") == 1
    found = fonts(pdf)
    assert all(found.values())
    assert all("+Sheet-" in name for name in found), found
    assert syntax_problems(pdf) == ""


@pytest.fixture
def long_job(staff) -> Job:
    """Make a job with long, foreign and markup texts."""
    whole_jobs.make_shop()
    customer = factories.make_customer(name="Secretia Nobodysname")
    bike = factories.make_bike(
        owner=customer,
        make="Pellorin & Daughters of the Northern Coast",
        model=f"{ATTACK[:60]} {TONGUES[:18]}",
    )
    return factories.make_job(
        bike=bike,
        brief=f"{ATTACK} asked",
        keys=3,
        intended_use=Job.IntendedUse.TRACK_ONLY,
        promised_at=AT,
        mechanic=staff[Role.MECHANIC],
        next_service=f"{ATTACK} to watch {TONGUES}",
    )


def test_tag_is_one_page_with_job_and_bike(whole_job):
    shop = ShopProfile.current()
    pdf = job_tag_pdf(get_job(whole_job.number), ADDRESS, shop)
    with opened(pdf) as document:
        boxes = [[float(side) for side in page.mediabox] for page in document.pages]
    # ISO 216: A6 is 105 mm by 148 mm
    assert boxes == [pytest.approx([0, 0, 105 * MILLIMETRE_PT, 148 * MILLIMETRE_PT], abs=0.5)]
    printed = whole_text(pdf)
    for words in (
        whole_job.number,
        "Pellorin Tern 660 2019",
        "DEMO 660",
        "Ready by",
        "23480km",
        "road and track",
        ADDRESS,
    ):
        assert squeezed(words) in printed.replace("\u2009", ""), words
    assert squeezed("Race-only parts fitted") in printed
    figures = [alt for kind, alt in elements(pdf) if kind == "/Figure"]
    assert figures == [f"QR code of the address {ADDRESS}"]
    check_document(pdf, f"Bike tag, job {whole_job.number}")
    assert job_tag_pdf(get_job(whole_job.number), ADDRESS, shop) == pdf


def test_tag_names_neither_customer_nor_request(long_job):
    pdf = job_tag_pdf(get_job(long_job.number), ADDRESS, ShopProfile.current())
    printed = whole_text(pdf)
    assert "Nobodysname" not in printed
    assert "asked" not in printed
    assert "Trackuseonly" in printed
    assert len(pages(pdf)) == 1
    assert squeezed("Key hook, notes") in printed


@pytest.mark.slow
def test_tune_summary_prints_every_fact(whole_job):
    facts = tune_summary_facts(factories.load_results(whole_job))
    pdf = tune_pdf(whole_job)
    assert "\n".join(map(str, missing(facts, pdf))) == ""
    printed = whole_text(pdf)
    for words in (
        "tern-660-r1.bin",
        "1250 rpm",  # as received
        "1350 rpm",  # in the bike
        "stalls when warm",
        "Silencer Skerry S",
        "tyre slipped",
        "Held runs after the tune",
        "Petrol E5",
        "Throttle must return to closed",
        "Cold start below 5 °C.",
        "page 1 of",
        "Lambda with its 95 % half-width",  # the measured map is a table
    ):
        assert squeezed(words) in printed, words
    assert without_hyphens(squeezed("7 × held-throttle run")) in without_hyphens(printed)
    assert "Quill" not in printed
    check_document(pdf, f"Tune summary, job {whole_job.number}")
    assert {"/H2", "/H3", "/Table", "/TH", "/TD"} <= {kind for kind, _ in elements(pdf)}
    files = attachments(pdf)
    assert set(files) == {"tune-changes.csv", "throttle-tables.csv", "runs.csv"}
    plates = files["throttle-tables.csv"].decode().splitlines()
    tables = ThrottleTable.objects.filter(revision__job=whole_job)
    assert len(plates) - 1 == sum(len(t.grip_pct) * len(t.engine_speed_rpm) for t in tables)
    assert tune_pdf(whole_job) == pdf


def test_reverted_setting_is_printed_as_unchanged(staff):
    job = factories.make_job()
    kind = TuneChangeKind.objects.get(name="idle speed")
    factories.make_revision(job, staff[Role.TUNER], loaded_at=AT)
    for number, (before, after) in enumerate((("1250", "1400"), ("1400", "1250")), start=1):
        revision = factories.make_revision(
            job, staff[Role.TUNER], number, loaded_at=AT + timedelta(hours=number)
        )
        TuneChange.objects.create(
            revision=revision, kind=kind, from_value=before, to_value=after, unit="1/min", reason="tried"
        )
    net = tune_summary_facts(factories.load_results(job))["net"]
    assert [(change["from"], change["to"], change["steps"], change["is_back"]) for change in net] == [
        ("1250", "1250", 2, True)
    ]
    assert "asitwas" in whole_text(tune_pdf(job))


def test_tune_summary_mentions_missing_tune(long_job):
    pdf = tune_pdf(long_job)
    assert "Notuneisrecordedonthisjob." in whole_text(pdf)
    assert len(pages(pdf)) == 1
    assert attachments(pdf) == {}
    assert "Trackuseonly" in whole_text(pdf)


@pytest.mark.slow
def test_tune_summary_prints_sixty_tunes_and_large_table(long_job, staff):
    kind = TuneChangeKind.objects.get(name="fuel")
    for number in range(61):
        revision = factories.make_revision(
            long_job,
            staff[Role.TUNER],
            number,
            title=f"try{number:02d} {TONGUES}",
            loaded_at=AT + timedelta(minutes=number),
            calibration=f"calibrations/{number}.bin",
            calibration_name=f"file-{number:02d}.bin",
            calibration_sha256=f"{number:064x}",
        )
        TuneChange.objects.create(
            revision=revision, kind=kind, detail=f"cell{number:02d}", to_value=f"+{number}", reason=ATTACK
        )
    grip, speed = [n * 100 / 39 for n in range(40)], [1000.0 + 400 * n for n in range(30)]
    ThrottleTable.objects.create(
        revision=revision,
        mode="Sport",
        grip_pct=grip,
        engine_speed_rpm=speed,
        plate_pct=[[opening] * 30 for opening in grip],
    )
    pdf = tune_pdf(long_job)
    per_page, printed = pages(pdf), whole_text(pdf)
    for number in range(61):
        assert f"try{number:02d}" in printed
        assert f"file-{number:02d}.bin" in printed
        assert f"{number:064x}" in printed
        assert f"cell{number:02d}" in printed
    assert squeezed(ATTACK) in printed
    assert squeezed("a table of 40 grips by 30 engine speeds") in printed
    assert len(attachments(pdf)["throttle-tables.csv"].decode().splitlines()) == 1 + 40 * 30
    with_rows = [page for page in per_page if page.count(".bin") > 2]
    assert len(with_rows) > 3
    assert all("Changes and why" in page for page in with_rows), "heading rows stand on every page"
    assert all("Track use only" in page for page in per_page)


@pytest.mark.slow
def test_bike_history_prints_every_job_and_no_customer(whole_job, staff):
    before = factories.make_customer(name="Olga Formerowner", email="olga@example.org")
    earlier = factories.make_job(
        bike=whole_job.bike,
        customer=before,
        brief="a private word",
        odometer_km=12000.0,
        authorised_amount=Decimal("77.70"),
    )
    Job.objects.filter(pk=earlier.pk).update(received_at=whole_jobs.ARRIVED - timedelta(days=400))
    factories.make_clearance_set(
        earlier, staff[Role.MECHANIC], "0.17", measured_at=whole_jobs.ARRIVED - timedelta(days=399)
    )
    bike, shop = Bike.objects.get(pk=whole_job.bike_id), ShopProfile.current()
    facts = history_facts(bike, clearance_history(bike, shop), shop)
    pdf = history_pdf(whole_job)
    assert "\n".join(map(str, missing(facts, pdf))) == ""
    printed = whole_text(pdf).replace("\u2009", "")
    for words in (
        earlier.number,
        whole_job.number,
        "For a previous owner.",
        "12000 km",
        "Silencer Skerry S",
        "race use only",
        "tern-660-r1.bin",
        "2.50 mm → 2.45 mm",
        "rear tyre renewed, same size",
        "0.17 mm",
        "Before the work and after it",
        "Mean power",
        "Next clearance check at 47480 km",  # 23,480 km and the interval of 24,000 km
        "6 turns",
    ):
        assert squeezed(words) in printed, words
    for words in ("Formerowner", "Quill", "olga@", "a private word", "77.70", "900", "pays late"):
        assert squeezed(words) not in printed, words
    check_document(pdf, "History of Pellorin Tern 660")
    figures = [alt for kind, alt in elements(pdf) if kind == "/Figure"]
    assert figures
    assert all("cylinder" in alt.lower() for alt in figures)
    assert history_pdf(whole_job) == pdf


@pytest.mark.slow
def test_bike_history_prints_long_lists_and_markup_in_full(long_job, staff):
    Part.objects.bulk_create(
        Part(job=long_job, name=f"Bolt {place:03d} {TONGUES}", maker=ATTACK[:80]) for place in range(200)
    )
    for day in range(12):
        factories.make_clearance_set(
            long_job, staff[Role.MECHANIC], "0.15", measured_at=AT + timedelta(days=day), instrument="blades"
        )
    pdf = history_pdf(long_job)
    printed = whole_text(pdf)
    assert [place for place in range(200) if f"Bolt{place:03d}" not in printed] == []
    assert squeezed("3 of 3") in printed, "twelve sets take three tables of five"
    assert squeezed(ATTACK) in printed
    assert squeezed(f"to watch {TONGUES}"[:20]) in printed
    assert attachments(pdf) == {}
    check_document(pdf, "History of Pellorin")


def test_bike_without_jobs_or_engine_has_history(db):
    bike = factories.make_bike(engine_spec=None)
    printed = whole_text(bike_history_pdf(bike, ShopProfile.current(), AT))
    assert squeezed("No jobs for this bike yet.") in printed
    assert squeezed("No engine spec.") in printed


@pytest.mark.slow
def test_documents_use_units_and_paper_of_shop(whole_job):
    whole_jobs.make_shop(distance_unit="mi", power_unit="hp", paper="Letter")
    for pdf in (tune_pdf(whole_job), history_pdf(whole_job)):
        with opened(pdf) as document:
            # ANSI/ASME Y14.1: Letter is 8.5 by 11 inch
            assert [float(side) for side in document.pages[0].mediabox] == pytest.approx(
                [0, 0, 612, 792], abs=0.5
            )
        # 23,480 km / 1.609344 = 14,589.8 mi
        assert "14590mi" in whole_text(pdf).replace("\u2009", "")


@pytest.mark.parametrize("role", list(Role))
def test_every_role_opens_documents(login, role):
    job = factories.make_job()
    for name, argument in (
        ("job-tag", job.number),
        ("tune-summary", job.number),
        ("bike-history", job.bike_id),
    ):
        answer = login(role).get(reverse(name, args=[argument]))
        assert answer.status_code == 200
        assert answer["Content-Type"] == "application/pdf"
        assert answer["Cache-Control"] == "private, no-store"
        assert b"".join(answer.streaming_content).startswith(b"%PDF-")


def test_unknown_job_or_bike_is_not_found(login):
    for name, argument in (("job-tag", "1999-001"), ("tune-summary", "1999-001"), ("bike-history", 999999)):
        assert login(Role.DESK).get(reverse(name, args=[argument])).status_code == 404


def test_documents_are_linked_from_their_pages(login):
    job = factories.make_job()
    for page, paper, argument in (
        (reverse("job", args=[job.number]), "job-tag", job.number),
        (reverse("job", args=[job.number]), "tune-summary", job.number),
        (reverse("job", args=[job.number]), "job-zip", job.number),
        (reverse("job-receipt", args=[job.number]), "job-tag", job.number),
        (reverse("tune-log", args=[job.number]), "tune-summary", job.number),
        (reverse("bike", args=[job.bike_id]), "bike-history", job.bike_id),
    ):
        assert f'href="{reverse(paper, args=[argument])}"' in login(Role.MECHANIC).get(page).content.decode()


def queries_of(count: Any, client: Any, address: str) -> int:
    with count() as asked:
        answer = client.get(address)
        b"".join(answer.streaming_content if answer.streaming else [answer.content])
    assert answer.status_code == 200
    return len(asked)


@pytest.mark.slow
def test_query_count_does_not_grow_with_records(login, staff, counted):
    """Twelve revisions, thirty parts, jobs and sets more ask nothing more."""
    client = login(Role.TUNER)
    job = factories.make_job()
    addresses = [
        reverse("job-tag", args=[job.number]),
        reverse("tune-summary", args=[job.number]),
        reverse("bike-history", args=[job.bike_id]),
    ]
    kind = TuneChangeKind.objects.get(name="fuel")

    def more(times: int) -> None:
        for _ in range(times):
            number = TuneRevision.objects.filter(job=job).count()
            revision = factories.make_revision(job, staff[Role.TUNER], number)
            TuneChange.objects.create(revision=revision, kind=kind, to_value="+1", reason="lean")
            Part.objects.create(job=job, name="Bolt")
            other = factories.make_job(bike=job.bike, odometer_km=1000.0 * number)
            measured = factories.make_clearance_set(other, staff[Role.MECHANIC])
            plan = ShimPlan.objects.create(
                clearance_set=measured, policy="target", accepted_by=staff[Role.OWNER]
            )
            ShimPlanRow.objects.create(
                plan=plan,
                cylinder=1,
                side="intake",
                position=1,
                out_mm="2.5",
                in_mm="2.4",
                origin="stock",
                predicted_mm="0.16",
            )

    more(2)
    few = [queries_of(counted, client, address) for address in addresses]
    more(6)
    assert [queries_of(counted, client, address) for address in addresses] == few
    assert few[0] <= 9  # the session included
    assert few[1] <= 32
    assert few[2] <= 26


@pytest.fixture
def counted(django_assert_max_num_queries: Any) -> Any:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    return lambda: CaptureQueriesContext(connection)


def test_run_without_tune_is_a_caution(staff):
    job = factories.make_job()
    factories.make_channel_run(
        job, staff[Role.TUNER], "alone.csv", {"time_s": [0.0, 1.0]}, kind=Run.Kind.IDLE
    )
    assert squeezed("Tune not recorded for: alone.csv.") in whole_text(tune_pdf(job))
