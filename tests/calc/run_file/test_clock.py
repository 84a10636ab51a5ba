"""The time of day that a run file states."""

from datetime import datetime

import pytest

from jobs.calc.run_file.clock import StatedTime, find_stated_time

ROWS = "Time,RPM\n0.0,3000\n0.1,3010\n"


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("Date: 2026-11-05 14:03:22", datetime(2026, 11, 5, 14, 3, 22)),
        ("recorded 2026-11-05T14:03", datetime(2026, 11, 5, 14, 3)),
        ("Datum;05.11.2026;14:03:22", datetime(2026, 11, 5, 14, 3, 22)),
        ('"Run of","11/25/2026 2:03:22 PM"', datetime(2026, 11, 25, 14, 3, 22)),
        ("25/11/2026 12:03 AM", datetime(2026, 11, 25, 0, 3)),
        ("05/05/2026 09:00", datetime(2026, 5, 5, 9, 0)),
        ("05/11/2026 14:03:22", None),  # the fifth of November or the eleventh of May
        ("31.02.2026 10:00", None),
        ("Date: 2026-11-05", None),
        ("Bike 2026-11, rim 17", None),
    ],
)
def test_date_and_time_on_one_line_are_found(line: str, expected: datetime | None) -> None:
    assert find_stated_time(f"{line}\n{ROWS}".encode()).at == expected


def test_first_row_gives_the_time_when_rows_have_dates() -> None:
    rows = "".join(f"2026-11-05 14:03:{second:02d}.500,3000\n" for second in range(20, 30))
    assert find_stated_time(f"Time,RPM\n{rows}".encode("utf-16")).at == datetime(2026, 11, 5, 14, 3, 20)


def test_no_time_is_found_when_it_is_no_run_file() -> None:
    assert find_stated_time(b"") == StatedTime()
    assert find_stated_time(b"\x89PNG\r\n\x1a\n" + bytes(200)) == StatedTime()


@pytest.mark.parametrize(
    ("preamble", "expected"),
    [
        ("Date: 24.11.2026\nTime: 14:32:05", datetime(2026, 11, 24, 14, 32, 5)),
        ("Datum;24.11.2026\nUhrzeit;14:32", datetime(2026, 11, 24, 14, 32)),
        ("Date,2026-11-24\nBike,Demo\nStart time,2:32 PM", datetime(2026, 11, 24, 14, 32)),
        ("Time,14:32:05\nDate,11/24/2026", datetime(2026, 11, 24, 14, 32, 5)),
        ("Date,24/11/2026\nTime,14:32:05", datetime(2026, 11, 24, 14, 32, 5)),
        ("24-11-2026\n14:32:05.250", datetime(2026, 11, 24, 14, 32, 5)),
        ("Date;24.11.2026;Time;14:32", datetime(2026, 11, 24, 14, 32)),
        ("Date: 2026-11-24\nLap time: 1:42:05", None),
        ("Date: 2026-11-24\nDuration: 00:00:12", None),
        ("Date: 2026-11-24\nGear 4 at 14:32", None),  # a ratio or a time: ambiguous
        ("Calibrated: 2026-01-05\nTime: 14:32", None),
        ("Calibrated: 2026-01-05\nDate: 2026-11-24\nTime: 14:32", datetime(2026, 11, 24, 14, 32)),
        ("Date: 2026-11-24\n" + "note\n" * 6 + "Time: 14:32", None),
        ("Date: 31.02.2026\nTime: 14:32", None),
        ("Date: 2026-11-24\nTime: 25:10", None),
    ],
)
def test_date_and_time_on_separate_lines_are_found(preamble: str, expected: datetime | None) -> None:
    assert find_stated_time(f"{preamble}\n{ROWS}".encode()).at == expected


def test_clock_times_of_rows_are_no_time_of_day() -> None:
    rows = "".join(f"00:00:{second:02d},3000\n" for second in range(20))
    assert find_stated_time(f"Date: 2026-11-24\nTime,RPM\n{rows}".encode()).at is None


@pytest.mark.parametrize("lines", ["Date,04/03/2026\nTime,14:32", "Date,04/03/2026 14:32"])
def test_ambiguous_day_and_month_give_a_doubt(lines: str) -> None:
    stated = find_stated_time(f"{lines}\n{ROWS}".encode())
    assert stated.at is None
    assert stated.doubt == "The file's date 04/03/2026 may be 2026-03-04 or 2026-04-03"
