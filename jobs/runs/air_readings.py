"""When the air of a run was read: runs that repeat it to the last digit share one reading."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from jobs.models import Run

# Rule of thumb, no published source: 6 °C change power by about 1.9 %, and a room warms up in less than that.
AIR_VALID = timedelta(minutes=90)


def reading_times(runs: Iterable[Run]) -> dict[int, datetime]:
    """Return when the air of each run that has it was read, by key."""
    found: dict[int, datetime] = {}
    latest: tuple[tuple[float | None, ...], datetime] | None = None
    for run in sorted(runs, key=lambda run: (run.made_at, run.pk)):
        if not run.has_air:
            continue
        air = (run.temperature_c, run.pressure_kpa, run.humidity_pct)
        if latest is None or latest[0] != air:
            latest = (air, run.made_at)
        found[run.pk] = latest[1]
    return found


def is_old(read_at: datetime, at: datetime) -> bool:
    """Return True if a reading is too old to be used without a question."""
    return at - read_at > AIR_VALID
