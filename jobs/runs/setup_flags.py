"""What changed between two groups of runs that makes power at the wheel differ by itself."""

import re
from collections.abc import Iterable, Sequence

import numpy as np
from django.utils.translation import gettext as _

from jobs.calc.dyno.curves import Flag
from jobs.calc.units.numbers import format_number
from jobs.job.event import Event
from jobs.runs.results import RunResult

# Rules of thumb, no published source: what a tyre's pressure and temperature explain, and by how much a
# better engine alone speeds up a sweep.
RATIO_LIMIT_PCT = 1.0
RATE_LIMIT_PCT = 20.0
# Events are in the language of the sheet; what people typed into them is in any.
DRIVE_WORDS = re.compile(
    r"\b(tyres?\b(?! pressure)|sprocket|gearing|final drive"
    r"|reifen(?!druck)|kettenr[aä]d|ritzel|übersetzung|neumático|piñ[oó]n|corona\b|transmisión)",
    re.IGNORECASE,
)


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
    text = _(
        "Between the runs: %(changes)s. A different sprocket or tyre changes losses, slip and the "
        "power for the rotating parts. This alone changes power at the wheel by some tenths of a "
        "percent."
    )
    return [Flag("drive", text % {"changes": "; ".join(named)})]


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
    text = (
        _(
            "The engine turns %(share)s %% more after than before at the same road speed. Possible "
            "causes: a different sprocket, tyre or tyre pressure, or slip. This alone changes power "
            "at the wheel."
        )
        if change_pct > 0
        else _(
            "The engine turns %(share)s %% less after than before at the same road speed. Possible "
            "causes: a different sprocket, tyre or tyre pressure, or slip. This alone changes power "
            "at the wheel."
        )
    )
    return [Flag("ratio-changed", text % {"share": format_number(abs(change_pct), 1)})]


def rate_flags(before: Sequence[RunResult], after: Sequence[RunResult]) -> list[Flag]:
    sides = [[r.sweep_rate_rpm_s for r in side if r.sweep_rate_rpm_s is not None] for side in (before, after)]
    if not all(sides):
        return []
    rates = [float(np.median(side)) for side in sides]
    if max(rates) <= (1 + RATE_LIMIT_PCT / 100) * min(rates):
        return []
    text = _(
        "The sweeps rose by %(before)s rpm per second before and %(after)s after. Quicker sweeps "
        "lose more power to the bike's rotating parts. Unless their inertia is included, this alone "
        "changes power at the wheel."
    )
    before_rate, after_rate = map(format_number, rates)
    return [Flag("sweep-rate", text % {"before": before_rate, "after": after_rate})]
