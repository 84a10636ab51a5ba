"""A default kind of part that was renamed: in existing shops too, unless the owner has edited it."""

from importlib import import_module

import pytest
from django.apps import apps

from jobs.models import PartKind

migration = import_module("jobs.migrations.0020_name_of_a_part_kind")


@pytest.fixture
def kind(db) -> PartKind:
    PartKind.objects.filter(name=migration.NAME).delete()
    return PartKind.objects.create(name=migration.FORMER, road_use="race", road_use_effect="May be unlawful.")


def test_unedited_kind_is_renamed_with_its_history(kind) -> None:
    migration.rename(apps, None)
    kind.refresh_from_db()
    assert (kind.name, kind.version) == ("road equipment removed", 2)
    assert kind.history.latest().name == "road equipment removed"
    assert kind.history.earliest().name == "road equipment taken off"


def test_edited_kind_stays(kind) -> None:
    kind.customer_caution = "Not at night."
    kind.save()
    migration.rename(apps, None)
    kind.refresh_from_db()
    assert kind.name == "road equipment taken off"
