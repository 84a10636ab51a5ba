"""Whether a run may be of another bike: its engine speed, its power and its gear ratio.

The limits are rules of thumb, no published source; a doubt is a question and no refusal.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import format_number

OVER_LIMITER = 1.10  # a limiter lets the engine run on by a few percent
OFTEN_SEEN = 1.02
SEVERAL_TIMES = 2.0
OTHER_RATIO = 0.15  # slip, wear and pressure of the tyre move a ratio by some percent
TOP_SHARE = 0.995  # so that single wild samples are not the top speed


@dataclass(frozen=True)
class ExpectedBike:
    """What is known of the bike that a run is said to be of.

    Attributes
    ----------
    rev_limit_rpm : float or None
        Engine speed of its limiter [1/min].
    seen_rpm : float or None
        Highest engine speed of its earlier runs [1/min].
    power_kw : float or None
        Highest power of its earlier sweeps, typically [kW].
    ratios : mapping of int to float
        Gear to engine speed over road speed [1/min per km/h].
    gear : int or None
        The gear that the run is said to be in.
    """

    rev_limit_rpm: float | None = None
    seen_rpm: float | None = None
    power_kw: float | None = None
    ratios: Mapping[int, float] = field(default_factory=dict)
    gear: int | None = None


def find_bike_doubts(
    channels: Mapping[str, FloatArray], ratio: float | None, expected: ExpectedBike, *, is_sweep: bool
) -> tuple[str, ...]:
    """Find what does not fit the bike.

    Parameters
    ----------
    channels : mapping of str to array, (n,)
    ratio : float or None
        Engine speed over road speed as measured [1/min per km/h].
    expected : ExpectedBike
    is_sweep : bool
        Whether the power of the run can be compared with that of the sweeps.

    Returns
    -------
    tuple of str
        A question each.
    """
    doubts = (
        _speed_doubt(channels, expected),
        _power_doubt(channels, expected) if is_sweep else "",
        _ratio_doubt(ratio, expected) if ratio is not None else "",
    )
    return tuple(doubt for doubt in doubts if doubt)


def top_value(channels: Mapping[str, FloatArray], name: str) -> float | None:
    """Return the highest value of a channel without single wild samples.

    Parameters
    ----------
    channels : mapping of str to array, (n,)
    name : str

    Returns
    -------
    float or None
        The quantile `TOP_SHARE`; None if nothing was measured.
    """
    values = channels.get(name, np.array([]))
    measured = values[np.isfinite(values)]
    return float(np.quantile(measured, TOP_SHARE)) if measured.size else None


def _speed_doubt(channels: Mapping[str, FloatArray], expected: ExpectedBike) -> str:
    top, limit = top_value(channels, "engine_speed_rpm"), expected.rev_limit_rpm
    if top is None or not limit:
        return ""
    if top <= max(OVER_LIMITER * limit, OFTEN_SEEN * (expected.seen_rpm or 0.0)):
        return ""
    return (
        f"The engine turns up to {format_number(top)} rpm in this file; the rev limit of this bike is "
        f"{format_number(limit)}. Check whether the file is from another bike."
    )


def _power_doubt(channels: Mapping[str, FloatArray], expected: ExpectedBike) -> str:
    top, usual = top_value(channels, "power_kw"), expected.power_kw
    if top is None or not usual or usual <= 0 or usual / SEVERAL_TIMES <= top <= usual * SEVERAL_TIMES:
        return ""
    return (
        f"Power reaches {format_number(top, 1)} kW in this file; in the sweeps of this bike so far it "
        f"reaches about {format_number(usual, 1)} kW. Check whether the file is from another "
        "bike or in another unit."
    )


def _ratio_doubt(ratio: float, expected: ExpectedBike) -> str:
    def is_near(other: float) -> bool:
        return abs(ratio / other - 1) <= OTHER_RATIO

    measured = f"The engine turns {format_number(ratio, 1)} rpm for each km/h in this file"
    said = expected.ratios.get(expected.gear or 0)
    if said is not None:
        if is_near(said):
            return ""
        fitting = min(expected.ratios, key=lambda gear: abs(expected.ratios[gear] / ratio - 1))
        better = f" Gear {fitting} would fit." if is_near(expected.ratios[fitting]) else ""
        return (
            f"{measured}; in gear {expected.gear} of this bike it is {format_number(said, 1)}.{better} "
            "Check the gear and the bike."
        )
    if expected.gear is None and expected.ratios and not any(map(is_near, expected.ratios.values())):
        return f"{measured}, which fits no gear of this bike. Check whether the file is from another bike."
    return ""
