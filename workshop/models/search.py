"""Finding records by what people remember and how they type it, alike on SQLite and PostgreSQL.

The words of a record stand in rows of their own, folded (no capitals, no accents), and are looked for
by their beginning, which an index answers however many there are. A word that nothing begins with is
looked for with one letter wrong, missing, too many or swapped with the next.
"""

import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from functools import reduce
from itertools import groupby
from operator import or_
from typing import Any

from django.db import connection, models
from django.db.models import Q

LONGEST_SEARCH = 100
LONGEST_WORD = 40
SHORTEST_TAIL = 4
SHORTEST_MISTYPED = 4
LOCAL_NUMBER = 7  # signs by which a whole phone number is told apart without what is dialled before them
NUMBER_SIGNS = frozenset("0123456789+-/.()")
MOST_CANDIDATES = 500
MOST_NAMED = 400
LAST_SIGN = "\U0010ffff"
UNFOLDED = {"ß": "ss", "ø": "o", "đ": "d", "ł": "l", "æ": "ae", "œ": "oe", "ı": "i", "þ": "th"}


def containing(text: str, *fields: str) -> Q:
    """Rows where one of the fields holds the text, in capitals or not.

    SQLite ignores case in ASCII letters alone, so a text with others is also tried as it would stand
    in small letters, in capitals and with a capital first letter.
    """
    spellings = {text} if text.isascii() else {text, text.lower(), text.upper(), text.title()}
    found = (Q(**{f"{field}__icontains": spelling}) for field in fields for spelling in spellings)
    return reduce(or_, found)


def fold(text: str) -> str:
    """The text without capitals and accents."""
    parted = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(sign for sign in parted if not unicodedata.combining(sign))
    return "".join(UNFOLDED.get(sign, sign) for sign in bare)


def squeeze(text: str) -> str:
    """A plate or phone number without what people put between its parts."""
    return "".join(sign for sign in text if sign not in " -/.()")


def words_of(*texts: str) -> set[str]:
    """The folded words of texts, those joined by signs both whole and in parts."""
    words: set[str] = set()
    for text in texts:
        for word in fold(text).split():
            parts = "".join(sign if sign.isalnum() else " " for sign in word).split()
            words.update((squeeze(word), word, *parts))
    return {word[:LONGEST_WORD] for word in words if word}


def tails_of(*numbers: str) -> set[str]:
    """A plate, phone number or VIN as one word, and its ends: people remember the last signs."""
    whole = [squeeze(fold(number)).lstrip("+")[:LONGEST_WORD] for number in numbers]
    return {word[start:] for word in whole for start in range(max(1, len(word) - SHORTEST_TAIL + 1)) if word}


class Word(models.Model):
    """A folded word by which a record is found, also spelt backwards."""

    word = models.CharField(max_length=LONGEST_WORD, db_index=True)
    drow = models.CharField(max_length=LONGEST_WORD, db_index=True)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.word


def beginning_with(text: str, field: str = "word") -> Q:
    """Rows whose word begins so, in the form that this database's index can answer."""
    if connection.vendor == "sqlite":
        return Q(**{f"{field}__gte": text, f"{field}__lt": text + LAST_SIGN})
    return Q(**{f"{field}__startswith": text})


def note_words(rows: Any, words: set[str]) -> None:
    """Let a record be found by these words; ``rows`` is its manager of words."""
    kept = set(rows.values_list("word", flat=True))
    if words == kept:
        return
    rows.filter(word__in=kept - words).delete()
    rows.bulk_create(rows.model(**rows.core_filters, word=word, drow=word[::-1]) for word in words - kept)


def one_slip_apart(one: str, other: str) -> bool:
    """Whether one letter wrong, missing, too many, or two neighbours swapped make one of the other."""
    if one == other:
        return True
    if len(one) > len(other):
        one, other = other, one
    same = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), len(one))
    if len(one) < len(other):
        return one[same:] == other[same + 1 :]
    swapped = one[same : same + 2][::-1] == other[same : same + 2] and one[same + 2 :] == other[same + 2 :]
    return swapped or one[same + 1 :] == other[same + 1 :]


def meant(word: str, tables: Iterable[type[Word]]) -> list[str]:
    """The known words that a mistyped one may stand for.

    One slip leaves one of the word's halves as it is, so the words that share either are all there are.
    """
    if len(word) < SHORTEST_MISTYPED:
        return []
    half = (len(word) - 1) // 2
    alike = beginning_with(word[:half]) | beginning_with(word[::-1][:half], "drow")
    candidates: set[str] = set()
    for table in tables:
        known = table._default_manager.filter(alike).values_list("word", flat=True).distinct()
        candidates.update(known[:MOST_CANDIDATES])
    return sorted(each for each in candidates if one_slip_apart(word, each))


def asked_for(text: str, tables: Sequence[type[Word]]) -> Iterator[Q]:
    """Rows of words that each part of a typed text means.

    Figures with blanks between them are one number, as people write phone numbers, where there is one
    that begins so. Signs that stand alone say nothing beside other words.
    """
    words = text[:LONGEST_SEARCH].split()
    telling = [word for word in words if any(sign.isalnum() for sign in word)] or words
    for is_number, group in groupby(telling, lambda word: NUMBER_SIGNS.issuperset(word)):
        parts = list(group)
        whole = begun("".join(parts), tables) if is_number and len(parts) > 1 else None
        yield from [whole] if whole is not None else (spoken(part, tables) for part in parts)


def spoken(word: str, tables: Sequence[type[Word]]) -> Q:
    """Rows of words that a typed word means: those that begin with it or, where there are none, are
    one slip away."""
    begins = begun(word, tables)
    return Q(word__in=meant(bare(word), tables)) if begins is None else begins


def begun(word: str, tables: Sequence[type[Word]]) -> Q | None:
    """Rows of words that begin with a typed one, as it stands or else as another dials it; None where
    there are none."""
    for spelling in spellings(bare(word)):
        begins = beginning_with(spelling[:LONGEST_WORD])
        if any(table._default_manager.filter(begins).exists() for table in tables):
            return begins
    return None


def bare(word: str) -> str:
    return squeeze(fold(word)).lstrip("+") or fold(word)


def spellings(word: str) -> list[str]:
    """A word, and of a phone number what is left without the zeros or the country dialled before it."""
    found = [word]
    if word.isdecimal() and len(word.lstrip("0")) >= SHORTEST_TAIL:
        found.append(word.lstrip("0"))
        if len(word) > LOCAL_NUMBER + 1:
            found.append(word[-LOCAL_NUMBER:])
    return list(dict.fromkeys(found))


def few_or_asked(pks: Any) -> Any:
    """Keys as they are where they are few, so that an index answers what is asked with them.

    Many are left as the query that finds them.
    """
    named = list(pks[: MOST_NAMED + 1])
    return set(named) if len(named) <= MOST_NAMED else pks
