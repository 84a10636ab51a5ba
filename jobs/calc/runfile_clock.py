"""When a run was made, where its file says so."""

import re
from datetime import datetime

from jobs.calc.runfile_layout import RunFileError
from jobs.calc.runfile_text import open_text

LINES_LOOKED_AT = 60

_CLOCK = r"[ ,;T]+(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}))?(?: ?(?P<half>[AaPp])\.?[Mm])?"
_STAMPS = (
    re.compile(r"(?<!\d)(?P<year>\d{4})[-/](?P<month>\d{1,2})[-/](?P<day>\d{1,2})" + _CLOCK),
    re.compile(r"(?<!\d)(?P<day>\d{1,2})\.(?P<month>\d{1,2})\.(?P<year>\d{4})" + _CLOCK),
    re.compile(r"(?<!\d)(?P<day>\d{1,2})[/-](?P<month>\d{1,2})[/-](?P<year>\d{4})" + _CLOCK),
)


def stated_time(data: bytes) -> datetime | None:
    """The first date with a time of day in a file's first lines, in the clock of whoever wrote it.

    None where there is none, and where day and month could be taken for each other.
    """
    try:
        lines = open_text(data).head()[:LINES_LOOKED_AT]
    except RunFileError:
        return None
    for line in lines:
        for stamp in _STAMPS:
            if match := stamp.search(line.replace('"', "")):
                return _time_of(match)
    return None


def _time_of(match: re.Match[str]) -> datetime | None:
    year, month, day = (int(match[part]) for part in ("year", "month", "day"))
    if "/" in match[0] or match.re is _STAMPS[2]:
        month, day = _told_apart(match, month, day)
    hour = int(match["hour"])
    if match["half"]:
        hour = hour % 12 + (12 if match["half"] in "Pp" else 0)
    try:
        return datetime(year, month, day, hour, int(match["minute"]), int(match["second"] or 0))
    except ValueError:
        return None


def _told_apart(match: re.Match[str], month: int, day: int) -> tuple[int, int]:
    """Month and day of a date that begins with either; zeros, which are no date, where both may be."""
    if match.re is _STAMPS[0] or month == day:
        return month, day
    if month > 12:
        return day, month
    return (month, day) if day > 12 else (0, 0)
