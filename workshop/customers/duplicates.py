"""Customers and bikes that are known already: the same phone in any spelling, email, name or plate.

The words of the search index lead to the few entries that may be the same, so no list is too long for it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from workshop.models import Bike, Customer, FoundWord
from workshop.models.search import MAX_WORD_LENGTH, normalise, strip_separators

MAX_SHOWN = 5
MAX_CANDIDATES = 100
# Digits without country code and leading zeros that identify a phone number. Rule of thumb, no published
# source: most national numbers have nine or ten, and seven identify one without its area code.
PHONE_DIGITS, MIN_PHONE_DIGITS = 9, 7


@dataclass(frozen=True)
class KnownCustomer:
    """A customer who is known already, and what is the same: "phone, name"."""

    customer: Customer
    same: str

    @property
    def choice(self) -> str:
        return f"customer-{self.customer.pk}"


@dataclass(frozen=True)
class KnownBike:
    """A bike whose plate is known already."""

    bike: Bike
    same: str = "plate"

    @property
    def choice(self) -> str:
        return f"bike-{self.bike.pk}"


def phone_digits(phone: str) -> str:
    """Return the digits of a phone number without what people write in front: 0, 00, +."""
    return "".join(letter for letter in normalise(phone) if letter.isdecimal()).lstrip("0")


def is_same_phone(one: str, other: str) -> bool:
    """Return True for two spellings of one number, with or without country or area code."""
    first, second = phone_digits(one), phone_digits(other)
    length = min(len(first), len(second), PHONE_DIGITS)
    return length >= MIN_PHONE_DIGITS and first[-length:] == second[-length:]


def name_words(name: str) -> set[str]:
    return set("".join(letter if letter.isalnum() else " " for letter in normalise(name)).split())


def is_same_name(one: str, other: str) -> bool:
    """Return True for the same words, whatever their order, capitals, accents and commas."""
    return name_words(one) == name_words(other) != set()


def normalise_plate(plate: str) -> str:
    return strip_separators("".join(normalise(plate).split()))


def find_known_customers(
    *, name: str = "", phone: str = "", email: str = "", besides: Customer | None = None
) -> list[KnownCustomer]:
    """Return the customers with the same phone, email or name, those with most in common first."""
    candidates = [
        *customers_with_words(phone_endings(phone)),
        *customers_with_words([normalise(email.strip())[:MAX_WORD_LENGTH]]),
        *customers_with_name(name),
    ]
    found = {}
    for customer in candidates:
        same = {
            "phone": is_same_phone(phone, customer.phone),
            "e-mail": email.strip() != "" and normalise(email.strip()) == normalise(customer.email),
            "name": is_same_name(name, customer.name),
        }
        if any(same.values()) and customer != besides:
            reasons = [what for what, is_same in same.items() if is_same]
            found[customer.pk] = (-len(reasons), KnownCustomer(customer, " and ".join(reasons)))
    return [known for _, known in sorted(found.values(), key=lambda pair: pair[0])][:MAX_SHOWN]


def phone_endings(phone: str) -> list[str]:
    """Return the endings under which the index has the number, however the other one is written."""
    digits = phone_digits(phone)
    lengths = range(MIN_PHONE_DIGITS, PHONE_DIGITS + 1)
    return [digits[-length:] for length in lengths if len(digits) >= length]


def customers_with_words(words: Iterable[str]) -> list[Customer]:
    """Return the customers who have one of these words."""
    wanted = [word for word in words if word]
    if not wanted:
        return []
    rows = FoundWord.objects.filter(customer__isnull=False, word__in=wanted)
    keys = set(rows.values_list("customer", flat=True)[:MAX_CANDIDATES])
    return list(Customer.objects.filter(pk__in=keys))


def customers_with_name(name: str) -> list[Customer]:
    """Return the customers who have each word of a name."""
    words = {word[:MAX_WORD_LENGTH] for word in name_words(name)}
    found = Customer.objects.all()
    for word in words:
        found = found.filter(words__word=word)
    return list(found[:MAX_CANDIDATES]) if words else []


def find_known_bikes(plate: str, *, besides: Bike | None = None) -> list[KnownBike]:
    """Return the bikes with the same plate, with or without its spaces and dashes."""
    wanted = normalise_plate(plate)
    if not wanted:
        return []
    rows = FoundWord.objects.filter(bike__isnull=False, word=wanted[:MAX_WORD_LENGTH])
    keys = set(rows.values_list("bike", flat=True)[:MAX_CANDIDATES])
    bikes = Bike.objects.select_related("owner").filter(pk__in=keys)
    return [KnownBike(bike) for bike in bikes if bike != besides and normalise_plate(bike.plate) == wanted][
        :MAX_SHOWN
    ]
