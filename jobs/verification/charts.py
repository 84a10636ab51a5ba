"""Readings of the dyno's verification by what is measured, with their limits."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from jobs.calc.dyno.control_chart import MIN_READINGS, IndividualsChart, individuals_chart
from jobs.calc.units.numbers import format_number
from jobs.models import DynoCheck
from jobs.runs.chart_data import ChannelDisplay, Chart, CurveLine, build_chart

# Limits from fewer readings move much with each new one. Rule of thumb, no published source.
MANY_READINGS = 10


@dataclass(frozen=True, eq=False)
class CheckSeries:
    """All readings of one thing in one unit, in order of time."""

    title: str
    unit: str
    checks: tuple[DynoCheck, ...]
    limits: IndividualsChart | None

    @property
    def rows(self) -> list[tuple[DynoCheck, bool]]:
        """Each reading, latest first, and whether it is outside the limits."""
        outside = self.limits.outside.tolist() if self.limits else [False] * len(self.checks)
        return list(zip(self.checks, outside, strict=True))[::-1]

    @property
    def sentence(self) -> str:
        if self.limits is None:
            return f"{len(self.checks)} of {MIN_READINGS} readings that limits need."
        low, high = (format_number(value, 2) for value in (self.limits.low, self.limits.high))
        found = f"Limits {low} to {high} {self.unit}, from {len(self.checks)} readings."
        if self.limits.outside[-1]:
            found += " The last reading is outside: find the reason before you trust a new figure."
        elif self.limits.outside.any():
            found += " An earlier reading is outside."
        else:
            found += " All readings are within."
        if len(self.checks) < MANY_READINGS:
            found += f" With fewer than {MANY_READINGS} readings the limits are rough."
        return found

    @property
    def error_sentence(self) -> str:
        """Mean error against the true value; empty if that is not known."""
        errors = [100 * (c.reading / c.true_value - 1) for c in self.checks if c.true_value]
        if not errors:
            return ""
        mean = format_number(float(np.mean(errors)), 2, signed=True)
        return f"Mean error against the true value: {mean} % ({len(errors)} readings)."

    @property
    def chart(self) -> Chart | None:
        """The individuals chart with its limits shaded, or None if there are too few readings."""
        if self.limits is None:
            return None
        number = np.arange(1.0, len(self.checks) + 1)
        line = CurveLine(self.title, "after", number, self.limits.values)
        measure = ChannelDisplay("reading", self.unit, 2)
        chart = build_chart("number of the reading", "", [(measure, [line])])
        chart["panels"][0] |= {"range": [self.limits.low, self.limits.high], "level": self.limits.centre}
        return chart


def series_key(check: DynoCheck) -> tuple[str, str, str]:
    return check.method, " ".join(check.subject.split()).casefold(), check.unit


def group_checks(checks: Iterable[DynoCheck]) -> list[CheckSeries]:
    """Return the series by what is measured; the readings come in order of time."""
    found = []
    for _, group in groupby(sorted(checks, key=series_key), key=series_key):
        readings = tuple(sorted(group, key=lambda check: (check.at, check.pk)))
        last = readings[-1]
        limits = individuals_chart([check.reading for check in readings])
        found.append(CheckSeries(str(last), last.get_unit_display(), readings, limits))
    return found


def csv_rows(series: Iterable[CheckSeries]) -> tuple[list[str], list[list[object]]]:
    """Return every reading with the limits of its series, and the header."""
    header = ["what", "measured at", "reading", "unit", "true value", "low limit", "high limit", "outside"]
    rows: list[list[object]] = []
    for one in series:
        ends = (one.limits.low, one.limits.high) if one.limits else (None, None)
        low, high = (None if end is None else round(end, 4) for end in ends)
        for check, outside in one.rows[::-1]:
            at = check.at.isoformat(timespec="minutes")
            rows.append(
                [
                    one.title,
                    at,
                    check.reading,
                    one.unit,
                    check.true_value,
                    low,
                    high,
                    "yes" if outside else "no",
                ]
            )
    return header, rows
