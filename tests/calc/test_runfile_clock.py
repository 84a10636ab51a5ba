"""The time of day that a run file states."""

from datetime import datetime

import pytest

from jobs.calc.runfile_clock import stated_time

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
def test_stamp_of_a_preamble(line: str, expected: datetime | None) -> None:
    assert stated_time(f"{line}\n{ROWS}".encode()) == expected


def test_stamps_of_the_rows_give_the_first() -> None:
    rows = "".join(f"2026-11-05 14:03:{second:02d}.500,3000\n" for second in range(20, 30))
    assert stated_time(f"Time,RPM\n{rows}".encode("utf-16")) == datetime(2026, 11, 5, 14, 3, 20)


def test_what_is_no_run_file_states_nothing() -> None:
    assert stated_time(b"") is None
    assert stated_time(b"\x89PNG\r\n\x1a\n" + bytes(200)) is None
