"""Search for people and bikes as typed: without accents, with a typing error, by the last characters."""

import pytest

from jobs.search.find import find_bikes, find_customers, find_jobs
from tests.factories import make_bike, make_customer, make_job
from workshop.models.search import normalise, within_one_edit

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("Derya Özer", "ozer"),
        ("Zoë Łuczak", "zoe luczak"),
        ("Søren Weiß", "soren weiss"),
        ("Iñaki Ibáñez", "INAKI ibanez"),
        ("Ines Quill", "qiull"),  # swapped
        ("Ines Quill", "quil"),  # prefix
        ("Ines Quill", "quilll"),  # one letter too many
        ("Marlow Quenby", "qenby"),  # one letter missing
        ("Marlow Quenby", "quemby"),  # one letter wrong
        ("Ruth Ashgrove-Lind", "ashgrove lind"),
        ("Олена Гай", "олена"),
    ],
)
def test_search_finds_name_despite_accents_and_typing_errors(name: str, typed: str) -> None:
    wanted = make_customer(name=name, email="", phone="")
    make_customer(name="Bo Tarn", email="", phone="")
    job = make_job(bike=make_bike(owner=wanted, plate="", vin=""))
    assert list(find_customers(typed)) == [wanted]
    assert list(find_bikes(typed)) == [job.bike]
    assert list(find_jobs(typed)) == [job]


@pytest.mark.parametrize("typed", ["0101", "5550101", "555-0101", "000042", "XX0DEMO0000000042", "demo22"])
def test_search_finds_numbers_by_suffix_and_without_separators(typed: str) -> None:
    bike = make_bike(vin="XX0DEMO0000000042", plate="DEMO 22")
    other = make_bike(
        owner=make_customer(name="Bo Tarn", phone="+00 555 7777", email=""),
        vin="XX0DEMO0000000077",
        plate="X 1",
    )
    assert list(find_bikes(typed)) == [bike]
    assert other not in find_bikes(typed)


@pytest.mark.parametrize(
    ("stored", "typed"),
    [
        ("+00 555 0151", "+00 555 0151"),
        ("+00 555 0151", "555 01 51"),
        ("+00 555 0151", "555 0151 oyelaran"),
        ("0151 234 567 89", "0151 234 567 89"),
        ("0151 234 567 89", "(0151) 23 45 67 89"),
        ("0151 234 567 89", "567 89"),
        ("0151/23456789", "0151 234"),
        ("+49 151 23456789", "0151 234"),
        ("+49 151 23456789", "0049 151 23456789"),
        ("0151 23456789", "+49 151 23456789"),
        ("+49 (0)151 23456789", "+49 151 234 567 89"),
    ],
)
def test_search_finds_phone_number_as_written_and_as_dialled(stored: str, typed: str) -> None:
    wanted = make_customer(name="Anselm Oyelaran", phone=stored, email="")
    make_customer(name="Bo Tarn", phone="+00 555 7777", email="")
    job = make_job(bike=make_bike(owner=wanted, plate="", vin=""))
    assert list(find_customers(typed)) == [wanted]
    assert list(find_bikes(typed)) == [job.bike]
    assert list(find_jobs(typed)) == [job]


def test_search_reads_digits_as_words_when_no_number_matches() -> None:
    bike = make_bike(make="Tern", model="750 2000", plate="X 41", vin="")
    assert list(find_bikes("tern 2000 41")) == [bike]
    assert not find_bikes("tern 2000 42").exists()


def test_search_ignores_punctuation_between_words() -> None:
    bike = make_bike(make="Tern", model="Q-900", plate="", vin="")
    make_bike(make="Quail", model="R", plate="", vin="")
    assert list(find_bikes("Tern - Q-900")) == [bike]
    assert not find_bikes("–").exists()


def test_search_allows_one_typing_error_only() -> None:
    make_customer(name="Ines Quill", email="", phone="")
    assert not find_customers("qoall").exists()
    assert not find_customers("qli").exists()


def test_search_prefers_exact_word_to_similar_one() -> None:
    marlow = make_customer(name="Marlow", email="", phone="")
    make_customer(name="Marlon", email="", phone="")
    assert list(find_customers("marlow")) == [marlow]


def test_search_finds_changed_record_by_new_words_only() -> None:
    customer = make_customer(name="Ines Quill", email="", phone="")
    customer.name = "Ines Venn"
    customer.save()
    assert list(find_customers("venn")) == [customer]
    assert not find_customers("quill").exists()


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ("quill", "quill", True),
        ("quill", "qill", True),
        ("quill", "quilly", True),
        ("quill", "quikl", True),
        ("quill", "uqill", True),
        ("quill", "quilkl", True),
        ("quill", "qukkl", False),
        ("quill", "qu", False),
        ("abcd", "badc", False),
        ("", "a", True),
    ],
)
def test_one_edit_is_a_letter_replaced_removed_added_or_swapped(one: str, other: str, expected: bool) -> None:
    assert within_one_edit(one, other) is expected
    assert within_one_edit(other, one) is expected


def test_normalising_removes_capitals_and_accents() -> None:
    assert normalise("Tern 660") == "tern 660"
    assert normalise("ÅÉÎÕÜ ß Ł") == "aeiou ss l"
