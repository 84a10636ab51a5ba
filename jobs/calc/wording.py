"""Language of the sentences and numbers of the calculations: English, until a site puts in its translations.

The calculations know no web framework. They pass every fixed text through these functions, so that the site
can translate it into the language in use.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass
class _Language:
    translate: Callable[[str], str] = str
    translate_count: Callable[[str, str, int], str] = lambda one, many, count: one if count == 1 else many
    decimal_mark: Callable[[], str] = lambda: "."


_language = _Language()


def install(
    translate: Callable[[str], str],
    translate_count: Callable[[str, str, int], str],
    decimal_mark: Callable[[], str],
) -> None:
    """Replace English by what translates into the language in use at each call.

    Parameters
    ----------
    translate : callable
        Returns the translation of a text.
    translate_count : callable
        Returns the translation of the singular or the plural that fits a count.
    decimal_mark : callable
        Returns what stands before the decimals of a number.
    """
    _language.translate = translate
    _language.translate_count = translate_count
    _language.decimal_mark = decimal_mark


def gettext(text: str) -> str:
    """Return the translation of a text.

    Parameters
    ----------
    text : str
        English, with its values as ``%(name)s``.

    Returns
    -------
    str
    """
    return _language.translate(text)


def ngettext(one: str, many: str, count: int) -> str:
    """Return the translation of the text that fits a count.

    Parameters
    ----------
    one, many : str
        English singular and plural, with their values as ``%(name)s``.
    count : int
        Decides which it is, by the rule of the language.

    Returns
    -------
    str
    """
    return _language.translate_count(one, many, count)


def localise(number: str) -> str:
    """Return a number with the decimal mark of the language.

    Parameters
    ----------
    number : str
        With a point before its decimals.

    Returns
    -------
    str
    """
    mark = _language.decimal_mark()
    return number if mark == "." else number.replace(".", mark)


def join_words(words: Sequence[str], joined: str) -> str:
    """Return words in a row, the last two joined by a word.

    Parameters
    ----------
    words : sequence of str
    joined : str
        How ``%(last)s`` is joined to ``%(first)s``, translated.

    Returns
    -------
    str
        'a, b and c'; empty without words.
    """
    if len(words) < 2:
        return "".join(words)
    return joined % {"first": ", ".join(words[:-1]), "last": words[-1]}
