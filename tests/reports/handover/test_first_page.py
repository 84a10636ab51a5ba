"""The first page holds what was asked, done, changed and whether the road is allowed, whatever was typed."""

import unicodedata
from collections.abc import Callable
from typing import Any

import pytest

from reports.handover.first_page import truncate
from reports.handover.sheet import sheet_pdf
from reports.typesetting.glyphs import missing_glyphs, spell, with_missing_glyphs_named
from tests.reports.conftest import without_evidence
from tests.reports.reading import fonts, pages, squeezed

pytestmark = [pytest.mark.slow, pytest.mark.one_database]

ON_FIRST_PAGE = (
    "What you asked for",
    "What came in, and what is in the bike now",
    "Can it be ridden on public roads?",
    "The local authority, the inspection body and your insurer decide",
    "On your first rides",
    "Next service",
    "Not inspected, not tested",
)
LONG_ROW = (
    "Something was done here that takes a good many words to tell, so that its row is longer than a line."
)
Snapshot = dict[str, Any]


def forty_wishes(snapshot: Snapshot) -> None:
    snapshot["brief"]["asked"] = "\n".join(f"Wish {n}: see to the rattle number {n}." for n in range(40))


def five_thousand_words(snapshot: Snapshot) -> None:
    snapshot["brief"]["asked"] = " ".join(f"word{n}" for n in range(5000))


def much_done(snapshot: Snapshot) -> None:
    snapshot["done"] = [f"Row {n}. {LONG_ROW}" for n in range(60)]


def thirty_causes(snapshot: Snapshot) -> None:
    snapshot["notices"]["causes"] = [f"Tune, thing {n}: it may no longer meet the limits." for n in range(30)]


def long_names(snapshot: Snapshot) -> None:
    """As long as the records allow: 120 letters for a person, as much for maker and model together."""
    snapshot["customer"]["name"] = ("Maximiliane von und zu der langen Furt " * 4)[:120]
    snapshot["bike"]["title"] = ("Longmaker Extraordinary Adventure Touring Edition " * 3)[:125]
    snapshot["shop"]["name"] = ("The Workshop of Many Names and Their Sons " * 3)[:120]
    snapshot["shop"]["address"] = "\n".join(f"Line {n} of the address" for n in range(9))


def other_scripts(snapshot: Snapshot) -> None:
    snapshot["customer"]["name"] = "山田太郎 محمد"
    snapshot["brief"]["asked"] = "吹け上がりが悪い。バルブを調整してください。" * 40 + " الدراجة بطيئة."


def all_at_once(snapshot: Snapshot) -> None:
    for lengthen in (forty_wishes, much_done, thirty_causes, long_names):
        lengthen(snapshot)
    snapshot["changed"] = [LONG_ROW * 8] * 3
    snapshot["sheet"]["override_reason"] = LONG_ROW * 6
    sections = ["brief and receipt", "valve clearances", "parts", "tune", "runs", "comparisons", "throttle"]
    at = snapshot["sheet"]["issued_at"]
    snapshot["sheet"]["supersedes"] = {"number": "2025-001/1", "issued_at": at, "changed": sections}


@pytest.fixture
def short(snapshot) -> Snapshot:
    return {**without_evidence(snapshot), "wishes": []}  # the request stays one text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(
    "make",
    [forty_wishes, five_thousand_words, much_done, thirty_causes, long_names, other_scripts, all_at_once],
)
def test_first_page_contains_required_texts(
    short, print_once, make: Callable[[Snapshot], None], paper: str
) -> None:
    make(short)
    short["shop"]["paper"] = paper
    first, second = pages(print_once(short))[:2]
    assert [words for words in ON_FIRST_PAGE if squeezed(words) not in squeezed(first)] == []
    assert squeezed("Your bike now") in squeezed(second)
    assert squeezed("The local authority, the inspection body") not in squeezed(second)


def test_texts_left_out_of_first_page_are_on_later_pages(short, print_once) -> None:
    all_at_once(short)
    first, *rest = pages(print_once(short))
    printed = squeezed("".join(rest))
    assert squeezed("Full text: Work, price and arrival") in squeezed(first)
    assert [n for n in range(40) if squeezed(f"Wish {n}: see to the rattle") not in printed] == []
    assert [n for n in range(60) if squeezed(f"Row {n}. Something was done") not in printed] == []
    assert [n for n in range(30) if squeezed(f"Tune, thing {n}: it may") not in printed] == []
    assert squeezed(LONG_ROW * 8) in printed
    assert squeezed(LONG_ROW * 6) in printed


# --- letters


def test_character_without_glyph_is_printed_as_number() -> None:
    """U+10FFFD is for private use: no public font may give it a form (Unicode Standard, 23.5)."""
    html = "<body><p>Caf\N{LATIN SMALL LETTER E WITH ACUTE} \U0010fffd</p></body>"
    assert missing_glyphs(html) == {0x10FFFD}
    page = with_missing_glyphs_named(html)
    assert "[U+10FFFD]" in page
    assert "\U0010fffd" not in page
    assert "Some characters could not be printed" in page


def test_picture_is_named_if_no_font_has_it() -> None:
    """Names of the Unicode Character Database."""
    assert spell(0x1F3CD) == "[racing motorcycle]"
    assert spell(0x4E00) == "[U+4E00]"


def test_numbers_of_characters_in_a_row_share_brackets() -> None:
    """U+10FFFC and U+10FFFD are for private use, as above."""
    page = with_missing_glyphs_named("<body><p>\U0010fffc\U0010fffd and \U0010fffd</p></body>")
    assert "<p>[U+10FFFC U+10FFFD] and [U+10FFFD]</p>" in page


def test_text_is_cut_after_a_sentence_if_most_of_it_stays() -> None:
    text = (
        "It was prepared for the track. On public roads it may not be legal. The insurer may not pay for it."
    )
    assert truncate(text, 80) == "It was prepared for the track. On public roads it may not be legal. …"
    assert truncate(text, 21) == "It was prepared for …"


def test_invisible_characters_need_no_glyph() -> None:
    html = "<body>soft\u00adhyphen, joined\u200d, variant\ufe0f, a\u00a0blank\n</body>"
    assert with_missing_glyphs_named(html) == html


# Names and words in Japanese, Chinese (simplified, traditional), Korean, Hindi, Thai, Arabic and Hebrew.
RIDERS = "山田 ひらがな バルブ 陈伟 陳偉 서울 महेश สมชาย محمد דוד"
PICTURES = "🏍👍🔧❤️⚠️😀"


def test_every_character_is_printed_in_our_fonts_or_numbered(short, print_once) -> None:
    short["customer"]["name"] = f"{PICTURES} {RIDERS} \U0010fffd"
    pdf = print_once(short)
    printed = squeezed("".join(pages(pdf)))
    assert "[U+10FFFD]" in printed
    for letter in set(RIDERS + PICTURES) - set(" \ufe0f\u200d"):
        if not unicodedata.combining(letter):  # read back in the order in which it is drawn
            assert letter in printed, f"{letter} U+{ord(letter):04X}"
    assert all(fonts(pdf).values()), "a font is not in the file"
    assert all("+Sheet-" in name for name in fonts(pdf)), "a font of this machine was taken"
    assert sheet_pdf(short) == pdf
