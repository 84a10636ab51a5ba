"""Mentions of a customer in free text: the full name, phone number or email address."""

import pytest

from workshop.privacy.mentions import identifying_terms, make_excerpt

TERMS = identifying_terms(names=["Tom Read"], phones=["+00 555 0101"], emails=["tom@example.org"])


@pytest.mark.parametrize(
    "text",
    [
        "Tom Read wants it smooth",
        "for TOM READ",
        "Tom  Read",
        "Tom\nRead",
        "Tom Read's seat",
        "tom_read.csv",
        "call +00 555 0101.",
        "call 00 555 01 01",
        "(00) 555-0101, mornings",
        "write to Tom@Example.org.",
    ],
)
def test_full_name_phone_and_email_are_found(text: str) -> None:
    assert TERMS.search(text)


@pytest.mark.parametrize(
    "text",
    [
        "Read the manual",
        "Tom",
        "read",
        "Customer Tomas Reader",
        "Tom Reader",
        "Tom Read-Smith",
        "Ann-Tom Read",
        "Tom. Read the manual",
        "12000 km",
        "5550101",
        "100 555 0101",
        "00 555 01012",
        "atom@example.org",
        "tom@example.org.uk",
        "customer",
    ],
)
def test_parts_and_longer_words_are_not_found(text: str) -> None:
    assert TERMS.search(text) is None


@pytest.mark.parametrize(
    ("name", "text"), [("?", "Why?"), ("x", "x 2"), ("Max", "max power"), ("Wood", "woodruff key")]
)
def test_placeholder_or_single_word_does_not_match_ordinary_text(name: str, text: str) -> None:
    assert identifying_terms(names=[name], phones=["n/a", "12000"], emails=[""]).search(text) is None


def test_longer_of_two_names_is_found_whole() -> None:
    terms = identifying_terms(names=["Ines Quill", "Ines Quill Venn"], phones=[], emails=[])
    assert terms.sub("X", "Ines Quill Venn and Ines Quill") == "X and X"


def test_excerpt_keeps_the_words_around_each_term() -> None:
    excerpt = make_excerpt(f"{'a ' * 100}Tom Read{' b' * 100} Tom Read{' c' * 100}", TERMS)
    assert [text for text, is_term in excerpt if is_term] == ["Tom Read", "Tom Read"]
    assert "".join(text for text, _ in excerpt) == (
        f"…{'a ' * 30}Tom Read{' b' * 30}…{'b ' * 30}Tom Read{' c' * 30}…"
    )
    assert make_excerpt("for Tom Read", TERMS) == [("for ", False), ("Tom Read", True)]
