"""Instants and local times of the shop, across changes of the clocks too."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

# A date outside is a typing mistake, and no time zone can convert the ends of the calendar.
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2199, 12, 31)


def utc_instants(zone: ZoneInfo, day: date, clock: time) -> list[datetime]:
    """Return the UTC instants of a local time: none in a DST gap, two in a DST overlap."""
    local = datetime.combine(day, clock.replace(fold=0))
    instants = {local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)}
    return [
        instant
        for instant in sorted(instants)
        if instant.astimezone(zone).replace(tzinfo=None, fold=0) == local
    ]


def to_utc(zone: ZoneInfo, day: date, clock: time, *, second: bool | None = None) -> datetime:
    """Return the UTC instant of a local date and time.

    Raises ValueError in a DST gap, and in a DST overlap if ``second`` does not say which is meant.
    """
    found = utc_instants(zone, day, clock)
    if not found:
        raise ValueError(
            f"{clock:%H:%M} does not exist on that day because the clocks go forward. "
            "Enter a time one hour earlier or later."
        )
    if len(found) == 1:
        return found[0]
    if second is None:
        raise ValueError(
            f"{clock:%H:%M} occurs twice on that day because the clocks go back. Choose which one you mean."
        )
    return found[second]


def check_plausible_day(day: date) -> date:
    """Return the day; raise ValueError if it is centuries away."""
    if not FIRST_DAY <= day <= LAST_DAY:
        raise ValueError(f"Check the year: {day.year}.")
    return day
