"""What changed between two groups of runs that makes power at the wheel differ by itself."""

import re
from collections.abc import Iterable, Sequence

import numpy as np

from jobs.calc.dyno.curves import Flag
from jobs.calc.units.numbers import format_number
from jobs.job.event import Event
from jobs.runs.results import RunResult

# Rules of thumb, no published source: what a tyre's pressure and temperature explain, and by how much a
# better engine alone speeds up a sweep.
RATIO_LIMIT_PCT = 1.0
RATE_LIMIT_PCT = 20.0
DRIVE_WORDS = re.compile(r"\b(tyres?\b(?! pressure)|sprocket|gearing|final drive)", re.IGNORECASE)


def setup_flags(
    before: Sequence[RunResult], after: Sequence[RunResult], changes: Iterable[Event]
) -> tuple[Flag, ...]:
    """Flag a comparison across another ratio, sprocket, tyre or sweep rate."""
    found = [*drive_flags(changes), *ratio_flags(before, after), *rate_flags(before, after)]
    return tuple(found)


def drive_flags(changes: Iterable[Event]) -> list[Flag]:
    named = [event.text for event in changes if DRIVE_WORDS.search(event.text)]
    if not named:
        return []
    return [
        Flag(
            "drive",
            f"Between the runs: {'; '.join(named)}. Another sprocket or tyre changes losses, slip and what "
            "the rotating parts take, so power at the wheel differs by some tenths of a percent by itself.",
        )
    ]


def ratio_flags(before: Sequence[RunResult], after: Sequence[RunResult]) -> list[Flag]:
    """Flag another ratio of engine to road speed, unless the runs were made in other gears."""
    if len({result.run.gear for result in (*before, *after)}) > 1:
        return []
    sides = [[result.ratio.reference for result in side if result.ratio] for side in (before, after)]
    if not all(sides):
        return []
    change_pct = 100 * (float(np.median(sides[1])) / float(np.median(sides[0])) - 1)
    if abs(change_pct) <= RATIO_LIMIT_PCT:
        return []
    more = "more" if change_pct > 0 else "less"
    sentence = (
        f"The engine turns {abs(change_pct):.1f} % {more} for the same road speed after than before: another "
        "sprocket, tyre or tyre pressure, or slip. Power at the wheel differs by that by itself."
    )
    return [Flag("ratio-changed", sentence)]


def rate_flags(before: Sequence[RunResult], after: Sequence[RunResult]) -> list[Flag]:
    sides = [[r.sweep_rate_rpm_s for r in side if r.sweep_rate_rpm_s is not None] for side in (before, after)]
    if not all(sides):
        return []
    rates = [float(np.median(side)) for side in sides]
    if max(rates) <= (1 + RATE_LIMIT_PCT / 100) * min(rates):
        return []
    sentence = (
        f"The sweeps rose by {format_number(rates[0])} 1/min a second before and {format_number(rates[1])} "
        "after: what the bike's rotating parts take grows with it, so power at the wheel differs by itself "
        "unless their inertia is included."
    )
    return [Flag("sweep-rate", sentence)]
