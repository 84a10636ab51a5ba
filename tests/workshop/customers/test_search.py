"""Finding people and bikes as they are typed: without accents, with a slip, by the last signs."""

import pytest

from jobs.search.find import bikes_matching, customers_matching, jobs_matching
from tests.factories import make_bike, make_customer, make_job
from workshop.models.search import fold, one_slip_apart

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("Derya Özer", "ozer"),
        ("Zoë Łuczak", "zoe luczak"),
        ("Søren Weiß", "soren weiss"),
        ("Iñaki Ibáñez", "INAKI ibanez"),
        ("Ines Quill", "qiull"),  # swapped
        ("Ines Quill", "quil"),  # begun
        ("Ines Quill", "quilll"),  # one too many
        ("Marlow Quenby", "qenby"),  # one missing
        ("Marlow Quenby", "quemby"),  # one wrong
        ("Ruth Ashgrove-Lind", "ashgrove lind"),
        ("Олена Гай", "олена"),
    ],
)
def test_a_person_is_found_however_the_name_is_typed(name: str, typed: str) -> None:
    wanted = make_customer(name=name, email="", phone="")
    make_customer(name="Bo Tarn", email="", phone="")
    job = make_job(bike=make_bike(owner=wanted, plate="", vin=""))
    assert list(customers_matching(typed)) == [wanted]
    assert list(bikes_matching(typed)) == [job.bike]
    assert list(jobs_matching(typed)) == [job]


@pytest.mark.parametrize("typed", ["0101", "5550101", "555-0101", "000042", "XX0DEMO0000000042", "demo22"])
def test_numbers_are_found_by_their_ends_and_without_signs(typed: str) -> None:
    bike = make_bike(vin="XX0DEMO0000000042", plate="DEMO 22")
    other = make_bike(
        owner=make_customer(name="Bo Tarn", phone="+00 555 7777", email=""),
        vin="XX0DEMO0000000077",
        plate="X 1",
    )
    assert list(bikes_matching(typed)) == [bike]
    assert other not in bikes_matching(typed)


@pytest.mark.parametrize(
    ("kept", "typed"),
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
def test_a_phone_number_is_found_as_it_is_written_and_as_it_is_dialled(kept: str, typed: str) -> None:
    wanted = make_customer(name="Anselm Oyelaran", phone=kept, email="")
    make_customer(name="Bo Tarn", phone="+00 555 7777", email="")
    job = make_job(bike=make_bike(owner=wanted, plate="", vin=""))
    assert list(customers_matching(typed)) == [wanted]
    assert list(bikes_matching(typed)) == [job.bike]
    assert list(jobs_matching(typed)) == [job]


def test_figures_that_are_no_number_together_are_words_each() -> None:
    bike = make_bike(make="Tern", model="750 2000", plate="X 41", vin="")
    assert list(bikes_matching("tern 2000 41")) == [bike]
    assert not bikes_matching("tern 2000 42").exists()


def test_a_sign_between_words_says_nothing() -> None:
    bike = make_bike(make="Tern", model="Q-900", plate="", vin="")
    make_bike(make="Quail", model="R", plate="", vin="")
    assert list(bikes_matching("Tern - Q-900")) == [bike]
    assert not bikes_matching("–").exists()


def test_two_slips_are_one_too_many() -> None:
    make_customer(name="Ines Quill", email="", phone="")
    assert not customers_matching("qoall").exists()
    assert not customers_matching("qli").exists()


def test_a_word_well_typed_is_not_mixed_with_its_neighbours() -> None:
    marlow = make_customer(name="Marlow", email="", phone="")
    make_customer(name="Marlon", email="", phone="")
    assert list(customers_matching("marlow")) == [marlow]


def test_what_is_changed_is_found_by_its_new_words_alone() -> None:
    customer = make_customer(name="Ines Quill", email="", phone="")
    customer.name = "Ines Venn"
    customer.save()
    assert list(customers_matching("venn")) == [customer]
    assert not customers_matching("quill").exists()


@pytest.mark.parametrize(
    ("one", "other", "apart"),
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
def test_one_slip_is_one_letter_wrong_missing_too_many_or_swapped(one: str, other: str, apart: bool) -> None:
    assert one_slip_apart(one, other) is apart
    assert one_slip_apart(other, one) is apart


def test_folding_leaves_plain_text_as_it_is() -> None:
    assert fold("Tern 660") == "tern 660"
    assert fold("ÅÉÎÕÜ ß Ł") == "aeiou ss l"
