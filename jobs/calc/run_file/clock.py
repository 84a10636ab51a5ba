"""When a run was made, where its file says so."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from jobs.calc.run_file.layout import RunFileError
from jobs.calc.run_file.text import open_text

LINES_LOOKED_AT = 60
LINES_APART = 5  # a date and its time of day on lines of their own stand near each other
LONGEST_LINE = 200  # a longer one is no line of a preamble

_CLOCK = (
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:\.\d+)?)?(?: ?(?P<half>[AaPp])\.?[Mm]\b)?"
)
_DATES = (
    re.compile(r"(?<!\d)(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})(?!\d)"),
    re.compile(r"(?<!\d)(?P<day>\d{1,2})\.(?P<month>\d{1,2})\.(?P<year>\d{4})(?!\d)"),
)
# Either of the first two may be the day: written one way here and the other way there.
_EITHER = re.compile(r"(?<!\d)(?P<one>\d{1,2})[/-](?P<two>\d{1,2})[/-](?P<year>\d{4})(?!\d)")
_AFTER_DATE = re.compile(r"[ ,;\tT]+" + _CLOCK)
_ALONE = re.compile(r"(?<![\d:])(?<!\d[.,])" + _CLOCK + r"(?![\d:])")
_WORD = re.compile(r"[^\W\d_]+")

# A time of day is told from a length of time by the words beside it.
_OF_DAY = """
    time clock start started begin began recorded created saved zeit uhrzeit uhr startzeit beginn aufgenommen
    heure debut début hora inicio ora orario inizio tijd tid klockslag godzina czas
"""
_OF_LENGTH = """
    duration elapsed lap total length run interval sample zone dauer laufzeit rundenzeit durée duree tour
    duracion duración vuelta durata giro duur ronde varaktighet varv
"""
# Dates that are of something else than the run.
_NOT_THE_RUN = """
    calibration calibrated kalibriert kalibrierung firmware version build licence license expires due printed
    exported export software
"""


@dataclass(frozen=True)
class StatedTime:
    """The time of a run by the clock of whoever wrote its file; where there is none, perhaps why."""

    at: datetime | None = None
    doubt: str = ""


def stated_time(data: bytes) -> StatedTime:
    """The first date with a time of day in a file's first lines, on one line or on two near each other.

    Nothing is guessed: where day and month could be taken for each other, ``doubt`` says so.
    """
    try:
        lines = open_text(data).head()[:LINES_LOOKED_AT]
    except RunFileError:
        return StatedTime()
    lines = [line.replace('"', "") for line in lines]
    return _on_one_line(lines) or _on_two_lines(lines) or StatedTime()


def _on_one_line(lines: Sequence[str]) -> StatedTime | None:
    for line in lines:
        for found in _dates_in(line):
            if clock := _AFTER_DATE.match(line, found.end()):
                return _together(found, clock)
    return None


def _on_two_lines(lines: Sequence[str]) -> StatedTime | None:
    """A date on a line of the preamble, and the time of day nearest to it, which may stand before it."""
    for number, line in enumerate(lines):
        found = next(iter(_dates_in(line)), None)
        if found is None or len(line) > LONGEST_LINE or _says(line, _NOT_THE_RUN):
            continue
        rest = f"{line[: found.start()]} {line[found.end() :]}"
        near = range(max(0, number - LINES_APART), min(len(lines), number + LINES_APART + 1))
        others = sorted((at for at in near if at != number), key=lambda at: abs(at - number))
        for text in (rest, *(lines[at] for at in others)):
            if clock := _time_of_day(text):
                return _together(found, clock)
    return None


def _dates_in(line: str) -> list[re.Match[str]]:
    found = [match for pattern in (*_DATES, _EITHER) if (match := pattern.search(line))]
    return found[:1]


def _says(text: str, words: str) -> bool:
    return not {word.casefold() for word in _WORD.findall(text)}.isdisjoint(words.split())


def _time_of_day(text: str) -> re.Match[str] | None:
    """A time of day that stands alone in a line, or under a word that names it one."""
    clock = _ALONE.search(text) if len(text) <= LONGEST_LINE else None
    if clock is None:
        return None
    rest = text[: clock.start()] + text[clock.end() :]
    named = _says(rest, _OF_DAY) or not _WORD.search(rest)
    if any(sign.isdigit() for sign in rest) or _says(rest, _OF_LENGTH) or not named:
        return None
    return clock


def _together(found: re.Match[str], clock: re.Match[str]) -> StatedTime:
    day = _day_of(found)
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


def _day_of(found: re.Match[str]) -> date | str | None:
    """The date; a sentence where its day and month may be taken for each other; None where it is none."""
    try:
        if found.re is not _EITHER:
            return date(int(found["year"]), int(found["month"]), int(found["day"]))
        one, two, year = int(found["one"]), int(found["two"]), int(found["year"])
        if one <= 12 and two <= 12 and one != two:
            first, second = date(year, two, one), date(year, one, two)
            return f"The file's date {found[0]} may be {first:%Y-%m-%d} or {second:%Y-%m-%d}"
        return date(year, two, one) if one > 12 or one == two else date(year, one, two)
    except ValueError:
        return None
