"""Finding records by a piece of text, alike on SQLite and PostgreSQL."""

from functools import reduce
from operator import or_

from django.db.models import F, Q, Value
from django.db.models.functions import Replace


def containing(text: str, *fields: str) -> Q:
    """Rows where one of the fields holds the text, in capitals or not.

    SQLite ignores case in ASCII letters alone, so a text with others is also tried as it would stand
    in small letters, in capitals and with a capital first letter.
    """
    spellings = {text} if text.isascii() else {text, text.lower(), text.upper(), text.title()}
    found = (Q(**{f"{field}__icontains": spelling}) for field in fields for spelling in spellings)
    return reduce(or_, found)


def squeeze(text: str) -> str:
    """A plate or phone number without what people put between its parts."""
    return text.replace(" ", "").replace("-", "").replace("/", "")


def squeezed(field: str) -> Replace:
    """The same of a column."""
    column: F | Replace = F(field)
    for separator in (" ", "-", "/"):
        column = Replace(column, Value(separator), Value(""))
    assert isinstance(column, Replace)
    return column
