"""Dates, text and line folding of the calendar feed against RFC 5545."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from jobs.planner.calendar_feed import CalendarEntry, format_calendar
from tests.reference.cases import Case, assert_case, find_handler, topic_params

MAX_LINE_OCTETS = 75
BEGIN = date(2025, 3, 14)


def calendar(**entry: object) -> bytes:
    return format_calendar(
        "Shop", [CalendarEntry(**{"uid": "1@shop", "summary": "", "starts": BEGIN, "ends": BEGIN, **entry})]
    )


def unfolded(text: bytes) -> list[str]:
    return text.decode().replace("\r\n ", "").split("\r\n")


def line_of(text: bytes, name: str) -> str:
    """Return the line of a property inside the event."""
    lines = unfolded(text)
    lines = lines[lines.index("BEGIN:VEVENT") :]
    return next(line for line in lines if line.startswith((f"{name}:", f"{name};")))


def moment(inputs: dict[str, str]) -> datetime:
    if "utc" in inputs:
        return datetime.fromisoformat(inputs["utc"].replace("Z", "+00:00")).astimezone(ZoneInfo("UTC"))
    return datetime.fromisoformat(inputs["local"]).replace(tzinfo=ZoneInfo(inputs["tzid"]))


def date_line(case: Case) -> str:
    inputs = case["inputs"]
    if inputs.get("all_day"):
        day = date.fromisoformat(inputs.get("date") or inputs["last_day"])
        text = calendar(starts=day, ends=day)
    else:
        start = moment(inputs)
        text = calendar(starts=start, ends=start + timedelta(hours=1))
    return line_of(text, inputs["property"])


def escaped(case: Case) -> str:
    return line_of(calendar(summary=case["inputs"]["text"]), "SUMMARY").removeprefix("SUMMARY:")


def physical_lines(text: bytes, name: str) -> list[bytes]:
    """Return the folded lines of one property as they are in the file."""
    lines = text.split(b"\r\n")
    first = next(i for i, line in enumerate(lines) if line.startswith(f"{name}:".encode()))
    end = next(i for i in range(first + 1, len(lines)) if not lines[i].startswith(b" "))
    return lines[first:end]


def written(line: str) -> tuple[str, bytes]:
    name, _, value = line.partition(":")
    return name, calendar(**{name.lower(): value})


def folded(case: Case) -> dict[str, object]:
    line = case["inputs"]["line"]
    name, text = written(line)
    physical = physical_lines(text, name)
    assert len(physical) > 1
    assert b"\n" not in text.replace(b"\r\n", b"")
    return {
        "unfolded_equals_input": line_of(text, name) == line,
        "max_physical_line_octets": MAX_LINE_OCTETS
        if max(map(len, text.split(b"\r\n"))) <= MAX_LINE_OCTETS
        else max(map(len, text.split(b"\r\n"))),
        "continuation_prefix": physical[1][:1].decode(),
        "break_": "CRLF",
    }


def folded_between_characters(case: Case) -> dict[str, object]:
    line = case["inputs"]["line"]
    name, text = written(line)
    physical = physical_lines(text, name)
    whole = [octets.decode() for octets in physical]  # raises if a character was split
    assert line_of(text, name) == line
    return {
        "octets": sum(map(len, physical)) - (len(physical) - 1),
        "must_fold": len(physical) > 1 and max(map(len, physical)) <= MAX_LINE_OCTETS,
        "must_not_split_a_character": bool(whole),
    }


HANDLERS: dict[str, Callable[[Case], object]] = {
    "ics-date-": date_line,
    "ics-text-": escaped,
    "ics-fold-01": folded,
    "ics-fold-02": folded_between_characters,
}
CASES = [param for param in topic_params(11) if str(param.id).startswith("ics-")]


@pytest.mark.parametrize("case", CASES)
def test_calendar_agrees_with_rfc_5545(case: Case) -> None:
    assert_case(case, find_handler(case, HANDLERS)(case))
