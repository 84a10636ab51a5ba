"""One comparison has the same figures on every page of the sheet, on both pages and in its CSV file."""

import csv
import io
import re
from decimal import ROUND_HALF_UP, Decimal

import pytest
from django.urls import reverse

from jobs.calc.dyno.comparison import ComparedValue
from jobs.comparisons.charts import build_value_row
from jobs.comparisons.facts import compared_value_facts
from jobs.templatetags.facts import measured
from reports.customer.links import make_link
from reports.handover.sheet import sheet_pdf
from reports.models import HandoverSheet, NoticeWording
from tests.html import read_text
from tests.reports.conftest import stored_snapshot
from tests.reports.reading import pages
from workshop.models import Role, ShopProfile

pytestmark = pytest.mark.one_database

NUMBER = r"(−?\d+\.\d+)"
UNIT = r"(?:kW|N·m|m|s)"
IN_SENTENCE = re.compile(rf"95 % interval {NUMBER} ({UNIT}) to {NUMBER} {UNIT}")
VERDICT = r"(?:more|less|higher|lower|no clear difference)"
ON_FIRST_PAGE = re.compile(rf"95 % interval {NUMBER} to {NUMBER}\)")
IN_TABLE = re.compile(rf"(?<!\S){NUMBER}(?: {UNIT})? to {NUMBER}(?: {UNIT})? {VERDICT}")


def spaced(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def sentence_intervals(text: str) -> set[tuple[str, str]]:
    """Return the intervals of power, time and distance in running text; braking has no table."""
    return {(low, high) for low, unit, high in IN_SENTENCE.findall(spaced(text)) if unit != "N·m"}


def bare_intervals(text: str) -> set[tuple[str, str]]:
    """Return every pair of ends, with or without units."""
    return set(re.findall(rf"{NUMBER}(?: {UNIT})? to \+?{NUMBER}", spaced(text)))


def table_intervals(text: str) -> set[tuple[str, str]]:
    return set(IN_TABLE.findall(spaced(text)))


@pytest.mark.slow
@pytest.mark.django_db
def test_every_interval_of_a_comparison_is_the_same_wherever_it_is_printed(whole_job, staff, login) -> None:
    snapshot = stored_snapshot(whole_job, staff[Role.OWNER])
    printed = pages(sheet_pdf(snapshot))
    in_tables = table_intervals(" ".join(printed))
    assert len(in_tables) >= 11  # two figures of two quantities in two bands, three of the roll-on

    first_page = set(ON_FIRST_PAGE.findall(spaced(printed[0])))
    assert len(first_page) == 1  # mean torque of the band with the clearest difference
    assert first_page <= in_tables
    told = set().union(*map(sentence_intervals, printed))
    assert told  # the lead out of a turn
    assert told <= in_tables

    client = login(Role.DESK)
    comparison = whole_job.comparisons.get()
    page = read_text(client.get(reverse("comparison", args=[comparison.pk])))
    assert table_intervals(page) == in_tables
    assert sentence_intervals(page) >= told

    sheet = HandoverSheet.objects.create(
        job=whole_job,
        issue_number=1,
        snapshot=snapshot,
        snapshot_sha256="0" * 64,
        pdf="sheets/none.pdf",
        sha256="0" * 64,
        wording=NoticeWording.objects.get(),
        issued_by=staff[Role.OWNER],
    )
    link = make_link(sheet=sheet, by=staff[Role.OWNER])
    customer_page = read_text(client.get(reverse("customer-sheet", args=[link.token])))
    assert sentence_intervals(customer_page) <= in_tables
    assert first_page <= bare_intervals(customer_page)

    rows = csv.DictReader(
        io.StringIO(client.get(reverse("comparison-csv", args=[comparison.pk])).content.decode("utf-8-sig"))
    )
    # Rows of masses, air and resistance have no interval.
    ends = [(row["unit"], row["95 % from"], row["95 % to"]) for row in rows if row["95 % from"]]
    places = {"s": 3}  # every difference has one decimal more than its value
    from_file = {tuple(rounded(end, places.get(unit, 2)) for end in (low, high)) for unit, low, high in ends}
    assert from_file == in_tables


def rounded(text: str, places: int) -> str:
    value = Decimal(text).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    return str(value).replace("-", "−")


# Rounded to three decimals first, 0.01469 would become 0.015 and then 0.02.
@pytest.mark.parametrize("unit", ["kw", "hp", "ps"])
@pytest.mark.parametrize(("low", "high"), [(0.01469, 0.96454), (-0.00498, 1.00496), (-3.12549, -0.01469)])
def test_figure_near_a_half_is_the_same_on_screen_and_paper(unit: str, low: float, high: float) -> None:
    shop = ShopProfile(power_unit=unit)
    middle = (low + high) / 2
    value = ComparedValue("Mean power", "kW", 60.04999, 60.54951, 3, 3, middle, low, high, 4.0, None)
    row, printed = build_value_row(value, shop), measured(compared_value_facts(value, shop), shop)

    def with_unit(text: str) -> str:
        return f"{text}\N{NO-BREAK SPACE}{printed['unit']}"

    ends = " to ".join(with_unit(end) for end in printed["interval"].split(" to "))
    assert row.interval == ends
    assert f"95 % interval {ends};" in row.sentence
    assert (row.before, row.after, row.difference) == tuple(
        with_unit(printed[name]) for name in ("before", "after", "difference")
    )
    if unit == "kw" and low == 0.01469:
        assert printed["interval"] == "0.01 to 0.96"
