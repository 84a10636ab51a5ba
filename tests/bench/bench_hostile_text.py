"""Reading hostile text of 12,000 characters against the same text of 3,000 characters.

Each reader of typed or uploaded text gets long runs of one pattern that end in something it does not
expect. Work that grows with the length takes 4 times as long, with its square 16 times. Each is timed
three times in one process and the shortest counts; what takes under 100 ms cannot hold anybody up and
counts as 1.
"""

# ruff: noqa: E402  (Django has to be set up before its fields can be imported)

import itertools
import os
import sys
import time
from collections.abc import Callable
from contextlib import suppress

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")

import django

django.setup()

from django.core.exceptions import ValidationError

from jobs.calc.chassis.gearing import parse_tyre_size
from jobs.calc.clearances.shims import parse_marking
from jobs.calc.run_file import read, sniff
from jobs.calc.tables.pasted_table import parse_table
from jobs.clearances.form_boxes import parse_gap
from jobs.mixture.forms import parse_numbers
from workshop.engines.engine_file import read_engines
from workshop.engines.gear_ratios import parse_ratios
from workshop.records.fields import LengthField, NumberField

SHORT, LONG = 3_000, 12_000
ROUNDS = 3
NEGLIGIBLE_S = 0.1
MAX_RATIO = 7.0  # linear is 4

SPACED = ("1 ", "1\t", "a1 ", "a b", "kW ", " ")
DENSE = (
    "1",
    "1,",
    "1.",
    "1'",
    "111,",
    "a",
    "aA1",
    "é",
    "(",
    "[",
    "(1)",
    "1:",
    "1-",
    "1/",
    "-",
    "_",
    '"',
    "=",
)
PATTERNS = (*DENSE, *SPACED)
ENDS = ("!", "1!", "]", "kW", "")


def run_file_with(cell: str) -> bytes:
    """Return a small run file with the text in a cell, a name and the lines above."""
    rows = "\n".join(f"{t / 10},{4000 + 50 * t},{30 + t}" for t in range(40))
    return f"{cell}\nTime [s],{cell},Power [kW]\n{rows}\n{cell},5000,60\n1,{cell},3\n".encode()


def read_run_file(text: str) -> None:
    data = run_file_with(text)
    read(data, sniff(data).layout)


def read_pasted_table(text: str) -> None:
    parse_table(f"rpm\t2000\t4000\t6000\n0\t0\t0\t0\n50\t{text}\t40\t40\n100\t100\t90\t{text}\n")


READERS: dict[str, Callable[[str], object]] = {
    "run file": read_run_file,
    "pasted table": read_pasted_table,
    "tyre size": parse_tyre_size,
    "shim marking": parse_marking,
    "valve gap": lambda text: parse_gap(text, "mm"),
    "gear ratios": parse_ratios,
    "axis": parse_numbers,
    "engine file": read_engines,
    "number": NumberField().clean,
    "length": LengthField().clean,
}


def time_of(reader: Callable[[str], object], text: str) -> float:
    begin = time.perf_counter()
    with suppress(ValueError, ValidationError):  # refused with a sentence
        reader(text)
    return time.perf_counter() - begin


def shortest_time(reader: Callable[[str], object], pattern: str, end: str, length: int) -> float:
    """Return the shortest time of several texts, each another one, since some readers remember texts."""
    texts = (pattern * (length // len(pattern) + i) + end for i in range(ROUNDS))
    return min(time_of(reader, text) for text in texts)


def ratio(reader: Callable[[str], object], pattern: str, end: str) -> float:
    long = shortest_time(reader, pattern, end, LONG)
    return 1.0 if long < NEGLIGIBLE_S else long / shortest_time(reader, pattern, end, SHORT)


def main() -> int:
    failed = 0
    for name, reader in READERS.items():
        worst, pattern, end = max((ratio(reader, *both), *both) for both in itertools.product(PATTERNS, ENDS))
        work = f"{name}: 4 times as long a text, worst {pattern!r} before {end!r}"
        sys.stdout.write(f"{work:<72}{worst:>12.2f}{MAX_RATIO:>12.2f}\n")
        failed |= worst > MAX_RATIO
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
