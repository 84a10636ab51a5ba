"""The signed receipt as a PDF: made from what was signed, kept with its hash, never anything else."""

import hashlib
import json
import zipfile
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone
from lxml import html

from jobs.intake.receipt import read_facts
from jobs.intake.receipt_changes import receipt_state
from jobs.models import Authorisation, Job, Photo, SignedReceipt, WorkItem
from reports.receipt.printing import print_receipt, receipt_pdf
from reports.receipt.views import mail_receipt
from tests.factories import load_results, make_bike, make_job, sign_receipt
from tests.html import find
from tests.jobs.images import jpeg
from tests.reports.messages import english_left, english_sentences, visible_text
from tests.reports.reading import opened, pages, squeezed, syntax_problems, unprinted_texts, whole_text
from workshop.models import DocumentDecision, Role, ShopProfile
from workshop.privacy.documents import Decision, document_key
from workshop.privacy.erase import erase
from workshop.privacy.export import export

pytestmark = [pytest.mark.slow, pytest.mark.django_db, pytest.mark.one_database]

# What lies in the PDF as a picture, or says how to print it.
NOT_TEXT = {".marks", ".photos[0].file", ".shop.distance_unit"}


@pytest.fixture
def job(staff, shop) -> Job:
    bike = make_bike(plate="DEMO 1", vin="XX9TERN66K0000001")
    job = make_job(
        bike=bike,
        brief="Valves are due.\nAnd it stutters.",
        received_at=timezone.now() - timedelta(hours=2),
        promised_at=timezone.now() + timedelta(days=3),
        odometer_km=24_310.0,
        engine_hours=148.5,
        fuel=Job.Fuel.HALF,
        keys=2,
        condition="Scratch on the tank.",
        condition_marks=[{"x": 21.0, "y": 70.0, "note": "Rim scratched"}],
        authorised_amount=Decimal("12000"),
    )
    WorkItem.objects.create(job=job, description="Valves", price=Decimal("240.50"))
    Photo.objects.create(
        job=job, image=jpeg("tank.jpg"), original_name="tank.jpg", caption="the tank", by=staff[Role.DESK]
    )
    Authorisation.objects.create(
        job=job, amount=300, asked="Ines Quill", asked_by=staff[Role.DESK], how="phone", answer="agreed",
        words="go ahead",
    )  # fmt: skip
    return job


@pytest.fixture
def receipt(job, staff) -> SignedReceipt:
    return sign_receipt(job, staff[Role.DESK])


def test_every_fact_that_was_signed_is_printed(receipt) -> None:
    pdf = receipt_pdf(receipt)
    missing = {where for where, _ in unprinted_texts(receipt.facts, pdf)}
    assert missing <= NOT_TEXT
    text = whole_text(pdf)
    for words in ("24310 km", "148.5 engine hours", "2 keys", "EUR 12 000.00", "EUR 240.50", "Ines Quill"):
        assert squeezed(words) in text
    assert syntax_problems(pdf) == ""


def test_photo_and_marks_are_drawn(receipt) -> None:
    with opened(receipt_pdf(receipt)) as document:
        images = {name for page in document.pages for name in page.get_images()}
    assert len(images) == 1
    text = whole_text(receipt_pdf(receipt))
    assert squeezed("right side, rear") in text
    assert squeezed("Rim scratched") in text


def text_in(language: str, page: str) -> str:
    """Return what a page shows in a language."""
    parts = find(page, f'//*[@lang="{language}"]')
    return " ".join(visible_text(html.tostring(part, encoding="unicode")) for part in parts)


@pytest.mark.parametrize(
    ("language", "words"),
    [
        (
            "de",
            [
                "Annahmeblatt, Auftrag",
                "24 310 km, 148,5 Betriebsstunden",
                "halb, 2 Schlüssel",
                "Straße",
                "Limit des Kunden: EUR 12 000,00.",
                "nach einem Limit von EUR 300,00 gefragt und hat zugestimmt: „go ahead“.",
                "Zustand bei der Annahme",
                "rechte Seite, hinten",
                "Die Werkstatt darf ohne weitere Rückfrage insgesamt bis EUR 12 000,00 gehen.",
                "Verschlissene Teile oder Teile mit verborgenen Fehlern können dabei versagen",
            ],
        ),
        (
            "es",
            [
                "Hoja de recepción, trabajo",
                "medio, 2 llaves",
                "por teléfono a Ines Quill por un límite de EUR 300,00, y esta persona aceptó: «go ahead».",
                "El taller puede llegar hasta EUR 12 000,00 en total sin volver a preguntar.",
                "Las piezas gastadas o con defectos ocultos pueden fallar bajo esa carga",
            ],
        ),
    ],
)
def test_receipt_is_read_signed_and_printed_in_the_language_of_the_customer(
    job, staff, login, language: str, words: list[str]
) -> None:
    job.customer.language = language
    job.customer.save()
    client, url = login(Role.DESK), reverse("job-receipt", args=[job])
    page = text_in(language, client.get(url).text)
    assert english_left(page, language) == []
    receipt = sign_receipt(job, staff[Role.DESK])
    page += text_in(language, client.get(url).text)
    pdf = receipt_pdf(receipt)
    text = whole_text(pdf)
    assert [part for part in english_sentences(language) if squeezed(part) in text] == []
    assert [part for part in words if squeezed(part) not in text] == []
    assert [part for part in words if squeezed(part) not in squeezed(page)] == []
    assert str(opened(pdf).Root.Lang) == language
    # Another language later is no change of what was signed, and the receipt stays as it was read.
    job.customer.language = "en"
    job.customer.save()
    assert receipt_state(load_results(job)).is_current
    assert receipt_pdf(SignedReceipt.objects.get()) == pdf


def test_receipt_from_before_there_were_languages_keeps_its_code(receipt) -> None:
    stored = {name: value for name, value in receipt.facts.items() if name != "language"}
    canonical = json.dumps(stored, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    receipt.facts = stored
    facts = read_facts(receipt)
    assert facts is not None
    assert facts.code == hashlib.sha256(canonical.encode()).hexdigest()[:8].upper()
    assert squeezed(f"Wording 1. State {facts.code}.") in whole_text(receipt_pdf(receipt))


def test_same_signature_gives_the_same_bytes_whatever_became_of_job_and_shop(receipt, job) -> None:
    before = receipt_pdf(receipt)
    job.condition, job.customer.name = "Clean.", "Somebody else"
    job.save()
    job.customer.save()
    job.photos.all().delete()
    shop = ShopProfile.current()
    shop.name, shop.currency, shop.distance_unit = "Other shop", "CHF", "mi"
    shop.save()
    assert receipt_pdf(SignedReceipt.objects.get()) == before


def test_pdf_is_kept_with_its_hash_and_read_back(receipt, login, job) -> None:
    pdf = print_receipt(receipt)
    receipt.refresh_from_db()
    assert receipt.sha256 == hashlib.sha256(pdf).hexdigest()
    job.condition = "Tank dented through."
    job.save()
    client = login(Role.MECHANIC)
    answer = client.get(reverse("receipt-pdf", args=[receipt.pk]))
    assert answer.getvalue() == pdf
    assert answer.headers["Content-Type"] == "application/pdf"
    assert squeezed("Tank dented") not in whole_text(pdf)
    assert reverse("receipt-pdf", args=[receipt.pk]) in client.get(reverse("job-receipt", args=[job])).text


def test_lost_file_is_made_again_and_a_changed_one_is_never_shown(receipt, login) -> None:
    pdf = print_receipt(receipt)
    receipt.pdf.storage.delete(receipt.pdf.name)
    assert print_receipt(receipt) == pdf
    SignedReceipt.objects.filter(pk=receipt.pk).update(sha256="0" * 64)
    answer = login(Role.DESK).get(reverse("receipt-pdf", args=[receipt.pk]), follow=True)
    assert "is missing or was changed" in answer.text


def test_signing_makes_the_pdf_and_a_failed_one_is_made_again(login, job, monkeypatch) -> None:
    client, url = login(Role.DESK), reverse("job-receipt", args=[job])
    sent = {"signed_by": "Ines Quill", "on_paper": "on"}
    sent["code"] = client.get(url).context["form"]["code"].value()

    def fail(*args: object, **kwargs: object) -> bytes:
        raise OSError("no space left on device")

    with monkeypatch.context() as broken:
        broken.setattr("reports.receipt.printing.document_pdf", fail)
        page = client.post(reverse("job-sign", args=[job]), sent, follow=True).text
        assert "The signature is stored, but its PDF could not be created" in page
        again = reverse("receipt-print", args=[SignedReceipt.objects.get().pk])
        assert again in page
        assert "could not be created" in client.post(again, follow=True).text
    assert " created." in client.post(again, follow=True).text
    receipt = SignedReceipt.objects.get()
    assert squeezed("on paper") in squeezed("".join(pages(print_receipt(receipt))))
    assert receipt.is_printed


def test_signature_without_its_facts_has_no_pdf(login, job) -> None:
    receipt = SignedReceipt.objects.create(job=job, number=1, signed_by="Ines Quill")
    answer = login(Role.DESK).get(reverse("receipt-pdf", args=[receipt.pk]), follow=True)
    assert "were not stored with this signature" in answer.text


def test_receipt_is_mailed_as_it_was_signed(receipt, login, job, django_capture_on_commit_callbacks) -> None:
    pdf, client = print_receipt(receipt), login(Role.DESK)
    job.condition = "Clean."
    job.save()
    url = reverse("receipt-mail", args=[receipt.pk])
    assert client.get(url).context["form"]["address"].value() == job.customer.email
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(url, {"address": "ines@example.org"}, follow=True)
    assert "is waiting to be sent" in answer.text
    (sent,) = mail.outbox
    assert sent.to == ["ines@example.org"]
    assert [(name, content) for name, content, _ in sent.attachments] == [
        (receipt.pdf.name.rsplit("/", 1)[1], pdf)
    ]
    page = client.get(reverse("job-receipt", args=[job])).text
    assert "Accepted by the mail server" in page


def test_mail_of_a_receipt_is_in_the_language_of_the_customer(receipt, staff) -> None:
    print_receipt(receipt)
    receipt.job.customer.language = "de"
    sent = mail_receipt(receipt, "ines@example.org", staff[Role.DESK], ShopProfile.current())
    assert sent.subject.startswith(f"Annahmeblatt {receipt.job}/{receipt.number}, ")
    assert "Guten Tag," in sent.body and "unterschrieben." in sent.body


def test_receipt_without_its_file_is_not_sent_and_says_so(
    receipt, login, job, django_capture_on_commit_callbacks
) -> None:
    print_receipt(receipt)
    receipt.pdf.storage.delete(receipt.pdf.name)
    url = reverse("receipt-mail", args=[receipt.pk])
    with django_capture_on_commit_callbacks(execute=True):
        login(Role.DESK).post(url, {"address": "ines@example.org"})
    assert mail.outbox == []
    page = login(Role.DESK).get(reverse("job-receipt", args=[job])).text
    assert "Not sent." in page and "The attached file is missing." in page


def erase_person(receipt: SignedReceipt, choice: str) -> SignedReceipt:
    Job.objects.filter(pk=receipt.job_id).update(stage="cancelled")
    key = document_key(receipt)
    decision = Decision(DocumentDecision.Choice(choice), "claims")
    erase(receipt.job.customer, documents={key: decision}, by=receipt.taken_by)
    return SignedReceipt.objects.get()


def test_receipt_that_the_owner_keeps_stays_as_signed(receipt, login) -> None:
    pdf = print_receipt(receipt)
    Job.objects.filter(pk=receipt.job_id).update(stage="cancelled")
    page = login(Role.OWNER).get(reverse("customer-erase", args=[receipt.job.customer_id])).text
    assert f"Check-in sheet {receipt.job.number}/1, signed" in page
    stored = erase_person(receipt, "keep")
    assert (stored.signed_by, print_receipt(stored)) == ("Ines Quill", pdf)


def test_receipt_that_the_owner_deletes_holds_no_person(
    receipt, login, django_capture_on_commit_callbacks
) -> None:
    print_receipt(receipt)
    storage, name = receipt.pdf.storage, receipt.pdf.name
    with django_capture_on_commit_callbacks(execute=True):
        stored = erase_person(receipt, "delete")
    assert not storage.exists(name)
    held = json.dumps([stored.facts, stored.pictures, stored.signature, stored.signed_by])
    held += str([*SignedReceipt.history.values("signature", "signed_by")])
    for words in ("Ines", "555 0101", "DEMO 1", "100, 50"):
        assert words not in held
    assert stored.facts["condition"] == "Scratch on the tank."
    client = login(Role.DESK)
    page = client.get(reverse("job-receipt", args=[receipt.job])).text
    assert "Deleted with the customer" in page and stored.sha256 in page
    answer = client.get(reverse("receipt-pdf", args=[stored.pk]), follow=True)
    assert "was deleted with the customer" in answer.text


def test_receipt_is_in_the_export_of_what_is_held_about_the_customer(receipt, tmp_path) -> None:
    print_receipt(receipt)
    with (tmp_path / "held.zip").open("wb") as target:
        export(receipt.job.customer, target)
    with zipfile.ZipFile(tmp_path / "held.zip") as archive:
        assert receipt.pdf.name in archive.namelist()
        assert "Scratch on the tank." in archive.read("records.json").decode()
