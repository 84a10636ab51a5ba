"""Slots made when the places were fixed keep theirs when the places become the owner's."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from django.apps.registry import Apps
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from tests import factories

BEFORE = [("jobs", "0003_caution_for_the_rider"), ("workshop", "0001_initial")]


def migrate(targets: list[tuple[str, str]]) -> Apps:
    executor = MigrationExecutor(connection)
    executor.migrate(targets)
    return MigrationExecutor(connection).loader.project_state(targets).apps


@pytest.fixture
def latest(transactional_db: None) -> Iterator[list[tuple[str, str]]]:
    nodes = MigrationExecutor(connection).loader.graph.leaf_nodes()
    yield nodes
    migrate(nodes)


def test_a_slot_of_before_keeps_its_place(latest: list[tuple[str, str]]) -> None:
    job = factories.make_job()
    old = migrate(BEFORE)
    nine, ten = (datetime(2026, 11, 30, hour, tzinfo=UTC) for hour in (9, 10))
    kept = old.get_model("jobs", "Slot").objects.create(
        job_id=job.pk, place="bench_2", starts_at=nine, ends_at=ten
    )
    old.get_model("jobs", "SlotQuarter").objects.create(slot_id=kept.pk, place="bench_2", at=nine)

    new = migrate(latest)
    slot = new.get_model("jobs", "Slot").objects.get(pk=kept.pk)
    assert (slot.place.name, slot.place.kind, slot.starts_at) == ("bench 2", "bench", nine)
    assert new.get_model("jobs", "SlotQuarter").objects.get(slot_id=kept.pk).place_id == slot.place_id
    names = new.get_model("jobs", "WorkPlace").objects.values_list("name", flat=True)
    assert list(names) == ["dyno", "bench 1", "bench 2"]
