"""The sheet as a document: complete, one and the same, able to load nothing, readable everywhere."""

import copy
import json
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from pathlib import Path

import pytest

from jobs.clearances.facts import CLEARANCES
from jobs.comparisons.facts import COMPARISONS
from jobs.models import Job, Part
from reports.drawing import pictures
from reports.handover.sheet import annex_sections, prepare, sheet_pdf
from reports.handover.snapshot.codec import from_json, snapshot_sha256
from reports.typesetting.pdf import PAPERS
from tests import factories
from tests.reports import whole_jobs
from tests.reports.conftest import stored_snapshot, without_evidence
from tests.reports.reading import (
    attachments,
    elements,
    fonts,
    opened,
    pages,
    squeezed,
    syntax_problems,
    unprinted_texts,
    whole_text,
)
from workshop.models import Role

pytestmark = [pytest.mark.slow, pytest.mark.one_database]

# Snapshots as stored when each format was in use: they are printed for ever.
SNAPSHOTS = Path(__file__).with_name("snapshots")
NOT_IN_WORDS = {
    "format-1-bare": {".sheet.issued_by", ".shop.currency"},  # a draft, without prices
}
RIDER_WORDS = "λ °C Ø ½ N·m ł ğ Ж щ é ß ≤ → – − × ± ″ ● ש ع ก ह"


def test_every_text_of_every_record_is_printed(snapshot, pdf):
    assert unprinted_texts(snapshot, pdf) == []


@pytest.mark.parametrize("path", sorted(SNAPSHOTS.glob("format-*.json")), ids=lambda path: path.stem)
def test_stored_snapshot_of_each_format_is_printed_whole(path):
    stored = json.loads(path.read_text(encoding="utf-8"))
    missing = {where for where, _ in unprinted_texts(stored, sheet_pdf(stored))}
    assert missing == NOT_IN_WORDS.get(path.stem, set())


def test_records_are_printed(pdf):
    printed = whole_text(pdf)
    for words in (
        "6 of 12 out of range as found; all 12 on target as left",
        "Silencer Skerry S",
        "race use only",
        "tern_after_sweep_3.csv",
        "tyre slipped",
        "returning rider",
        "Cold start below 5 °C.",
        "Look at the oil level after 500 km.",
        "rear tyre renewed, same size",
        "page 1 of",
        "0.12 mm",
        "after the same start, the bike is",
        "The front wheel would limit",
        "Fuel correction calculated for",
        "Engine braking (overrun), mean of",
        "Torque per % of grip",
        "The throttle responds differently. Ride gently at first",
        "next at about 47\N{NARROW NO-BREAK SPACE}480 km",
    ):
        assert squeezed(words) in printed, words


def test_internal_notes_and_customer_address_are_not_printed(snapshot, pdf):
    kept = json.dumps(snapshot) + whole_text(pdf)
    assert "pays late" not in kept
    assert "ines@example.org" not in kept


def test_same_snapshot_gives_same_bytes(snapshot, pdf):
    assert sheet_pdf(copy.deepcopy(snapshot)) == pdf
    assert sheet_pdf(json.loads(json.dumps(snapshot, sort_keys=True))) == pdf


def test_same_records_give_same_snapshot(whole_job, staff):
    snapshot, again = (stored_snapshot(whole_job, staff[Role.OWNER]) for _ in range(2))
    assert snapshot_sha256(again) == snapshot_sha256(snapshot)
    assert snapshot_sha256(json.loads(json.dumps(snapshot))) == snapshot_sha256(snapshot)


def test_empty_sections_are_left_out(staff):
    whole_jobs.make_shop()
    job = factories.make_job()
    bare = stored_snapshot(job, staff[Role.OWNER])
    assert [part.key for part in annex_sections(from_json(bare))] == ["checks"]
    printed = whole_text(sheet_pdf(bare))
    for title in (
        "Valve clearances",
        "Parts fitted",
        "Comparisons",
        "Mixture",
        "What was done",
        "What came in",
        "How we know",
    ):
        assert squeezed(title) not in printed


def test_opening_and_closing_gaps_between_two_blades_are_printed(staff):
    """As found only: no column is empty-handed, both gaps are named, a bracket shows both blades."""
    whole_jobs.make_shop()
    closing = {
        f"{side}_closing_{end}_mm": Decimal(value)
        for side in ("intake", "exhaust")
        for end, value in (("low", "0.01"), ("high", "0.05"), ("target", "0.03"))
    }
    spec = factories.make_engine(cylinders=2, arrangement="v", adjuster="desmodromic", **closing)
    job = factories.make_job(bike=factories.make_bike(engine_spec=spec))
    measured = factories.make_clearance_set(job, staff[Role.MECHANIC], "0.12")
    reading = measured.readings.filter(gap="closing").first()
    reading.clearance_mm, reading.goes_mm, reading.not_goes_mm = None, Decimal("0.03"), Decimal("0.06")
    reading.save()
    snapshot = stored_snapshot(job, staff[Role.OWNER])
    printed = whole_text(sheet_pdf(snapshot))
    assert squeezed("0.03 to 0.06 mm") in printed
    assert squeezed("cylinder 2, exhaust right, closing") in printed
    assert squeezed("not certain") in printed


def test_typed_markup_is_printed_and_loads_nothing(whole_job, staff):
    attack = "<link rel=attachment href=file:///etc/hostname><img src=http://127.0.0.1:1/><b>bold</b>"
    Part.objects.create(job=whole_job, name=attack, note=f"{attack} in a note")
    whole_job.brief = f"{attack} asked"
    whole_job.save()
    snapshot = stored_snapshot(whole_job, staff[Role.OWNER])
    ready = prepare(from_json(snapshot))
    asked = [part.split('"')[0] for part in ready.html.split('src="')[1:]]
    assert all(address in ready.files for address in asked)
    pdf = sheet_pdf(snapshot)
    assert set(attachments(pdf)) == {"curves.csv", "clearances.csv", "runs.csv", "sheet.json"}
    printed = whole_text(pdf)
    assert squeezed(f"{attack} in a note") in printed
    assert squeezed(f"{attack} asked") in printed


@pytest.mark.parametrize(
    ("paper", "width", "height"),
    # ISO 216 for A4; ANSI/ASME Y14.1 for Letter, 8.5 by 11 inch; 72 points an inch
    [("A4", 595.276, 841.890), ("Letter", 612.0, 792.0)],
)
def test_pages_have_the_shops_paper_size(snapshot, print_once, paper, width, height):
    snapshot["shop"]["paper"] = paper
    assert paper in PAPERS
    with opened(print_once(snapshot)) as document:
        boxes = [[float(side) for side in page.mediabox] for page in document.pages]
    assert len(boxes) > 4
    for box in boxes:
        assert box == pytest.approx([0, 0, width, height], abs=0.5)


def test_only_bundled_fonts_are_used_and_embedded(pdf):
    found = fonts(pdf)
    assert all(found.values())
    assert all("+Sheet-" in name for name in found), found


def test_characters_of_many_languages_have_glyphs(snapshot):
    snapshot["customer"]["name"] = RIDER_WORDS
    pdf = sheet_pdf(without_evidence(snapshot))
    assert all("+Sheet-" in name for name in fonts(pdf)), "a font of this machine was taken"
    printed = whole_text(pdf)
    for sign in RIDER_WORDS.split():
        assert sign in printed, sign


def test_pdf_declares_metadata_language_and_standard(snapshot, pdf):
    with opened(pdf) as document:
        with document.open_metadata() as meta:
            assert meta["pdfaid:part"] == "3"
            assert meta["pdfaid:conformance"] == "A"
            assert "Handover sheet 20" in meta["dc:title"]
        assert str(document.Root.Lang) == "en"
        assert bool(document.Root.MarkInfo.Marked)
        assert len(document.Root.Outlines.keys()) > 1
        assert "2025" in str(document.docinfo["/CreationDate"])


def test_headings_tables_and_alternative_texts_are_tagged(pdf):
    found = elements(pdf)
    kinds = [kind for kind, _ in found]
    assert kinds.count("/H1") == 1
    assert {"/H2", "/Table", "/TH", "/TD", "/Figure", "/L"} <= set(kinds)
    figures = [alt for kind, alt in found if kind == "/Figure"]
    # torque and its difference, clearances, riding modes; lambda, roll-on, torque by grip and engine braking
    pictures = [alt for alt in figures if len(alt) > 40]
    assert len(pictures) == 7
    # the changes in percent in the table of the comparison: four values of each of two bands
    assert sum("%, from " in alt for alt in figures) == 8
    assert all(figures)


def test_pdf_syntax_is_valid(pdf):
    assert syntax_problems(pdf) == ""


def test_attached_tables_contain_values(snapshot, pdf):
    files = attachments(pdf)
    assert json.loads(files["sheet.json"]) == snapshot
    lines = files["curves.csv"].decode().splitlines()
    assert lines[0].startswith("comparison,side,engine_speed_rpm,power_kw")
    assert len(lines) > 300
    clearances = files["clearances.csv"].decode().splitlines()
    assert '"cylinder 1, intake left",as found,0.1,0.2,0.16,0.12,0.12' in clearances[1]


def test_formula_like_text_is_escaped_in_tables(snapshot):
    snapshot["runs"][0]["name"] = "=1+1"
    short = without_evidence(snapshot) | {"runs": snapshot["runs"], "comparisons": []}
    rows = attachments(sheet_pdf(short))["runs.csv"].decode().splitlines()
    assert rows[1].startswith("'=1+1,")


def test_track_only_is_printed_on_every_page(whole_job, staff):
    whole_job.intended_use = Job.IntendedUse.TRACK_ONLY
    whole_job.save()
    track = stored_snapshot(whole_job, staff[Role.OWNER])
    per_page = pages(sheet_pdf(without_evidence(track)))
    assert len(per_page) > 2
    assert all("Trackuseonly" in squeezed(page) for page in per_page)


def test_draft_is_marked_on_every_page(whole_job, staff):
    draft = stored_snapshot(whole_job, staff[Role.OWNER], draft=True)
    per_page = pages(sheet_pdf(without_evidence(draft)))
    assert len(per_page) > 2
    assert all("Draft,notissued" in squeezed(page) for page in per_page)


def test_long_lists_and_notes_are_printed_in_full(whole_job, staff):
    for place in range(200):
        Part.objects.create(
            job=whole_job, name=f"Bolt {place:03d} of the fairing", part_number=f"B-{place:03d}"
        )
    words = [f"word{place}" for place in range(5000)]
    whole_job.condition = " ".join(words)
    whole_job.save()
    snapshot = stored_snapshot(whole_job, staff[Role.OWNER])
    pdf = sheet_pdf(without_evidence(snapshot))
    per_page = pages(pdf)
    printed = squeezed("".join(per_page))
    assert [place for place in range(200) if f"Bolt{place:03d}ofthefairing" not in printed] == []
    assert [word for word in words if word not in printed] == []
    with_parts = [page for page in per_page if "B-0" in page or "B-1" in page]
    assert len(with_parts) > 3
    assert all("Make, number, serial" in page for page in with_parts)


def test_charts_drawn_by_threads_equal_those_drawn_alone(snapshot):
    facts = from_json(snapshot)
    comparison, clearances, units = facts.get(COMPARISONS)[0], facts.get(CLEARANCES), facts.shop.units
    works = [
        lambda: [p.svg for p in pictures.comparison_pictures(comparison, 0, units, with_torque=True)],
        lambda: [p.svg for p in pictures.clearance_pictures(clearances, "mm")],
    ] * 10
    alone = [work() for work in works[:2]]
    with ThreadPoolExecutor(8) as pool:
        together = list(pool.map(lambda work: work(), works))
    assert together == alone * 10


def test_values_are_in_units_of_shop(whole_job, staff):
    shop = whole_jobs.make_shop(
        power_unit="hp", torque_unit="lbf_ft", distance_unit="mi", temperature_unit="f"
    )
    assert shop.power_unit == "hp"
    snapshot = stored_snapshot(whole_job, staff[Role.OWNER])
    printed = whole_text(sheet_pdf(snapshot))
    # 23,480 km / 1.609344 = 14,589.8 mi
    assert "14590mi" in printed
    assert "kW" not in printed
    # the first run's peak, 1 hp = 0.745699872 kW
    peak = snapshot["runs"][0]["peak_power_kw"] / 0.745699872
    assert squeezed(f"{peak:.1f} hp") in printed
