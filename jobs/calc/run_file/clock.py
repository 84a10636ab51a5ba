"""The date and time that a run file states."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from jobs.calc.run_file.layout import RunFileError
from jobs.calc.run_file.text import open_text

MAX_PREAMBLE_LINES = 60
MAX_LINES_APART = 5  # between a date and its time of day
MAX_LINE_LENGTH = 200  # of a preamble

_CLOCK = (
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:\.\d+)?)?(?: ?(?P<half>[AaPp])\.?[Mm]\b)?"
)
_DATES = (
    re.compile(r"(?<!\d)(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})(?!\d)"),
    re.compile(r"(?<!\d)(?P<day>\d{1,2})\.(?P<month>\d{1,2})\.(?P<year>\d{4})(?!\d)"),
)
# Day and month, or month and day.
_AMBIGUOUS_DATE = re.compile(r"(?<!\d)(?P<one>\d{1,2})[/-](?P<two>\d{1,2})[/-](?P<year>\d{4})(?!\d)")
_AFTER_DATE = re.compile(r"[ ,;\tT]+" + _CLOCK)
_ALONE = re.compile(r"(?<![\d:])(?<!\d[.,])" + _CLOCK + r"(?![\d:])")
_WORD = re.compile(r"[^\W\d_]+")

# The words beside a time say whether it is a time of day or a duration.
_TIME_OF_DAY_WORDS = """
    time clock start started begin began recorded created saved zeit uhrzeit uhr startzeit beginn aufgenommen
    heure debut début hora inicio ora orario inizio tijd tid klockslag godzina czas
"""
_DURATION_WORDS = """
    duration elapsed lap total length run interval sample zone dauer laufzeit rundenzeit durée duree tour
    duracion duración vuelta durata giro duur ronde varaktighet varv
"""
# Words beside a date of something other than the run.
_OTHER_DATE_WORDS = """
    calibration calibrated kalibriert kalibrierung firmware version build licence license expires due printed
    exported export software
"""


@dataclass(frozen=True)
class StatedTime:
    """The time of a run as its file states it.

    Attributes
    ----------
    at : datetime or None
        Without a time zone: by the clock of the machine that wrote the file.
    doubt : str
        Why no time is given although the file has a date; else empty.
    """

    at: datetime | None = None
    doubt: str = ""


def find_stated_time(data: bytes) -> StatedTime:
    """Find the first date with a time of day in a file's first lines.

    Parameters
    ----------
    data : bytes
        The file.

    Returns
    -------
    StatedTime
        Date and time may be on one line or on two near each other. If day and month cannot be told apart,
        ``at`` is None and ``doubt`` says so.
    """
    try:
        lines = open_text(data).head()[:MAX_PREAMBLE_LINES]
    except RunFileError:
        return StatedTime()
    lines = [line.replace('"', "") for line in lines]
    return _on_one_line(lines) or _on_two_lines(lines) or StatedTime()


def _on_one_line(lines: Sequence[str]) -> StatedTime | None:
    for line in lines:
        for found in _dates_in(line):
            if clock := _AFTER_DATE.match(line, found.end()):
                return _combine(found, clock)
    return None


def _on_two_lines(lines: Sequence[str]) -> StatedTime | None:
    """Find a date in the preamble and the nearest time of day, which may be above it."""
    for number, line in enumerate(lines):
        found = next(iter(_dates_in(line)), None)
        if found is None or len(line) > MAX_LINE_LENGTH or _mentions(line, _OTHER_DATE_WORDS):
            continue
        rest = f"{line[: found.start()]} {line[found.end() :]}"
        near = range(max(0, number - MAX_LINES_APART), min(len(lines), number + MAX_LINES_APART + 1))
        others = sorted((at for at in near if at != number), key=lambda at: abs(at - number))
        for text in (rest, *(lines[at] for at in others)):
            if clock := _time_of_day(text):
                return _combine(found, clock)
    return None


def _dates_in(line: str) -> list[re.Match[str]]:
    found = [match for pattern in (*_DATES, _AMBIGUOUS_DATE) if (match := pattern.search(line))]
    return found[:1]


def _mentions(text: str, words: str) -> bool:
    return not {word.casefold() for word in _WORD.findall(text)}.isdisjoint(words.split())


def _time_of_day(text: str) -> re.Match[str] | None:
    """Match a time of day that is alone in a line or beside a word that says what it is."""
    clock = _ALONE.search(text) if len(text) <= MAX_LINE_LENGTH else None
    if clock is None:
        return None
    rest = text[: clock.start()] + text[clock.end() :]
    named = _mentions(rest, _TIME_OF_DAY_WORDS) or not _WORD.search(rest)
    if any(sign.isdigit() for sign in rest) or _mentions(rest, _DURATION_WORDS) or not named:
        return None
    return clock


def _combine(found: re.Match[str], clock: re.Match[str]) -> StatedTime:
    day = _parse_date(found)
    if isinstance(day, str):
        return StatedTime(doubt=day)
    hour = int(clock["hour"])
    if clock["half"]:
        hour = hour % 12 + (12 if clock["half"] in "Pp" else 0)
    try:
        at = time(hour, int(clock["minute"]), int(clock["second"] or 0))
    except ValueError:
        return StatedTime()
    return StatedTime() if day is None else StatedTime(datetime.combine(day, at))


def _parse_date(found: re.Match[str]) -> date | str | None:
    """Return the date, a sentence if day and month are ambiguous, or None if it is no date."""
    try:
        if found.re is not _AMBIGUOUS_DATE:
            return date(int(found["year"]), int(found["month"]), int(found["day"]))
        one, two, year = int(found["one"]), int(found["two"]), int(found["year"])
        if one <= 12 and two <= 12 and one != two:
            first, second = date(year, two, one), date(year, one, two)
            return f"The file's date {found[0]} may be {first:%Y-%m-%d} or {second:%Y-%m-%d}"
        return date(year, two, one) if one > 12 or one == two else date(year, one, two)
    except ValueError:
        return None
