"""The customer's page: answers to the wishes, charts, photos, prices, in the customer's language."""

import io
from datetime import timedelta

import pytest
from django.core.files.base import ContentFile
from django.urls import reverse
from PIL import Image

from jobs.comparisons.facts import ComparedValueFacts, CurvesFacts, DifferenceFacts, SideFacts
from jobs.models import Photo, Wish
from reports.customer import links
from reports.customer.page import split_photos
from reports.customer.sentences import describe_regions, describe_value
from reports.handover.issuing import issue_sheet
from reports.handover.snapshot.codec import from_json
from reports.handover.snapshot.schema import UnitFacts
from reports.models import HandoverSheet
from tests.html import by_class, parse, read_text
from tests.reports import whole_jobs
from workshop.models import Customer, Role

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]
UNITS = UnitFacts("kw", "nm", "hpa", "c", "mm", "km")


@pytest.fixture
def whole(staff) -> HandoverSheet:
    job = whole_jobs.make_whole_job(staff)
    return issue_sheet(
        job=job, by=staff[Role.OWNER], override_reason="for a test", informed_person="Ines Quill"
    )


def read(client, sheet: HandoverSheet, staff) -> str:
    link = links.make_link(sheet=sheet, by=staff[Role.DESK])
    return client.get(reverse("customer-sheet", args=[link.token])).text


def test_page_answers_each_wish_and_says_what_the_answer_rests_on(client, staff, whole) -> None:
    page = read(client, whole, staff)
    shown = [read_text(item) for item in by_class(page, "answers")[0].xpath("./li")]
    assert len(shown) == 3
    assert "Valves are due." in shown[0] and "Shown by: Valve clearances: As left" in shown[0]
    assert "No measurement of it is on record." in shown[1] and "Toni Tuner" in shown[1]
    assert "open" in shown[2] and "Shown by" not in shown[2]
    # The road-use notice comes first for a reader on a phone.
    assert page.index('id="road-title"') < page.index('id="wishes-title"') < page.index('id="price-title"')
    assert 'href="tel:' in page
    assert "This bike may not be road legal." in page
    charts = parse(page).xpath("//*[local-name()='svg'][contains(@class, 'screen-chart')]")
    assert len(charts) >= 3
    assert all(chart.get("aria-label") for chart in charts)
    assert parse(page).xpath("//*[@style]") == []  # the policy of the site allows none
    assert "your limit 900.00" in page


def test_request_that_was_not_split_is_one_row(client, staff, whole) -> None:
    Wish.objects.all().delete()
    again = issue_sheet(
        job=whole.job, by=staff[Role.OWNER], override_reason="again", informed_person="Ines Quill"
    )
    page = read(client, again, staff)
    (row,) = by_class(page, "answers")[0].xpath("./li")
    assert whole.job.brief.split()[0] in read_text(row)


@pytest.mark.parametrize(
    ("language", "sentences"),
    [
        (
            "de",
            ["12 von 12 Ventilspielen im Soll", "Ihr Limit 900,00", "Dieses Motorrad ist möglicherweise"],
        ),
        (
            "es",
            ["12 de 12 holguras dentro del margen.", "su límite 900,00", "Puede que esta moto no sea apta"],
        ),
    ],
)
def test_page_is_in_the_language_of_its_sheet(client, staff, language, sentences) -> None:
    job = whole_jobs.make_whole_job(staff)
    Customer.objects.filter(pk=job.customer_id).update(language=language)
    job.customer.refresh_from_db()
    sheet = issue_sheet(
        job=job, by=staff[Role.OWNER], override_reason="for a test", informed_person="Ines Quill"
    )
    Customer.objects.filter(pk=job.customer_id).update(language="en")
    page = read(client, sheet, staff)
    assert f'<html lang="{language}">' in page
    assert [text for text in sentences if text not in page] == []
    assert f'<div lang="{language}">' in page and "Use on public roads" not in page


def test_page_of_an_older_sheet_is_in_the_language_of_its_customer(staff) -> None:
    job = whole_jobs.make_short_job(staff)
    job.customer.language = "de"
    assert links.page_language(HandoverSheet(job=job, snapshot={"sheet": {}})) == "de"
    assert links.page_language(HandoverSheet(job=job, snapshot={"sheet": {"language": "en"}})) == "en"


def curves(low: list[float], high: list[float]) -> CurvesFacts:
    side = SideFacts(3, *([[1.0] * len(low)] * 6), lambda_=None)
    difference = DifferenceFacts([0.0] * len(low), low, high)
    speeds = [3000.0 + 50 * place for place in range(len(low))]
    return CurvesFacts(speeds, side, side, difference, difference, holds_everywhere=True)


def test_no_clear_difference_is_not_called_equal() -> None:
    sentence = describe_regions(curves([-1.0] * 40, [1.0] * 40), "torque")
    assert "no clear difference" in sentence
    assert "does not prove they are equal" in sentence
    value = ComparedValueFacts("Peak power", "power", 68.0, 67.7, -0.3, -1.3, 0.65, -0.5, "", "")
    assert describe_value(value, UNITS) == (
        "Peak power: 68.0 kW before, 67.7 kW after, no clear difference (95 % interval −1.30 to +0.65 kW). "
        "This does not prove they are equal."
    )


def test_stretches_that_differ_are_named_by_their_engine_speeds() -> None:
    low = [-1.0] * 20 + [0.5] * 21 + [-1.0] * 20
    assert (
        describe_regions(curves(low, [2.0] * 61), "torque") == "Torque: more between about 4000 and 5000 rpm."
    )


def test_photos_are_parted_into_those_of_the_check_in_and_later_ones(staff) -> None:
    job = whole_jobs.make_whole_job(staff)
    data = io.BytesIO()
    Image.new("RGB", (8, 8)).save(data, "JPEG")
    photo = Photo(job=job, original_name="p.jpg", by=staff[Role.DESK])
    photo.image.save("p.jpg", ContentFile(data.getvalue()))
    snapshot = from_json(
        issue_sheet(job=job, by=staff[Role.OWNER], override_reason="x", informed_person="Ines Quill").snapshot
    )
    assert [title for title, _photos in split_photos(snapshot)] == ["During and after the work"]
    Photo.objects.update(created_at=job.received_at + timedelta(hours=1))
    snapshot = from_json(
        issue_sheet(job=job, by=staff[Role.OWNER], override_reason="x", informed_person="Ines Quill").snapshot
    )
    assert [title for title, _photos in split_photos(snapshot)] == ["As it came in"]


def test_mail_is_in_the_language_of_the_customer(staff, whole) -> None:
    customer = whole.job.customer
    customer.language = "de"
    customer.save()
    whole.refresh_from_db()
    link = links.make_link(sheet=HandoverSheet.objects.get(pk=whole.pk), by=staff[Role.DESK])
    mail = links.mail_link(
        link=link, to="i@example.org", page_address="https://s.example/", by=staff[Role.DESK]
    )
    assert mail.subject.startswith("Übergabeblatt ")
    assert "Lesen und bestätigen Sie es hier:" in mail.body
