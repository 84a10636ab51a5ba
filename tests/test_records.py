"""All records detect stale saves and have a history of changes."""

import pytest

from tests.factories import make_customer
from workshop.models import Customer, StaleRecord

pytestmark = pytest.mark.django_db


def test_stale_save_is_rejected_and_writes_nothing() -> None:
    customer = make_customer(phone="1")
    first, second = Customer.objects.get(pk=customer.pk), Customer.objects.get(pk=customer.pk)
    first.phone = "2"
    first.save()
    second.name = "Somebody Else"
    with pytest.raises(StaleRecord):
        second.save()
    stored = Customer.objects.get(pk=customer.pk)
    assert (stored.name, stored.phone) == (customer.name, "2")


def test_every_save_adds_a_history_row() -> None:
    customer = make_customer(phone="1")
    customer.phone = "2"
    customer.save()
    customer.phone = "3"
    customer.save(update_fields=["phone"])
    assert list(customer.history.order_by("version").values_list("version", "phone")) == [
        (1, "1"),
        (2, "2"),
        (3, "3"),
    ]
