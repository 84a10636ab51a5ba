"""Who answers for the work, what nobody inspected, and what a name on the sheet stands for."""

import pytest
from django.urls import reverse

from reports.customer.links import make_link
from reports.handover.issuing import issue_sheet
from reports.handover.sheet import sheet_pdf
from reports.handover.snapshot.codec import from_json
from tests.reports.reading import squeezed, whole_text
from tests.reports.whole_jobs import make_shop
from workshop.models import Role
from workshop.people.names import NAME_NEEDED

# What a reader has to find: in the sheet's own words, so that a change of meaning fails here.
NOT_INSPECTED = "brakes, wheels, tyres, drive, lights, electrics and everything else were not inspected"
CONFIRMATION = (
    "It does not mean that the customer checked the work or found it in order, and it does not affect"
)
RESPONSIBLE = "Responsible for the work at Saltmarsh Cycle Works: Ola Owner, workshop manager."


@pytest.fixture
def issued(blank_pages, short_job, staff):
    return issue_sheet(job=short_job, by=staff[Role.DESK], informed_person="Ines Quill")


def test_sheet_names_the_person_responsible_and_its_limits(issued) -> None:
    printed = whole_text(sheet_pdf(issued.snapshot))
    for text in (
        RESPONSIBLE,
        "Signature for the shop",
        "Not inspected, not tested",
        NOT_INSPECTED,
        CONFIRMATION,
    ):
        assert squeezed(text) in printed


def test_customer_page_says_the_same_before_the_confirmation(issued, staff, client) -> None:
    link = make_link(sheet=issued, by=staff[Role.DESK])
    page = client.get(reverse("customer-sheet", args=[link.token])).text
    assert "Responsible for the work: Ola Owner, workshop manager." in page
    assert NOT_INSPECTED in page
    assert page.index(CONFIRMATION) < page.index("Your name")


def test_issued_sheet_keeps_the_person_it_was_issued_under(issued, short_job, staff) -> None:
    make_shop(responsible_name="Bo Tarn", responsible_role="")
    assert from_json(issued.snapshot).shop.responsible_name == "Ola Owner"
    later = issue_sheet(job=short_job, by=staff[Role.DESK], informed_person="Ines Quill")
    printed = whole_text(sheet_pdf(later.snapshot))
    assert squeezed("Responsible for the work at Saltmarsh Cycle Works: Bo Tarn.") in printed
    issued.refresh_from_db()
    assert issued.snapshot["shop"]["responsible_role"] == "workshop manager"


def test_shop_that_names_nobody_prints_no_signature_of_its_own(blank_pages, short_job, staff) -> None:
    make_shop(responsible_name="", responsible_role="")
    sheet = issue_sheet(job=short_job, by=staff[Role.DESK], informed_person="Ines Quill")
    assert squeezed("Signature for the shop") not in whole_text(sheet_pdf(sheet.snapshot))


def test_sheet_stored_before_these_texts_says_none_of_them(issued, snapshot) -> None:
    for key in ("not_inspected", "confirmation"):
        del snapshot[key]
    for key in ("responsible_name", "responsible_role"):
        del snapshot["shop"][key]
    old = from_json(snapshot)
    assert (old.not_inspected, old.confirmation, old.shop.responsible_name) == ("", "", "")


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({"responsible_name": "x"}, NAME_NEEDED),
        ({"responsible_name": "", "responsible_role": "manager"}, "Enter the name of the person who has"),
    ],
)
def test_owner_enters_the_name_of_a_person(login, shop, sent, sentence) -> None:
    from tests.workshop.shop.test_shop import values_of

    owner = login(Role.OWNER)
    values = {**values_of(owner.get("/shop/")), "responsible_name": "Ola Owner", "responsible_role": ""}
    refused = owner.post("/shop/", {**values, **sent})
    assert refused.status_code == 422
    assert str(sentence) in refused.text
    assert owner.post("/shop/", {**values, "responsible_role": "head"}).status_code == 302
    shop.refresh_from_db()
    assert (shop.responsible_name, shop.responsible_role) == ("Ola Owner", "head")
