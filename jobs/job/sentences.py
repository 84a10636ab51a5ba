"""Numbers and names in sentences."""

from collections.abc import Sequence

from django.utils.translation import get_language, ngettext

MAX_NAMED = 6


def counted(count: int, one: str, many: str = "") -> str:
    """Return a count with its noun, such as '2 runs'."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def listed(names: Sequence[str], limit: int = MAX_NAMED) -> str:
    """Return names in a row; of many, the first few and how many more there are."""
    if len(names) <= limit + 1:
        return "; ".join(names)
    left = len(names) - limit
    more = ngettext("and %(count)s more", "and %(count)s more", left) % {"count": left}
    return "; ".join([*names[:limit], more])


def upper_first(text: str) -> str:
    """Return a text that can begin a sentence."""
    return text[:1].upper() + text[1:]


def lower_first(text: str) -> str:
    """Return a text that can follow a comma; abbreviations stay as they are."""
    return text if len(text) < 2 or text[1].isupper() else text[0].lower() + text[1:]


def lower_noun(text: str) -> str:
    """Return a text that begins with a noun so that it can follow a comma; German nouns keep the capital."""
    return text if get_language() == "de" else lower_first(text)
