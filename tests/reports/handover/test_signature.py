"""A sheet of a shop with a certificate is signed by PAdES (ETSI EN 319 142-1), read back by pyHanko."""

import asyncio
import io
import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko.sign.validation.status import PdfSignatureStatus, SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from jobs.models import Job
from reports.handover.issuing import issue_sheet, issued_pdf
from reports.handover.sheet import sheet_pdf
from reports.models import HandoverSheet
from reports.typesetting.pdf import DocumentSource, typeset
from reports.typesetting.signing import load_signer, sign_pdf
from tests import factories
from tests.reports import whole_jobs
from tests.reports.typesetting.test_standards import structure
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def certificate(settings, tmp_path) -> Path:
    whole_jobs.make_shop()
    settings.SIGNING_CERTIFICATE, settings.SIGNING_PASSPHRASE = tmp_path / "signing.p12", "a pass phrase"
    call_command("make_certificate", stdout=io.StringIO())
    return tmp_path / "signing.p12"


@pytest.fixture
def job(staff) -> Job:
    return factories.make_job(intended_use="track_only")


def issue(job: Job, staff: dict[Role, Any]) -> HandoverSheet:
    return issue_sheet(job=job, by=staff[Role.OWNER], override_reason="for a test")


def validate(pdf: bytes) -> PdfSignatureStatus:
    """Validate the one signature of a PDF against the certificate of the shop."""
    (signature,) = PdfFileReader(io.BytesIO(pdf)).embedded_signatures
    trusted = ValidationContext(trust_roots=[load_signer().signing_cert], allow_fetching=False)
    with ThreadPoolExecutor(max_workers=1) as thread:  # as signing does
        return thread.submit(validate_pdf_signature, signature, trusted).result()


def test_signing_works_beside_a_running_event_loop(certificate) -> None:
    pdf = typeset(DocumentSource("<p>Ready</p>", {}, "A4"), at=timezone.now())

    async def sign() -> bytes:
        return pdf + sign_pdf(pdf).appended

    with ThreadPoolExecutor(max_workers=1) as thread:
        signed = thread.submit(lambda: asyncio.run(sign())).result()
    assert validate(signed).bottom_line


def test_issued_sheet_is_signed_over_the_whole_file(certificate, job, staff) -> None:
    sheet = issue(job, staff)
    pdf = issued_pdf(sheet)
    status = validate(pdf)
    assert status.bottom_line and status.coverage == SignatureCoverageLevel.ENTIRE_FILE
    assert status.signing_cert.sha256.hex() == sheet.certificate_sha256
    (signature,) = PdfFileReader(io.BytesIO(pdf)).embedded_signatures
    assert signature.sig_object["/SubFilter"] == "/ETSI.CAdES.detached"
    assert pdf.startswith(sheet_pdf(sheet.snapshot))  # the same pages, before signing


def test_altered_sheet_is_not_valid(certificate, job, staff) -> None:
    pdf = issued_pdf(issue(job, staff))
    middle = len(pdf) // 3
    altered = pdf[:middle] + bytes([pdf[middle] ^ 1]) + pdf[middle + 1 :]
    assert not validate(altered).bottom_line


def test_signature_field_is_tagged(certificate, job, staff) -> None:
    """ISO 14289-1, 7.18.1 and 7.18.4: a widget has a name and lies within a Form element."""
    with pikepdf.open(io.BytesIO(issued_pdf(issue(job, staff)))) as document:
        (field,) = document.Root.AcroForm.Fields
        (form,) = [e for e in structure(document.Root.StructTreeRoot.K) if e.S == "/Form"]
        numbers = list(document.Root.StructTreeRoot.ParentTree.Nums)
        assert str(field.TU) == str(form.Alt) == "Electronic signature of the workshop"
        assert form.K.Obj.objgen == field.objgen
        assert numbers[numbers.index(field.StructParent) + 1].objgen == form.objgen
        assert int(field.F) == 132  # printed and locked, not hidden: ISO 19005-3, 6.3.2


def test_lost_file_of_signed_sheet_is_restored_to_the_byte(certificate, job, staff, settings) -> None:
    sheet = issue(job, staff)
    pdf = issued_pdf(sheet)
    sheet.pdf.storage.delete(sheet.pdf.name)
    certificate.unlink()  # a lost certificate does no harm to what it signed
    assert issued_pdf(HandoverSheet.objects.get(pk=sheet.pk)) == pdf


def test_sheet_of_shop_without_certificate_is_not_signed(job, staff) -> None:
    whole_jobs.make_shop()
    sheet = issue(job, staff)
    assert PdfFileReader(io.BytesIO(issued_pdf(sheet))).embedded_signatures == []
    assert sheet.certificate_sha256 == ""


def test_sheet_is_not_printed_if_the_certificate_cannot_be_read(
    certificate, job, staff, settings, login
) -> None:
    settings.SIGNING_PASSPHRASE = "another"
    data = {"issue_number": 1, "override_reason": "for a test"}
    client = login(Role.OWNER)
    page = client.post(f"/jobs/{job}/handover/issue/", data, follow=True).content.decode()
    assert "The signing certificate signing.p12 cannot be read. Check SIGNING_CERTIFICATE" in page
    settings.SIGNING_PASSPHRASE = "a pass phrase"
    client.post(reverse("sheet-print", args=[HandoverSheet.objects.get().pk]))
    assert validate(issued_pdf(HandoverSheet.objects.get())).bottom_line


def test_check_page_shows_the_certificate_of_a_signed_sheet(certificate, job, staff, client: Client) -> None:
    sheet = issue(job, staff)
    assert sheet.certificate_sha256 in client.get(f"/check/{sheet.check_code}/").content.decode()


def test_certificate_is_private_and_never_replaced(certificate) -> None:
    content = certificate.read_bytes()
    assert stat.S_IMODE(certificate.stat().st_mode) == 0o600
    with pytest.raises(CommandError, match="It was not replaced"):
        call_command("make_certificate")
    assert certificate.read_bytes() == content
