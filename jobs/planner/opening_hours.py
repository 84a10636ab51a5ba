"""Opening hours of each weekday and closed days, both set by the owner."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from jobs.models import ShutDays
from workshop.models import ShopProfile

DAYS_SHOWN = 5
MAX_SEARCH = timedelta(days=370)  # how far ahead to search for a working day
ONE_DAY = timedelta(days=1)

Hours = tuple[time, time] | None


@dataclass(frozen=True)
class OpeningHours:
    hours: tuple[Hours, ...]  # Monday first; None for a day on which the shop does not work
    closed_days: Sequence[ShutDays]

    def hours_on(self, day: date) -> Hours:
        return None if self.closed_reason(day) else self.hours[day.weekday()]

    def closed_reason(self, day: date) -> str:
        """Return why the shop is closed that day, or ""."""
        for days in self.closed_days:
            if days.covers(day):
                return days.reason
        return "" if self.hours[day.weekday()] else f"closed on {day:%A}s"

    def working_days_from(self, first: date, count: int = DAYS_SHOWN) -> list[date]:
        """Return the next working days from this one on; fewer if the shop is closed for a year."""
        days = (first + ONE_DAY * ahead for ahead in range(MAX_SEARCH.days))
        open_days = (day for day in days if not self.closed_reason(day))
        return [day for day, _ in zip(open_days, range(count), strict=False)]

    def working_day_before(self, first: date, count: int = DAYS_SHOWN) -> date:
        """Return the first of as many working days before this one, or the farthest day searched."""
        day = first
        for ahead in range(1, MAX_SEARCH.days):
            day = first - ONE_DAY * ahead
            count -= not self.closed_reason(day)
            if not count:
                break
        return day

    def outside_hours_message(self, starts_at: datetime, ends_at: datetime) -> str:
        """Return why a slot, in shop time, does not fit the hours, or ""."""
        day = starts_at.date()
        if reason := self.closed_reason(day):
            return f"The shop is closed on {day:%A %-d %B}: {reason}."
        hours = self.hours_on(day)
        assert hours is not None
        opens, shuts = hours
        if starts_at.time() >= opens and ends_at.date() == day and ends_at.time() <= shuts:
            return ""
        return f"This is outside opening hours on {day:%A %-d %B} ({opens:%H:%M} to {shuts:%H:%M})."


def load_opening_hours(shop: ShopProfile) -> OpeningHours:
    """Load the owner's settings in one query."""
    return OpeningHours(parse_hours(shop.working_hours), list(ShutDays.objects.all()))


def parse_hours(stored: Iterable[list[str] | None]) -> tuple[Hours, ...]:
    return tuple((time.fromisoformat(day[0]), time.fromisoformat(day[1])) if day else None for day in stored)
