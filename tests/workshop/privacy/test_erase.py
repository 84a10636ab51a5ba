"""Erasing a customer: personal fields and the full name go, from the history too; the work stays."""

import itertools
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.models import FileLayout, Job, Part, Photo, Run, SignedReceipt, StageEntry
from reports.models import Acknowledgement, HandoverSheet, SheetLink
from tests.factories import make_bike, make_customer, make_job, sign_receipt
from tests.html import find
from tests.reports.whole_jobs import make_whole_job
from tests.workshop.privacy.records import add_sheet, make_named_job, stored_rows, stored_text
from workshop.models import Bike, Customer, DocumentDecision, EngineSpec, Role
from workshop.privacy.documents import Decision, document_key
from workshop.privacy.erase import erase
from workshop.privacy.held_data import declared_models
from workshop.privacy.mentions import find_mentions
from workshop.privacy.merge import merge

pytestmark = pytest.mark.django_db


def erase_page(customer: Customer) -> str:
    return reverse("customer-erase", args=[customer.pk])


def test_erasure_removes_the_name_and_keeps_the_work(login, staff) -> None:
    job = make_named_job(staff)
    sheet = add_sheet(job, staff[Role.DESK]).sheet
    customer, readings = job.customer, job.clearance_sets.get().readings.count()
    customer.note = "Prefers mornings"
    customer.save()
    assert "Quill" in stored_text()
    kept = {f"{part}-reports-handoversheet-{sheet.pk}": "keep" for part in ("choice", "reason")}
    deleted = {f"choice-jobs-signedreceipt-{SignedReceipt.objects.get().pk}": "delete"}
    answer = login(Role.OWNER).post(erase_page(customer), {"name": "Ines Quill", **kept, **deleted})
    assert answer.status_code == 302
    left = stored_text().lower()
    for personal in ("quill", "555 0101", "5550101", "ines@", "demo 22", "demo22", "prefers mornings"):
        assert personal not in left
    job = Job.objects.get()
    assert str(job.customer) == f"Erased customer {customer.pk}"
    assert job.signed_receipts.get().signature == []
    assert job.condition_marks == [
        {"x": 10, "y": 20, "note": f"dent, shown to Erased customer {customer.pk}"}
    ]
    assert job.clearance_sets.get().readings.count() == readings == 12
    with job.photos.get().image.open() as picture:
        assert picture.read() == b"a picture"
    assert f"Erased customer {customer.pk} wants it smooth" in job.brief
    assert Part.objects.get().name == f"Seat for Erased customer {customer.pk}"
    assert Bike.objects.get().make == "Pellorin"


def test_words_of_the_name_change_no_choice_and_no_other_text(staff) -> None:
    """Read is a status of a run, customer a word of everyday, "road" an intended use."""
    job = make_job(
        bike=make_bike(owner=make_customer(name="Tom Read", phone="", email="")),
        brief="The customer wants the road manual read to Tom",
        intended_use="road",
        stage="handed_over",
    )
    run = Run.objects.create(
        job=job,
        original="a.dat",
        original_name="a.csv",
        sha256="1" * 64,
        size=1,
        status=Run.Status.READ,
        channels="a.npz",
        made_by=staff[Role.TUNER],
    )
    erase(job.customer)
    run.refresh_from_db()
    job.refresh_from_db()
    assert run.status == Run.Status.READ
    assert job.intended_use == Job.IntendedUse.ROAD
    assert job.brief == "The customer wants the road manual read to Tom"
    assert {row.status for row in run.history.all()} == {Run.Status.READ}


def test_a_long_text_keeps_its_end(staff) -> None:
    """The substitute is longer than a short name; a full column takes a sign instead."""
    job = make_job(bike=make_bike(owner=make_customer(name="Bo Lee")), stage="handed_over")
    part = Part.objects.create(job=job, name="Bo Lee" + "-" * 110 + "end")
    erase(job.customer)
    part.refresh_from_db()
    assert part.name == "…" + "-" * 110 + "end"


# history


def test_history_of_deleted_records_is_erased(staff) -> None:
    job = make_named_job(staff)
    Part.objects.get().delete()
    job.tune_revisions.get().changes.get().delete()
    spare = make_bike(owner=job.customer, plate="SPARE 9", note="Ines Quill rides it in winter")
    spare.delete()
    assert "Seat for Ines Quill" in stored_text()
    receipt = document_key(SignedReceipt.objects.get())
    erase(job.customer, documents={receipt: Decision(DocumentDecision.Choice.DELETE)}, by=staff[Role.OWNER])
    left = stored_text().lower()
    assert "quill" not in left
    assert "spare 9" not in left


def test_history_of_merged_entries_is_erased(staff) -> None:
    """Names and contact data of merged duplicates are erased as well, wherever they were typed."""
    first = make_customer(name="Inez Quil", phone="+00 555 0777", email="first@example.org")
    second = make_customer(name="I. M. Quill", phone="", email="second@example.org")
    job = make_job(bike=make_bike(owner=first), brief="Inez Quil asks, +00 555 0777", stage="handed_over")
    customer = make_customer()
    merge(keep=second, duplicate=first)
    merge(keep=customer, duplicate=second)
    erase(customer)
    left = stored_text().lower()
    for personal in ("quil", "555 0777", "5550777", "first@", "second@", "555 0101", "5550101"):
        assert personal not in left
    job.refresh_from_db()
    assert job.brief == f"Erased customer {customer.pk} asks, Erased customer {customer.pk}"


def test_former_names_are_erased() -> None:
    customer = make_customer(name="Ines Vane")
    job = make_job(bike=make_bike(owner=customer), brief="For Ines Vane, Ines Quill now", stage="handed_over")
    customer.name = "Ines Quill"
    customer.save()
    erase(customer)
    job.refresh_from_db()
    assert job.brief == f"For Erased customer {customer.pk}, Erased customer {customer.pk} now"
    assert "vane" not in stored_text().lower()


def test_log_of_changes_shows_no_name(login, staff) -> None:
    job = make_named_job(staff)
    duplicate = make_customer(name="I. Quill", phone="", email="")
    merge(keep=job.customer, duplicate=duplicate)
    part = Part.objects.get()
    part.note = "Ines Quill brought it"
    part.save()
    part.delete()
    bike = job.bike
    bike.owner = make_customer(name="Bo Tarn", phone="", email="")
    bike.save()
    client = login(Role.OWNER)
    assert "Ines Quill" in client.get(reverse("shop-history")).text
    erase(Customer.objects.get(pk=job.customer_id))
    pages = [client.get(reverse("shop-history"), {"kind": kind}).text for kind in ("", *log_kinds())]
    pages.append(client.get(reverse("record-history", args=["workshop.bike", bike.pk])).text)
    for page in pages:
        assert "Quill" not in page
    assert f"Owner: Erased customer {job.customer_id} → Bo Tarn" in pages[-1]


def log_kinds() -> list[str]:
    return [model._meta.label_lower for model in declared_models() if hasattr(model, "history")]


# what belongs to others


def test_plate_of_a_sold_bike_stays_with_its_owner() -> None:
    bike = make_bike(plate="OLD 1", note="Ines Quill has the second key")
    seller, buyer = bike.owner, make_customer(name="Bo Tarn")
    bike.owner, bike.plate = buyer, "NEW 2"
    bike.save()
    erase(seller)
    bike.refresh_from_db()
    assert (bike.owner, bike.plate) == (buyer, "NEW 2")
    assert bike.note == f"Erased customer {seller.pk} has the second key"
    assert [row.plate for row in bike.history.order_by("history_id")][:2] == ["", "NEW 2"]


def test_records_of_another_customer_of_the_same_name_stay(staff) -> None:
    make_named_job(staff)
    other = make_customer()
    other_job = make_job(bike=make_bike(owner=other, plate="X 1"), brief="Ines Quill waits")
    sign_receipt(other_job, staff[Role.DESK])
    erase(Job.objects.exclude(pk=other_job.pk).get().customer)
    other.refresh_from_db()
    other_job.refresh_from_db()
    assert (other.name, other.phone) == ("Ines Quill", "+00 555 0101")
    assert (other_job.brief, other_job.signed_receipts.get().signed_by) == ("Ines Quill waits", "Ines Quill")


def test_name_in_a_record_of_the_whole_shop_is_erased() -> None:
    customer = make_bike().owner
    EngineSpec.objects.update(note="Measured on the bike of Ines Quill")
    layout = FileLayout.objects.create(name="like Ines Quill 1.csv", fingerprint="f", layout={})
    erase(customer)
    layout.refresh_from_db()
    assert layout.name == f"like Erased customer {customer.pk} 1.csv"
    assert EngineSpec.objects.get().note == f"Measured on the bike of Erased customer {customer.pk}"


# the issued sheet and its links


def test_links_end_with_the_erasure_and_the_issued_sheet_stays(staff) -> None:
    job = make_named_job(staff)
    link = add_sheet(job, staff[Role.DESK])
    sheet = HandoverSheet.objects.values().get()
    erase(job.customer)
    for name in ("customer-sheet", "customer-pdf"):
        answer = Client().get(reverse(name, args=[link.token]))
        assert answer.status_code == 410
        assert "Quill" not in answer.text
    assert HandoverSheet.objects.values().get() == sheet
    assert Acknowledgement.objects.get().name == f"Erased customer {job.customer_id}"


def test_links_of_other_customers_stay_open(staff) -> None:
    other = make_job(bike=make_bike(owner=make_customer(name="Bo Tarn"), plate="X 1"), stage="handed_over")
    link = add_sheet(other, staff[Role.DESK])
    erase(make_named_job(staff).customer)
    link.refresh_from_db()
    assert link.is_live


# the page


def test_open_job_blocks_the_erasure(login) -> None:
    job = make_job()
    client = login(Role.OWNER)
    assert (
        f"Close these jobs first. They still need the customer&#x27;s name: {job}"
        in client.get(erase_page(job.customer)).text
    )
    assert client.post(erase_page(job.customer), {"name": "Ines Quill"}).status_code == 422
    assert Customer.objects.get().name == "Ines Quill"
    with pytest.raises(ValueError, match="Close these jobs first"):
        erase(job.customer)


def test_page_says_what_stays_and_asks_for_the_name(login) -> None:
    customer = make_customer()
    client = login(Role.OWNER)
    assert "What is kept, and why" in client.get(erase_page(customer)).text
    answer = client.post(erase_page(customer), {"name": "Ines"})
    assert answer.status_code == 422
    assert "The name does not match. Type: Ines Quill" in answer.text
    assert login(Role.DESK).post(erase_page(customer), {"name": "Ines Quill"}).status_code == 403


def test_page_shows_the_free_text_that_changes(login, staff) -> None:
    job = make_named_job(staff)
    part = Part.objects.get()
    part.name = "Seat, low"
    part.save()
    page = login(Role.OWNER).get(erase_page(job.customer)).text
    assert f"The marked words become “Erased customer {job.customer_id}”" in page
    assert f"Job {job}, customer&#x27;s request: “<mark>Ines Quill</mark> wants it smooth." in page
    assert "“dent, shown to <mark>Ines Quill</mark>”" in page
    assert f"Tune change, job {job}, why: “<mark>INES  QUILL</mark> asked”" in page
    assert f"Part, job {job}, name: “Seat for <mark>Ines Quill</mark>”" in page
    assert page.count("only in the history") == 1  # of the part, which no longer has the name


def test_page_says_that_no_text_has_the_name(login) -> None:
    page = login(Role.OWNER).get(erase_page(make_customer())).text
    assert "No text contains the full name" in page


def test_text_that_is_ticked_stays(login, staff) -> None:
    job = make_named_job(staff)
    part = Part.objects.get()
    client = login(Role.OWNER)
    receipt = f"choice-jobs-signedreceipt-{SignedReceipt.objects.get().pk}"
    sent = {"name": "Ines", "keep": f"jobs.part.{part.pk}.name", receipt: "delete"}
    page = client.post(erase_page(job.customer), sent).text
    assert len(find(page, "//main//input[@checked]")) == 2  # what is ticked, and what becomes of the receipt
    assert client.post(erase_page(job.customer), {**sent, "name": "Ines Quill"}).status_code == 302
    part.refresh_from_db()
    assert part.name == part.history.get().name == "Seat for Ines Quill"
    job.refresh_from_db()
    assert "Quill" not in job.brief


# the property


@contextmanager
def rolled_back() -> Iterator[None]:
    """Undo everything that was written within."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def squeezed(text: str) -> str:
    """Return a text without capitals and what may part the words of a name."""
    return "".join(sign for sign in text.casefold() if not sign.isspace() and sign not in "_-")


BOOKKEEPING = {"version", "updated_at"}  # of a row that was saved


@pytest.mark.slow
def test_erasure_changes_no_other_column_whatever_the_name(staff) -> None:
    """Names are made of the words that the records themselves hold, choices and codes included."""
    job = make_whole_job(staff)
    Job.objects.filter(pk=job.pk).update(stage="handed_over")
    add_sheet(job, staff[Role.DESK])
    StageEntry.objects.create(job=job, stage="ready", by=staff[Role.DESK], why="Ready on the road")
    Photo.objects.create(job=job, by=staff[Role.DESK], image="a.jpg", original_name="front left.jpg")
    FileLayout.objects.create(name="like run 1.csv", fingerprint="f" * 64, layout={"columns": ["read"]})
    texts = (str(value) for row in stored_rows().values() for value in row.values() if isinstance(value, str))
    words = sorted(set(itertools.chain.from_iterable(text.split() for text in texts)))
    names = st.lists(st.sampled_from(words), min_size=1, max_size=2).map(" ".join) | st.text(
        st.characters(exclude_categories=["C"]), min_size=1, max_size=30
    )

    longest = Customer._meta.get_field("name").max_length

    @settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
    @given(names.map(str.strip).filter(lambda name: 0 < len(name) <= longest), st.booleans())
    def erase_changes_declared_columns_only(name: str, is_in_brief: bool) -> None:
        with rolled_back():
            Customer.objects.update(name=name)
            Customer.history.update(name=name)
            if is_in_brief:
                Job.objects.update(brief=f"{name} wants it smooth")
            before = stored_rows()
            erase(Customer.objects.get())
            after = stored_rows()
        declared = declared_models()
        for (model, pk), row in before.items():
            personal = declared.get(getattr(model, "instance_type", model))
            may_change = {*personal.cleared, *personal.free_text} if personal else set()
            ends = {SheetLink: {"revoked_at"}, Customer: {"erased_at"}}.get(
                getattr(model, "instance_type", model), set()
            )
            for column, value in row.items():
                now = after[model, pk][column]
                if column in BOOKKEEPING | ends or value == now:
                    continue
                assert column in may_change, f"{model._meta.label}.{column}: {value!r} → {now!r}"
                if column not in personal.cleared:
                    assert squeezed(name) in squeezed(str(value)), f"{column}: {value!r} → {now!r}"

    erase_changes_declared_columns_only()


def test_erased_customer_can_be_erased_again(staff) -> None:
    customer = make_named_job(staff).customer
    erase(customer)
    assert find_mentions(customer) == []
    before = stored_rows()
    erase(customer)
    assert stored_rows() == before
