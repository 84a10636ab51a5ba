"""Readings of the dyno's verification by what is measured, with their limits."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from jobs.calc.dyno.control_chart import MIN_READINGS, IndividualsChart, individuals_chart
from jobs.calc.units.numbers import format_number
from jobs.models import DynoCheck
from jobs.runs.chart_data import ChannelDisplay, Chart, CurveLine, build_chart
from jobs.verification.series import series_key

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

    def listed(self, state: str) -> list[DynoCheck]:
        """Return the readings in order of time, with the state “outside” only those outside the limits."""
        return [check for check, outside in self.rows[::-1] if outside or state != "outside"]

    @property
    def sentence(self) -> str:
        if self.limits is None:
            return f"{len(self.checks)} of {MIN_READINGS} readings that limits need."
        low, high = (format_number(value, 2) for value in (self.limits.low, self.limits.high))
        found = f"Limits {low} to {high} {self.unit}, from {len(self.checks)} readings."
        if self.limits.outside[-1]:
            found += (
                " The latest reading is outside the limits. Find the reason before you rely on new results."
            )
        elif self.limits.outside.any():
            found += " An earlier reading is outside the limits."
        else:
            found += " All readings are within the limits."
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
        count = f"{len(errors)} reading{'' if len(errors) == 1 else 's'}"
        return f"Mean error against the true value: {mean} % ({count})."

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


def group_checks(checks: Iterable[DynoCheck]) -> list[CheckSeries]:
    """Return the series by what is measured; the readings come in order of time."""
    found = []
    for _, group in groupby(sorted(checks, key=series_key), key=series_key):
        readings = tuple(sorted(group, key=lambda check: (check.at, check.pk)))
        last = readings[-1]
        limits = individuals_chart([check.reading for check in readings])
        found.append(CheckSeries(str(last), last.get_unit_display(), readings, limits))
    return found


def csv_rows(series: Iterable[CheckSeries], state: str) -> tuple[list[str], list[list[object]]]:
    """Return the listed readings with the limits of their series, and the header."""
    header = [
        "what",
        "measured at",
        "reading",
        "unit",
        "true value",
        "true value within ±",
        "low limit",
        "high limit",
        "outside",
    ]
    rows: list[list[object]] = []
    for one in series:
        ends = (one.limits.low, one.limits.high) if one.limits else (None, None)
        low, high = (None if end is None else round(end, 4) for end in ends)
        outside = one.listed("outside")
        for check in one.listed(state):
            at = check.at.isoformat(timespec="minutes")
            rows.append(
                [
                    one.title,
                    at,
                    check.reading,
                    one.unit,
                    check.true_value,
                    check.true_value_error,
                    low,
                    high,
                    "yes" if check in outside else "no",
                ]
            )
    return header, rows
