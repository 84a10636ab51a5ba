"""Moments and what the clock in the shop shows, where the clocks change too."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

# What a date can be: outside lies a slip of the keys, and beyond the calendar's ends no zone can be reckoned.
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2199, 12, 31)


def shows(zone: ZoneInfo, day: date, clock: time) -> list[datetime]:
    """The moments, in UTC, at which the clock in the shop shows this.

    None where the clocks go forward over it, two where they go back over it, else one.
    """
    reading = datetime.combine(day, clock.replace(fold=0))
    moments = {reading.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)}
    return [each for each in sorted(moments) if each.astimezone(zone).replace(tzinfo=None, fold=0) == reading]


def moment(zone: ZoneInfo, day: date, clock: time, *, second: bool | None = None) -> datetime:
    """The moment, in UTC, meant by a day and a time of the shop's clock.

    Raises ValueError where the clock never shows that time on that day, or shows it twice and
    ``second`` does not say which is meant.
    """
    found = shows(zone, day, clock)
    if not found:
        raise ValueError(f"The clocks go forward that day: there is no {clock:%H:%M}.")
    if len(found) == 1:
        return found[0]
    if second is None:
        raise ValueError(f"The clocks go back that day and show {clock:%H:%M} twice: say which is meant.")
    return found[second]


def believable(day: date) -> date:
    """The day; raises ValueError with a sentence where it is centuries away."""
    if not FIRST_DAY <= day <= LAST_DAY:
        raise ValueError(f"The year {day.year} can't be meant: look at it again.")
    return day
