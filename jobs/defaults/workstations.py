"""Default workstations of a new shop, which the owner can rename, extend and retire."""

from typing import Any

from django.apps.registry import Apps
from django.db import connections

PLACES = [("dyno", "dyno"), ("bench 1", "bench"), ("bench 2", "bench")]  # name and kind
STEP = 10


def create_default_workstations(using: Apps, database: str = "default") -> None:
    """Create a dyno and two benches if the shop has no workstation yet."""
    places: Any = using.get_model("jobs", "WorkPlace")
    if places._meta.db_table not in connections[database].introspection.table_names():
        return  # only a part of the apps was migrated
    if not places.objects.using(database).exists():
        for order, (name, kind) in enumerate(PLACES, start=1):
            places(name=name, kind=kind, order=order * STEP).save(using=database)
