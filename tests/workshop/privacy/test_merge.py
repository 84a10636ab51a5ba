"""Merging duplicates: bikes and jobs move, missing details are filled in, the duplicate is deleted."""

import pytest
from django.urls import reverse

from tests.factories import make_bike, make_customer, make_job
from workshop.models import Customer, Role
from workshop.privacy.merge import merge, merged_ids

pytestmark = pytest.mark.django_db


def test_merge_moves_bikes_and_jobs(login) -> None:
    keep = make_customer(name="Ines Quill", phone="", email="ines@example.org")
    other = make_customer(name="I. Quill", phone="+00 555 0101", email="", riding_mass_kg=71.0)
    job = make_job(bike=make_bike(owner=other))
    answer = login(Role.DESK).post(reverse("customer-merge", args=[keep.pk]), {"other": str(other.pk)})
    assert answer.status_code == 302
    keep.refresh_from_db()
    job.refresh_from_db()
    assert not Customer.objects.filter(pk=other.pk).exists()
    assert job.customer == job.bike.owner == keep
    assert (keep.phone, keep.email, keep.riding_mass_kg) == ("+00 555 0101", "ines@example.org", 71.0)
    assert "I. Quill" in keep.note
    assert job.history.first().history_user.username == "desk"


def test_merge_page_offers_the_likely_duplicate(login) -> None:
    keep = make_customer(name="Ines Quill", phone="+00 555 0101", email="")
    make_customer(name="Ines Quil-Venn", phone="+00 555 0101", email="")
    make_customer(name="Somebody Else", phone="+00 555 0999", email="")
    client = login(Role.DESK)
    page = client.get(reverse("customer-merge", args=[keep.pk])).text
    assert "Ines Quil-Venn" in page
    assert "Somebody Else" not in page
    assert "Somebody Else" in client.get(reverse("customer-merge", args=[keep.pk]), {"q": "else"}).text


@pytest.mark.parametrize("other", ["", "0", "x", "itself", "9" * 5000])
def test_merge_needs_another_entry(login, other: str) -> None:
    keep = make_customer()
    sent = {"other": str(keep.pk) if other == "itself" else other}
    answer = login(Role.DESK).post(reverse("customer-merge", args=[keep.pk]), sent)
    assert answer.status_code == 422
    assert Customer.objects.count() == 1


def test_merged_entries_are_found_through_another_merge() -> None:
    first, second, third = (make_customer(name=name) for name in ("I. Quill", "Ines Qill", "Ines Quill"))
    ids = {first.pk, second.pk}
    merge(keep=second, duplicate=first)
    merge(keep=third, duplicate=second)
    assert merged_ids(third) == ids


def test_entry_of_the_same_name_merged_elsewhere_is_not_found() -> None:
    """Two people called Bo, with no phone or email to tell them apart, are merged into different entries."""
    bo, other_bo = (make_customer(name="Bo", phone="", email="") for _ in range(2))
    tarn, venn = make_customer(name="Bo Tarn"), make_customer(name="Bo Venn")
    bo_id, other_id = bo.pk, other_bo.pk
    merge(keep=tarn, duplicate=bo)
    merge(keep=venn, duplicate=other_bo)
    tarn.note += " Prefers mornings."
    tarn.save()
    assert merged_ids(tarn) == {bo_id}
    assert merged_ids(venn) == {other_id}
