"""The language in use, for sentences, numbers and dates; the calculations speak it too.

Staff read English. What leaves the shop is made within ``translation.override`` of the customer's language.
Numbers have the decimal mark of the language and thin spaces between thousands; units are those of the shop.
"""

import re
from collections.abc import Callable, Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import translation
from django.utils.dateformat import format as format_date
from django.utils.formats import get_format
from django.utils.timezone import localtime
from django.utils.translation import gettext, pgettext

from jobs.calc import wording


def format_day(at: date, zone: ZoneInfo | None = None) -> str:
    """Return a day as in '30 Nov 2026'; that of a time is in a time zone or the one in use."""
    day = localtime(at, zone) if isinstance(at, datetime) else at
    return format_date(day, pgettext("short date", "j M Y"))


def format_day_time(at: datetime) -> str:
    """Return day and time as in '30 Nov 2026, 14:05', in the time zone in use."""
    return format_date(localtime(at), pgettext("short date", "j M Y, H:i"))


def format_weekday_time(at: datetime) -> str:
    """Return weekday, day and time as in 'Mon 30 Nov 2026, 14:05', in the time zone in use."""
    return format_date(localtime(at), pgettext("short date", "D j M Y, H:i"))


def decimal_mark() -> str:
    """Return what stands before the decimals of a number in the language in use."""
    return str(get_format("DECIMAL_SEPARATOR"))


def is_english() -> bool:
    """Return True if the language in use is the one that staff read."""
    return translation.get_language() == settings.LANGUAGE_CODE


def translate_stored(
    text: str,
    messages: Iterable[str],
    translate_value: Callable[[str, str], str] = lambda _name, value: value,
) -> str:
    """Return a sentence that was stored in English in the language in use.

    Parameters
    ----------
    text : str
    messages : iterable of str
        What it may have been made from, with values as ``%(name)s``; the first that fits counts. A text that
        none has made is returned as it is, since a caution in English is better than none.
    translate_value : callable, optional
        Returns a value in the language in use, from its name and its English text; by default it stays.
    """
    if is_english():
        return text
    translated = gettext(text)
    if translated != text:
        return translated
    for message in messages:
        pattern = re.sub(r"%\\\((\w+)\\\)s", r"(?P<\1>.+)", re.escape(message))
        if found := re.fullmatch(pattern, text):
            values = {name: translate_value(name, value) for name, value in found.groupdict().items()}
            return gettext(message) % values
    return text


def translate_calculations() -> None:
    """Let the calculations speak the language in use."""
    wording.install(translation.gettext, translation.ngettext, decimal_mark)
