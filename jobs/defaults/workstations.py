"""Default workstations of a new shop, which the owner can rename, extend and retire."""

from jobs.models import WorkPlace

WORKSTATIONS = [("dyno", "dyno"), ("bench 1", "bench"), ("bench 2", "bench")]  # name and kind
STEP = 10


def create_default_workstations(database: str = "default") -> None:
    """Create a dyno and two benches if the shop has no workstation yet."""
    if not WorkPlace.objects.using(database).exists():
        for order, (name, kind) in enumerate(WORKSTATIONS, start=1):
            WorkPlace(name=name, kind=kind, order=order * STEP).save(using=database)
