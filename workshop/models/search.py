"""Search for records by words as people type them, the same on SQLite and PostgreSQL.

The words of a record are stored normalised (no capitals, no accents) in rows of their own and found by
prefix, which an index answers. A typed word that is no prefix of any matches words one edit away.
"""

import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby, takewhile
from typing import Any

from django.db import connection, models
from django.db.models import Q

MAX_SEARCH_LENGTH = 100
MAX_WORD_LENGTH = 40
MIN_SUFFIX_LENGTH = 4
MIN_FUZZY_LENGTH = 4
LOCAL_NUMBER_DIGITS = 7  # enough to identify a phone number without its area code
NUMBER_CHARACTERS = frozenset("0123456789+-/.()")
MAX_CANDIDATES = 500
MAX_IDS = 400
LAST_CHARACTER = "\U0010ffff"
LETTER_REPLACEMENTS = {"ß": "ss", "ø": "o", "đ": "d", "ł": "l", "æ": "ae", "œ": "oe", "ı": "i", "þ": "th"}


def normalise(text: str) -> str:
    """Remove capitals and accents."""
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    letters = (letter for letter in decomposed if not unicodedata.combining(letter))
    return "".join(LETTER_REPLACEMENTS.get(letter, letter) for letter in letters)


def strip_separators(text: str) -> str:
    """Remove what people put between the parts of a plate or phone number."""
    return "".join(character for character in text if character not in " -/.()")


def tokenise(*texts: str) -> set[str]:
    """Return the normalised words of texts, hyphenated ones whole and in parts."""
    words: set[str] = set()
    for text in texts:
        for word in normalise(text).split():
            parts = "".join(letter if letter.isalnum() else " " for letter in word).split()
            words.update((strip_separators(word), word, *parts))
    return {word[:MAX_WORD_LENGTH] for word in words if word}


def suffixes(*numbers: str) -> set[str]:
    """Return plates, phone numbers or VINs and their suffixes: people remember the last characters."""
    words = [strip_separators(normalise(number)).lstrip("+")[:MAX_WORD_LENGTH] for number in numbers]
    return {
        word[start:] for word in words for start in range(max(1, len(word) - MIN_SUFFIX_LENGTH + 1)) if word
    }


class Word(models.Model):
    """A normalised word by which a record is found; ``drow`` is the word reversed."""

    word = models.CharField(max_length=MAX_WORD_LENGTH, db_index=True)
    drow = models.CharField(max_length=MAX_WORD_LENGTH, db_index=True)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.word


def starts_with(text: str, field: str = "word") -> Q:
    """Match rows by prefix, in the form that the index of this database can answer."""
    if connection.vendor == "sqlite":
        return Q(**{f"{field}__gte": text, f"{field}__lt": text + LAST_CHARACTER})
    return Q(**{f"{field}__startswith": text})


def index_words(rows: Any, words: set[str]) -> None:
    """Store the words by which a record is found; ``rows`` is its manager of words."""
    stored = set(rows.values_list("word", flat=True))
    if words == stored:
        return
    rows.filter(word__in=stored - words).delete()
    rows.bulk_create(rows.model(**rows.core_filters, word=word, drow=word[::-1]) for word in words - stored)


def within_one_edit(one: str, other: str) -> bool:
    """Return True if replacing, adding, removing or swapping one letter makes one word of the other."""
    start = len(list(takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False))))
    short, long = sorted((one[start:], other[start:]), key=len)
    return short == long[1:] or short[1:] == long[1:] or short[1::-1] + short[2:] == long


def fuzzy_matches(word: str, tables: Iterable[type[Word]]) -> list[str]:
    """Return the known words within one edit of a mistyped one.

    One edit leaves one half of the word unchanged, so only words that share a half are compared.
    """
    if len(word) < MIN_FUZZY_LENGTH:
        return []
    half = (len(word) - 1) // 2
    shares_half = starts_with(word[:half]) | starts_with(word[::-1][:half], "drow")
    candidates: set[str] = set()
    for table in tables:
        known = table._default_manager.filter(shares_half).values_list("word", flat=True).distinct()
        candidates.update(known[:MAX_CANDIDATES])
    return sorted(candidate for candidate in candidates if within_one_edit(word, candidate))


def matching_rows(text: str, tables: Sequence[type[Word]]) -> Iterator[Q]:
    """Yield the rows of words that match each part of a typed text.

    Digits with spaces between them are one number, as people write phone numbers, if a number starts
    with them. Punctuation by itself is ignored beside other words.
    """
    words = text[:MAX_SEARCH_LENGTH].split()
    relevant = [word for word in words if any(letter.isalnum() for letter in word)] or words
    for is_number, group in groupby(relevant, lambda word: NUMBER_CHARACTERS.issuperset(word)):
        parts = list(group)
        whole = prefix_matches("".join(parts), tables) if is_number and len(parts) > 1 else None
        yield from [whole] if whole is not None else (matching_words(part, tables) for part in parts)


def matching_words(word: str, tables: Sequence[type[Word]]) -> Q:
    """Match the words that start with a typed one or, if there are none, are within one edit of it."""
    matches = prefix_matches(word, tables)
    return Q(word__in=fuzzy_matches(normalise_word(word), tables)) if matches is None else matches


def prefix_matches(word: str, tables: Sequence[type[Word]]) -> Q | None:
    """Match the words that start with a typed one or its phone variants, or None if there are none."""
    for variant in phone_variants(normalise_word(word)):
        matches = starts_with(variant[:MAX_WORD_LENGTH])
        if any(table._default_manager.filter(matches).exists() for table in tables):
            return matches
    return None


def normalise_word(word: str) -> str:
    return strip_separators(normalise(word)).lstrip("+") or normalise(word)


def phone_variants(word: str) -> list[str]:
    """Return a word and, for a phone number, its forms without leading zeros and country code."""
    variants = [word]
    if word.isdecimal() and len(word.lstrip("0")) >= MIN_SUFFIX_LENGTH:
        variants.append(word.lstrip("0"))
        if len(word) > LOCAL_NUMBER_DIGITS + 1:
            variants.append(word[-LOCAL_NUMBER_DIGITS:])
    return list(dict.fromkeys(variants))


def ids_or_subquery(ids: Any) -> Any:
    """Return few ids as a set, so that the outer query uses an index, and many as the subquery."""
    found = list(ids[: MAX_IDS + 1])
    return set(found) if len(found) <= MAX_IDS else ids
