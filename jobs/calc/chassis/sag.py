"""Suspension sag, springs and what a turn of the preload does.

'Static sag' is used in the trade for two things, so here it is said what was measured: with the bike
alone, or with the rider.

References
----------
.. [1] Race Tech, Sag: three readings, and starting points by use. A trade guide, no limit.
.. [2] Sport Rider, Set Your Static Sag: the same readings; about 1 mm of sag for a turn of the adjuster.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.calc.units.numbers import require_finite, require_positive

HIGH_STICTION_MM = 10.0  # well above it, bent or dry parts; common practice, no source


@dataclass(frozen=True)
class SagGuide:
    """A starting point in percent of travel."""

    low_pct: float
    high_pct: float


# Rider sag by (use, end) [1]_
SAG_GUIDES = {
    ("road", "front"): SagGuide(28, 33),
    ("road", "rear"): SagGuide(28, 35),
    ("track", "front"): SagGuide(23, 27),
    ("track", "rear"): SagGuide(23, 30),
}


@dataclass(frozen=True)
class Sag:
    """Sag of one end from its readings."""

    sag_mm: float
    stiction_mm: float
    percent_of_travel: float  # NaN where the travel is not known


def sag(
    extended_mm: float,
    pushed_down_mm: float,
    lifted_mm: float,
    travel_mm: float | None = None,
    lengths: LengthFormatter = IN_MM,
) -> Sag:
    """Sag from a length unloaded and two laden ones [1]_.

    Parameters
    ----------
    extended_mm : float
        Between the two marks with the wheel off the ground.
    pushed_down_mm, lifted_mm : float
        The same, laden: pushed down and let up slowly, lifted and let down slowly. Which is which makes
        no difference to the figures.
    travel_mm : float, optional
        Travel of the wheel.

    Returns
    -------
    Sag
        The mean of the two laden readings is what counts; their difference is stiction.

    Raises
    ------
    ValueError
        A reading is missing, a laden one is longer than the unloaded one, or the sag exceeds the travel.
    """
    for what, value in (
        ("unloaded reading", extended_mm),
        ("reading after pushing down", pushed_down_mm),
        ("reading after lifting", lifted_mm),
    ):
        require_positive(what, value, "mm")
    if max(pushed_down_mm, lifted_mm) > extended_mm:
        raise ValueError("A laden reading is longer than the unloaded one: check which is which.")
    sag_mm = extended_mm - (pushed_down_mm + lifted_mm) / 2
    percent = math.nan
    if travel_mm is not None:
        require_positive("travel", travel_mm, "mm")
        if sag_mm > travel_mm:
            told, travel = lengths.format_coarse(sag_mm), lengths.format_coarse(travel_mm)
            raise ValueError(
                f"A sag of {told} {lengths.unit} is more than the travel of {travel} {lengths.unit}."
            )
        percent = 100 * sag_mm / travel_mm
    return Sag(sag_mm, abs(pushed_down_mm - lifted_mm), percent)


def free_sag_mm(extended_mm: float, free_mm: float) -> float:
    """Sag under the bike's own mass from one reading.

    Raises
    ------
    ValueError
        A reading is missing, or the bike stands taller on its wheels than off them.
    """
    return sag(extended_mm, free_mm, free_mm).sag_mm


def sag_hints(measured: Sag, guide: SagGuide | None, lengths: LengthFormatter = IN_MM) -> list[str]:
    """What a guide's range suggests, as hints: starting points, no limits."""
    hints = []
    if measured.stiction_mm > HIGH_STICTION_MM:
        apart = f"{lengths.format_coarse(measured.stiction_mm)} {lengths.unit}"
        hints.append(f"The two readings are {apart} apart: look for dry seals or bent parts.")
    if guide is None or math.isnan(measured.percent_of_travel):
        return hints
    span = f"the customary {guide.low_pct:g} to {guide.high_pct:g} %"
    share_pct = round(measured.percent_of_travel, 1)  # judged as it is told: 33.0 % is not more than 33 %
    if share_pct > guide.high_pct:
        hints.append(f"{share_pct:.1f} % is more than {span}: more preload, or a firmer spring.")
    elif share_pct < guide.low_pct:
        hints.append(f"{share_pct:.1f} % is less than {span}: less preload, or a softer spring.")
    return hints


def parallel_rate_n_per_mm(rates_n_per_mm: Iterable[float]) -> float:
    """Rate of springs side by side, such as two fork legs.

    Raises
    ------
    ValueError
        A rate is not above zero.
    """
    return math.fsum(_checked_rates(rates_n_per_mm))


def series_rate_n_per_mm(rates_n_per_mm: Iterable[float]) -> float:
    """Rate of springs end to end.

    Raises
    ------
    ValueError
        A rate is not above zero.
    """
    return 1 / math.fsum(1 / rate for rate in _checked_rates(rates_n_per_mm))


def wheel_rate_n_per_mm(spring_rate_n_per_mm: float, motion_ratio: float) -> float:
    """Rate at the wheel from that of the spring; the motion ratio is shock travel by wheel travel.

    Raises
    ------
    ValueError
        The rate or the ratio is not above zero.
    """
    require_positive("spring rate", spring_rate_n_per_mm, "N/mm")
    require_positive("motion ratio", motion_ratio)
    return spring_rate_n_per_mm * motion_ratio**2


def sag_under_load_mm(load_n: float, rate_n_per_mm: float, preload_mm: float) -> float:
    """Sag of a linear spring: zero while the preload bears more than the load.

    Raises
    ------
    ValueError
        The rate is not above zero, or a figure is missing.
    """
    require_positive("spring rate", rate_n_per_mm, "N/mm")
    require_finite("load", load_n)
    require_finite("preload", preload_mm)
    return max(0.0, load_n / rate_n_per_mm - preload_mm)


@dataclass(frozen=True)
class PreloadChange:
    """What takes a sag to its target; below zero is less preload."""

    preload_change_mm: float
    turns: float


def preload_for_sag(
    sag_mm: float, target_mm: float, turn_mm: float, motion_ratio: float = 1.0
) -> PreloadChange:
    """Preload and turns of the adjuster that take a sag at the wheel to its target.

    Parameters
    ----------
    sag_mm, target_mm : float
        Sag measured and wanted, at the wheel.
    turn_mm : float
        Preload in one turn; about 1 mm is customary [2]_.
    motion_ratio : float
        Shock travel by wheel travel; 1 for a fork.

    Raises
    ------
    ValueError
        A figure is missing, or the turn or the ratio is not above zero.
    """
    require_finite("sag", sag_mm)
    require_finite("target for the sag", target_mm)
    require_positive("preload in one turn", turn_mm, "mm")
    require_positive("motion ratio", motion_ratio)
    change_mm = (sag_mm - target_mm) * motion_ratio
    return PreloadChange(change_mm, change_mm / turn_mm)


def _checked_rates(rates_n_per_mm: Iterable[float]) -> list[float]:
    rates = list(rates_n_per_mm)
    if not rates:
        raise ValueError("There is no spring to reckon with.")
    for rate in rates:
        require_positive("spring rate", rate, "N/mm")
    return rates
