"""Signed means signed: what was signed is frozen, and every later change of it is named."""

import dataclasses
import json
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.intake.receipt import ReceiptFacts, read_facts, receipt_facts
from jobs.intake.receipt_changes import COMPARED, NOT_COMPARED, receipt_changes, receipt_state
from jobs.intake.signing import document_makers
from jobs.intake.wordings import WORDINGS
from jobs.models import Authorisation, Job, Photo, SignedReceipt, WorkItem
from jobs.models.receipts import SignedReceiptIsFinal
from tests.factories import load_results, make_bike, make_job, sign_receipt
from tests.html import by_id, read_rows, read_text
from tests.jobs.images import jpeg
from workshop.models import Bike, Customer, Role, ShopProfile

pytestmark = pytest.mark.django_db

STROKES = [[[100, 50], [200, 80], [300, 40]]]
SIGNED_MARK = {"x": 21.0, "y": 70.0, "note": "Rim scratched"}


@pytest.fixture
def job(staff) -> Job:
    """Create a job with something recorded for every fact of a receipt."""
    bike = make_bike(plate="DEMO 1", vin="XX9TERN66K0000001")
    job = make_job(
        bike=bike,
        brief="Valves are due.",
        stage="received",
        received_at=timezone.now() - timedelta(hours=2),
        promised_at=timezone.now() + timedelta(days=3),
        odometer_km=24_310.0,
        engine_hours=148.5,
        fuel=Job.Fuel.HALF,
        keys=2,
        condition="Scratch on the tank.",
        condition_marks=[SIGNED_MARK],
        authorised_amount=Decimal("300"),
    )
    WorkItem.objects.create(job=job, description="Valves", price=Decimal("240.50"))
    photo = jpeg("tank.jpg")
    Photo.objects.create(job=job, image=photo, original_name="tank.jpg", caption="tank", by=staff[Role.DESK])
    answer_of(job, staff, amount=Decimal("300"))
    return job


def answer_of(job: Job, staff, **values: Any) -> Authorisation:
    given = {"asked": "Ines Quill", "asked_by": staff[Role.DESK], "how": "phone", "answer": "agreed"}
    return Authorisation.objects.create(job=job, **{**given, **values})


def sign(job: Job, staff, **given: Any) -> SignedReceipt:
    return sign_receipt(job, staff[Role.DESK], **{"signature": STROKES, **given})


def changed_facts(job: Job) -> set[str]:
    return {change.what for change in receipt_state(load_results(job)).changes}


def changing(find: Callable[[Job], Any], **values: Any) -> Callable[[Job, Any], None]:
    """Return what changes columns of one row of the job."""

    def change(job: Job, staff: Any) -> None:
        row = find(job)
        for name, value in values.items():
            setattr(row, name, value)
        row.save()

    return change


def of_job(**values: Any) -> Callable[[Job, Any], None]:
    return changing(lambda job: Job.objects.get(pk=job.pk), **values)


def of_bike(**values: Any) -> Callable[[Job, Any], None]:
    return changing(lambda job: Bike.objects.get(pk=job.bike_id), **values)


def of_customer(**values: Any) -> Callable[[Job, Any], None]:
    return changing(lambda job: Customer.objects.get(pk=job.customer_id), **values)


def of_shop(**values: Any) -> Callable[[Job, Any], None]:
    return changing(lambda job: ShopProfile.current(), **values)


DAY = timedelta(days=1)
CHANGES: list[tuple[str, Callable[[Job, Any], None], set[str]]] = [
    ("bike", of_bike(model="Other"), {"bike: make, model and year"}),
    ("bike", of_bike(plate="DEMO 2"), {"bike: number plate"}),
    ("bike", of_bike(vin="XX9TERN66K0000002"), {"bike: VIN"}),
    ("customer", of_customer(name="Bo Tarn"), {"customer: name"}),
    ("customer", of_customer(phone="+00 555 0123"), {"customer: phone"}),
    ("received_at", lambda job, _: of_job(received_at=job.received_at - DAY)(job, _), {"checked in"}),
    ("promised_at", lambda job, _: of_job(promised_at=job.promised_at + DAY)(job, _), {"ready by"}),
    ("promised_at", of_job(promised_at=None), {"ready by"}),
    ("intended_use", of_job(intended_use=Job.IntendedUse.TRACK_ONLY), {"intended use"}),
    ("odometer_km", of_job(odometer_km=24_311.0), {"odometer"}),
    ("engine_hours", of_job(engine_hours=148.6), {"engine hours"}),
    ("fuel", of_job(fuel=Job.Fuel.FULL), {"fuel"}),
    ("keys", of_job(keys=1), {"keys"}),
    ("keys", of_job(keys=None), {"keys"}),
    ("brief", of_job(brief="Valves are due, and more power."), {"customer's request"}),
    ("limit", of_job(authorised_amount=Decimal("1200")), {"customer's limit"}),
    ("limit", of_job(authorised_amount=None), {"customer's limit"}),
    ("condition", of_job(condition="Clean."), {"condition on arrival"}),
    ("marks", of_job(condition_marks=[]), {"mark on the outline"}),
    ("marks", of_job(condition_marks=[{**SIGNED_MARK, "x": 22.0}]), {"mark on the outline"}),
    ("marks", of_job(condition_marks=[{**SIGNED_MARK, "note": "Rim bent"}]), {"mark on the outline"}),
    ("marks", of_job(condition_marks=[{**SIGNED_MARK, "side": "left"}]), {"mark on the outline"}),
    ("work", changing(lambda job: job.work_items.get(), price=Decimal("241")), {"agreed work"}),
    ("work", changing(lambda job: job.work_items.get(), description="All"), {"agreed work"}),
    ("work", lambda job, _: job.work_items.all().delete(), {"agreed work"}),
    ("work", lambda job, _: WorkItem.objects.create(job=job, description="Wash"), {"agreed work"}),
    ("photos", changing(lambda job: job.photos.get(), caption="the tank"), {"photo"}),
    ("photos", lambda job, _: job.photos.get().delete(), {"photo"}),
    (
        "photos",
        lambda job, staff: Photo.objects.create(
            job=job, image="photos/b.jpg", original_name="b.jpg", by=staff[Role.DESK]
        ),
        {"photo"},
    ),
    (
        "authorisations",
        lambda job, staff: answer_of(job, staff, amount=Decimal("900")),
        {"authorised by the customer"},
    ),
    ("currency", of_shop(currency="CHF"), {"currency"}),
    ("job", lambda job, _: Job.objects.filter(pk=job.pk).update(number="2026-999"), {"job"}),
]


@pytest.mark.parametrize(("fact", "change", "named"), CHANGES)
def test_change_of_any_fact_is_named_and_needs_a_new_signature(job, staff, fact, change, named) -> None:
    receipt = sign(job, staff)
    assert receipt_state(load_results(job)).is_current
    change(job, staff)
    job.refresh_from_db()
    state = receipt_state(load_results(job))
    assert {found.what for found in state.changes} == named
    assert all(found.before != found.after for found in state.changes)
    assert not state.is_current
    assert getattr(read_facts(receipt), fact) != getattr(state.present, fact)
    assert sign(job, staff).number == 2
    assert receipt_state(load_results(job)).is_current


def test_every_fact_of_a_receipt_is_compared_and_tried_above() -> None:
    facts = {field.name for field in dataclasses.fields(ReceiptFacts)}
    assert facts == {*COMPARED, *NOT_COMPARED}
    assert {fact for fact, _, _ in CHANGES} == {*COMPARED}


def test_every_part_of_a_fact_shows_when_it_changes(job, staff) -> None:
    """Walk into every dataclass of the facts, so that a field added later is compared too."""
    facts = receipt_facts(load_results(job))
    walked = 0
    for name in COMPARED:
        value = getattr(facts, name)
        first = value[0] if isinstance(value, list) else value
        if not dataclasses.is_dataclass(first):
            continue
        for field in dataclasses.fields(first):
            part = getattr(first, field.name)
            is_time = field.name.endswith("at")
            other = part + 1 if isinstance(part, int) else "2001-01-01T00:00:00+00:00" if is_time else "7.77"
            altered = dataclasses.replace(first, **{field.name: other})
            new = [altered] if isinstance(value, list) else altered
            assert receipt_changes(facts, dataclasses.replace(facts, **{name: new})), f"{name}.{field.name}"
            walked += 1
    assert walked >= 20


def test_doing_the_work_changes_nothing_that_was_signed(job, staff) -> None:
    sign(job, staff)
    item = job.work_items.get()
    item.done = True
    item.save()
    of_job(not_tested="Not ridden in rain.", mechanic=staff[Role.MECHANIC])(job, None)
    assert changed_facts(job) == set()


def test_changes_are_shown_with_both_values_on_job_and_receipt(login, job, staff) -> None:
    sign(job, staff)
    job.condition_marks = [SIGNED_MARK, {"x": 1.0, "y": 2.0, "note": "Lever bent"}]
    job.authorised_amount = Decimal("12000")
    job.save()
    client = login(Role.DESK)
    for name in ("job", "job-receipt"):
        page = client.get(reverse(name, args=[job]), {"open": "brief"})
        rows = read_rows(by_id(page, "receipt-changes"))
        assert ["Customer's limit", "EUR 300.00", "EUR 12 000.00"] in [
            [cell.replace("\u202f", " ") for cell in row] for row in rows
        ]
        assert [
            "Mark on the outline",
            "–",
            "Lever bent (right side, 1 % from the left, 2 % from the top)",
        ] in rows
        assert "Changed after it was signed. Ask the customer to sign again." in read_text(page)


def test_text_of_a_changed_job_never_stands_above_an_old_signature(login, job, staff) -> None:
    sign(job, staff)
    client, url = login(Role.DESK), reverse("job-receipt", args=[job])
    signed = client.get(url).text
    assert '<polyline points="100,50 200,80 300,40"' in signed and "Save signature" not in signed
    of_job(condition="Tank dented through.")(job, None)
    changed = client.get(url).text
    assert "Tank dented through." in changed
    assert "<polyline" not in changed and "Not signed yet." in changed and "Save signature" in changed


def test_saving_the_receiving_form_unchanged_keeps_the_signature_valid(login, job, staff) -> None:
    sign(job, staff)
    client = login(Role.DESK)
    sent = {
        "version": job.version,
        "condition": job.condition,
        "condition_marks": json.dumps(job.condition_marks),
        "odometer_km": "24310",
        "engine_hours": "148.5",
        "fuel": job.fuel,
        "keys": "2",
    }
    assert client.post(reverse("job-receive", args=[job]), sent).status_code == 302
    assert receipt_state(load_results(job)).is_current
    job.refresh_from_db()
    sent |= {"version": job.version, "keys": "1"}
    assert client.post(reverse("job-receive", args=[job]), sent).status_code == 302
    assert changed_facts(job) == {"keys"}


def test_new_signature_leaves_the_old_receipt_as_it_was(job, staff) -> None:
    first = sign(job, staff)
    of_job(keys=1)(job, None)
    second = sign(job, staff, signed_by="Bo Tarn", signature=[])
    first.refresh_from_db()
    assert [(receipt.number, receipt.signed_by) for receipt in job.signed_receipts.all()] == [
        (1, "Ines Quill"),
        (2, "Bo Tarn"),
    ]
    assert (first.facts["keys"], second.facts["keys"]) == (2, 1)
    first.signed_by = "Somebody else"
    with pytest.raises(SignedReceiptIsFinal):
        first.save()


def test_signing_a_state_that_was_not_shown_is_refused(login, job) -> None:
    """The page was open, or the paper printed, while somebody changed the job."""
    client = login(Role.DESK)
    url = reverse("job-receipt", args=[job])
    code = client.get(url).context["form"]["code"].value()
    assert f"State {code}." in client.get(url).text
    of_job(authorised_amount=Decimal("2000"))(job, None)
    sent = {"signed_by": "Ines Quill", "on_paper": "on", "code": code}
    answer = client.post(reverse("job-sign", args=[job]), sent, follow=True)
    assert "Not signed: the check-in sheet was changed in the meantime." in answer.text
    assert not job.signed_receipts.exists()
    sent["code"] = client.get(url).context["form"]["code"].value()
    assert client.post(reverse("job-sign", args=[job]), sent).status_code == 302
    assert job.signed_receipts.count() == 1


def test_signature_is_kept_if_its_document_fails(login, job, monkeypatch) -> None:
    def fail(receipt: SignedReceipt) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr("jobs.intake.signing.document_makers", [fail])
    assert document_makers  # the product has one
    client = login(Role.DESK)
    url = reverse("job-receipt", args=[job])
    sent = {"signed_by": "Ines Quill", "on_paper": "on"}
    sent["code"] = client.get(url).context["form"]["code"].value()
    answer = client.post(reverse("job-sign", args=[job]), sent, follow=True)
    assert "Check-in sheet signed by Ines Quill." in answer.text
    assert "its PDF could not be created" in answer.text and "Make the PDF" in answer.text
    receipt = job.signed_receipts.get()
    assert (receipt.signed_by, receipt.sha256) == ("Ines Quill", "")


def test_signature_without_its_facts_is_never_shown_as_valid(login, job) -> None:
    """An earlier version stored the signature alone."""
    SignedReceipt.objects.create(job=job, number=1, signed_by="Ines Quill", signature=STROKES)
    client = login(Role.DESK)
    page = client.get(reverse("job-receipt", args=[job])).text
    assert "The signed data were not stored with this signature" in page
    assert "<polyline" not in page and "Save signature" in page
    assert "The signed data were not stored" in client.get(reverse("job", args=[job]), {"open": "all"}).text


def test_receipt_says_what_is_agreed_to(login, job) -> None:
    page = read_text(login(Role.DESK).get(reverse("job-receipt", args=[job])))
    for words in (
        "The shop may do the work listed here.",
        "The shop may go up to EUR 300.00 in all without asking again.",
        "on the dyno at high load",
        "Wording 1.",
    ):
        assert words in page


def test_receipt_without_limit_says_that_the_shop_asks_first(login) -> None:
    page = read_text(login(Role.DESK).get(reverse("job-receipt", args=[make_job()])))
    assert "No limit in money was agreed. The shop asks before it does any work that is not listed" in page
    for words in (
        "fuel not recorded",
        "keys not recorded",
        "no date",
        "not yet",
        "Nothing was noted.",
    ):
        assert words in page
    assert "without asking again" not in page


def test_wordings_that_were_signed_stay() -> None:
    # A new text is a new version; the facts of every signed receipt hold the text itself, too.
    assert WORDINGS[1].no_limit == (
        "No limit in money was agreed. The shop asks before it does any work that is not listed here."
    )
    assert [*WORDINGS] == [*range(1, len(WORDINGS) + 1)]
