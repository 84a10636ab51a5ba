"""Search of free text for a customer's name, phone number or email address."""

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any

from django.utils.text import capfirst

from workshop.models import Customer
from workshop.privacy.ownership import Ownership, row_model

MIN_NAME_LETTERS = 2  # shorter names are placeholders such as "?" or "x"
MIN_PHONE_DIGITS = 6  # shorter numbers are also distances, prices and part numbers
EXCERPT_MARGIN = 60  # characters shown on each side of a term

# A term is whole if no letter or digit adjoins it, and no part of a double-barrelled name; "Read's" is Read.
START, END = r"(?<![^\W_])(?<![^\W\d_]-)", r"(?![^\W_])(?!-[^\W\d_])(?!['’][^\W_]{2})"


def name_pattern(name: str) -> str:
    """Return the pattern of a whole name; a name of one word is also a word, so its capitals count."""
    words = [re.escape(word) for word in name.split()]
    pattern = r"(?:\s+|[_-])".join(words)
    return f"{START}{pattern if len(words) == 1 else f'(?i:{pattern})'}{END}"


def phone_pattern(phone: str) -> str:
    """Return the pattern of a whole number, however its digits are grouped."""
    digits = r"[\s\-/.()]*".join(re.findall(r"\d", phone))
    return rf"(?<![^\W_])(?<!\d[-/.])[+(]{{0,2}}{digits}(?![^\W_])(?![-/.]\d)"


def email_pattern(email: str) -> str:
    return rf"(?<![\w.+-])(?i:{re.escape(email)})(?![\w-])(?!\.\w)"


def identifying_terms(
    *, names: Collection[str], phones: Collection[str], emails: Collection[str]
) -> re.Pattern[str]:
    """Return a pattern of everything that identifies the customer in free text."""
    patterns = [
        *(name_pattern(name) for name in names if sum(map(str.isalpha, name)) >= MIN_NAME_LETTERS),
        *(phone_pattern(phone) for phone in phones if sum(map(str.isdecimal, phone)) >= MIN_PHONE_DIGITS),
        *(email_pattern(email) for email in emails if email),
    ]
    # The longest first, since a name may begin with another: "Ines Quill Venn", once "Ines Quill".
    return re.compile("|".join(sorted(patterns, key=len, reverse=True)) or r"(?!)")


class Redaction:
    """Replaces all that identifies a customer in a text, or in a list or table of texts.

    Attributes
    ----------
    name : str
        What stands instead.
    """

    def __init__(self, terms: re.Pattern[str], name: str) -> None:
        self.terms, self.name = terms, name

    def including(self, text: str) -> "Redaction":
        """Return one that replaces this text too, such as a number plate."""
        if not text:
            return self
        return Redaction(re.compile(f"{self.terms.pattern}|{START}(?i:{re.escape(text)}){END}"), self.name)

    def __call__(self, value: Any, max_length: int | None = None) -> Any:
        if isinstance(value, dict):
            return {key: self(item, max_length) for key, item in value.items()}
        if isinstance(value, list):
            return [self(item, max_length) for item in value]
        if not isinstance(value, str):
            return value
        text = self.terms.sub(self.name, value)
        if max_length is not None and len(text) > max_length:
            return self.terms.sub("…", value)  # a longer name would cut off the end of the text
        return text


def erased_name(customer: Customer) -> str:
    return f"Erased customer {customer.pk}"


def compile_terms(customer: Customer, ownership: Ownership) -> re.Pattern[str]:
    """Return the terms of the customer's present, former and merged entries.

    A former name of one word is left out: it was corrected because it was not the full name.
    """
    entries = [customer, *ownership.past_rows(Customer)]
    former = {entry.name for entry in entries if len(entry.name.split()) > 1}
    return identifying_terms(
        names={customer.name, *former} - {erased_name(customer)},
        phones={entry.phone for entry in entries},
        emails={entry.email for entry in entries},
    )


def find_terms(customer: Customer) -> re.Pattern[str]:
    """Return the terms of a customer, for a search outside the records."""
    return compile_terms(customer, Ownership(customer))


@dataclass
class Mention:
    """A free-text field of one record that names the customer, now or in an earlier version."""

    key: str  # as the form sends it
    record: str
    field: str
    excerpt: list[tuple[str, bool]]  # pieces of the text, and whether each is a term
    is_current: bool
    versions: int = 0  # in the history, which has the current one too

    @property
    def earlier_versions(self) -> int:
        return max(0, self.versions - self.is_current)


def mention_key(row: Any, field: str) -> str:
    """Return one key for a field of a record, the same for all its versions."""
    model = row_model(row)
    return f"{model._meta.label_lower}.{getattr(row, model._meta.pk.attname)}.{field}"


def free_text_rows(ownership: Ownership) -> Iterator[tuple[Any, str, bool]]:
    """Yield each row with free text, the field, and whether the row is current; current rows come first."""
    for model, personal in ownership.declared.items():
        if not personal.free_text:
            continue
        for rows, is_current in ((ownership.current_rows(model), True), (ownership.past_rows(model), False)):
            for row in rows:
                yield from ((row, field, is_current) for field in personal.free_text)


def find_mentions(customer: Customer) -> list[Mention]:
    """Return every free-text field that names the customer, in current records and in the history."""
    ownership = Ownership(customer)
    terms = compile_terms(customer, ownership)
    found: dict[str, Mention] = {}
    for row, field, is_current in free_text_rows(ownership):
        texts = [text for text in strings_in(getattr(row, field)) if terms.search(text)]
        if not texts:
            continue
        key = mention_key(row, field)
        if key not in found:
            name = str(row_model(row)._meta.get_field(field).verbose_name)  # type: ignore[union-attr]  # no relation
            excerpt = make_excerpt("; ".join(texts), terms)
            found[key] = Mention(key, capfirst(ownership.label(row)), name, excerpt, is_current)
        found[key].versions += not is_current
    return list(found.values())


def strings_in(value: Any) -> Iterator[str]:
    """Yield every string in a text, or in a list or table of texts."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list | dict):
        for item in value.values() if isinstance(value, dict) else value:
            yield from strings_in(item)


def make_excerpt(text: str, terms: re.Pattern[str]) -> list[tuple[str, bool]]:
    """Return the terms in a text with the words around them; what is left out becomes "…"."""
    pieces, start = [], 0
    for match in terms.finditer(text):
        pieces += [(text[start : match.start()], False), (match[0], True)]
        start = match.end()
    pieces.append((text[start:], False))
    last = len(pieces) - 1
    return [
        (piece if is_term else shorten(piece, head=place > 0, tail=place < last), is_term)
        for place, (piece, is_term) in enumerate(pieces)
        if piece
    ]


def shorten(text: str, *, head: bool, tail: bool) -> str:
    """Return the ends of a text that adjoin a term."""
    if len(text) <= EXCERPT_MARGIN * (head + tail):
        return text
    return f"{text[:EXCERPT_MARGIN] if head else ''}…{text[-EXCERPT_MARGIN:] if tail else ''}"
