"""The page at the address on a sheet: it confirms number, date and hash to anyone, and nothing personal."""

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from reports.handover.issuing import issue_sheet
from reports.models import HandoverSheet
from tests.html import read_text
from workshop.models import Role

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("blank_pages")]

TOLD = "Ines Quill"


def issue(job: Any, staff: Any) -> HandoverSheet:
    return issue_sheet(
        job=job,
        by=staff[Role.DESK],
        informed_person=TOLD,
        build_check_url=lambda code: f"https://shop.example/check/{code}/",
    )


@pytest.fixture
def sheet(short_job, staff) -> HandoverSheet:
    return issue(short_job, staff)


def look_up(code: str, client: Client | None = None) -> Any:
    return (client or Client()).get(reverse("sheet-check", args=[code]))


def test_page_confirms_number_date_and_hash_without_login(sheet) -> None:
    answer = look_up(sheet.check_code)
    text = read_text(answer)
    assert answer.status_code == 200
    assert f"Handover sheet {sheet.number}" in text
    assert sheet.sha256 in text
    assert f"{sheet.issued_at:%Y}" in text
    assert "No later sheet of this job was issued." in text
    assert answer.headers["X-Robots-Tag"] == "noindex, nofollow"
    assert "no-store" in answer.headers["Cache-Control"]


def test_page_shows_nothing_personal(sheet) -> None:
    text = look_up(sheet.check_code).text
    customer, bike = sheet.job.customer, sheet.job.bike
    for personal in (customer.name, customer.phone, customer.email, bike.plate, bike.vin, str(bike), TOLD):
        assert not personal or personal not in text


def test_outdated_sheet_names_the_later_one(sheet, short_job, staff) -> None:
    short_job.brief += " And look at the chain."
    short_job.save()
    later = issue(short_job, staff)
    assert f"A later sheet, {later.number}, was issued on" in read_text(look_up(sheet.check_code))
    assert "No later sheet" in read_text(look_up(later.check_code))


def test_page_does_not_end_with_the_links(sheet, staff) -> None:
    assert not sheet.links.exists()
    assert look_up(sheet.check_code.upper()).status_code == 200  # typed off paper


def test_unknown_code_is_told_and_guessing_is_limited(sheet) -> None:
    client = Client()
    answer = look_up("nosuchcode", client)
    assert (answer.status_code, "This shop issued no sheet with this code." in answer.text) == (404, True)
    codes = {look_up(f"guess{number:05d}", client).status_code for number in range(40)}
    assert codes == {404, 429}


def test_code_has_no_signs_that_look_alike(sheet) -> None:
    assert re.fullmatch(r"[23456789a-hjkmnp-z]{10}", sheet.check_code)


def test_deleted_sheet_is_still_confirmed(sheet) -> None:
    sheet.erase_person(sheet.snapshot, "", [])
    text = read_text(look_up(sheet.check_code))
    assert sheet.sha256 in text
    assert "The shop has deleted its own copy" in text


def test_address_on_the_sheet_is_that_of_its_page(short_job, login) -> None:
    client = login(Role.DESK)
    page = client.get(reverse("handover", args=[short_job]))
    issued = client.post(
        reverse("handover-issue", args=[short_job]),
        {"issue_number": page.context["form"]["issue_number"].value(), "told": TOLD},
    )
    assert issued.status_code == 302
    sheet = HandoverSheet.objects.get()
    address = sheet.snapshot["sheet"]["check_address"]
    assert address == f"http://testserver/check/{sheet.check_code}/"
    assert Client().get(address).status_code == 200
