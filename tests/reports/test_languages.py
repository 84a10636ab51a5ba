"""What leaves the shop in the customer's language: complete, with the same values, compiled as written."""

import gettext
import re

import pytest
from django.utils import translation
from django.utils.translation import ngettext

from jobs.calc.units.numbers import format_number, format_range
from jobs.wishes.evidence import KINDS
from reports.customer.sentences import MEASURED, RECORDS
from tests.reports.messages import LOCALE, find_messages, read_po
from workshop.models import Customer

LANGUAGES = [language for language in Customer.Language.values if language != "en"]


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_is_translated_and_none_is_left_over(language: str) -> None:
    translated = read_po(language)
    assert set(translated) == find_messages()
    assert [message for message, strings in translated.items() if not all(strings)] == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_translations_keep_the_values_of_their_text(language: str) -> None:
    def values(text: str) -> set[str]:
        return {*re.findall(r"%\((\w+)\)s", text)}

    for (_context, text, plural), strings in read_po(language).items():
        forms = [text, plural] if plural else [text]
        assert [values(string) for string in strings] == [values(form) for form in forms], text


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_translation_is_marked_as_a_guess(language: str) -> None:
    assert "fuzzy" not in (LOCALE / language / "LC_MESSAGES" / "django.po").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("language", "texts"),
    [
        ("en", ["1 shim changed", "2 shims changed"]),
        ("de", ["1 Shim gewechselt", "2 Shims gewechselt"]),
        ("es", ["1 pastilla cambiada", "2 pastillas cambiadas"]),
    ],
)
def test_count_takes_the_plural_of_its_language(language: str, texts: list[str]) -> None:
    # CLDR plural rules: one for 1, other for the rest, in all three languages. From memory.
    with translation.override(language):
        text = [ngettext("%(count)s shim changed", "%(count)s shims changed", count) for count in (1, 2)]
    assert [form % {"count": count} for count, form in enumerate(text, 1)] == texts


@pytest.mark.parametrize(("language", "text"), [("en", "4000 to 9000"), ("de", "4000 bis 9000")])
def test_calculations_speak_the_language_in_use(language: str, text: str) -> None:
    with translation.override(language):
        assert format_range("4000", "9000") == text


@pytest.mark.parametrize("language", LANGUAGES)
def test_compiled_catalogue_is_that_of_the_written_one(language: str) -> None:
    with (LOCALE / language / "LC_MESSAGES" / "django.mo").open("rb") as file:
        compiled = gettext.GNUTranslations(file)
    for (context, text, plural), strings in read_po(language).items():
        if plural:
            found = [compiled.ngettext(text, plural, count) for count in (1, 2)]
        else:
            found = [compiled.pgettext(context, text) if context else compiled.gettext(text)]
        assert found == strings


def test_labels_of_records_and_values_are_among_the_texts() -> None:
    assert {of.title for of in KINDS.values()} <= {*RECORDS}
    assert len(MEASURED) == 4


@pytest.mark.parametrize(("language", "text"), [("en", "12.5"), ("de", "12,5"), ("es", "12,5")])
def test_decimal_mark_is_that_of_the_language(language: str, text: str) -> None:
    # CLDR 46: decimal sign of German and Spanish (Spain) is the comma. From memory.
    with translation.override(language):
        assert format_number(12.5, 1) == text
