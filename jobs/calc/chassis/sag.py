"""Suspension sag from its readings.

'Static sag' has two meanings in the trade. Here it is the sag of the bike alone; with the rider it is rider
sag.

References
----------
.. [1] Race Tech, Sag: three readings, and starting points by use. A trade guide, no limit.
.. [2] Sport Rider, Set Your Static Sag: the same readings.
"""

import math
from dataclasses import dataclass

from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.calc.units.numbers import format_digits, format_number, require_positive
from jobs.calc.wording import gettext as _

HIGH_STICTION_MM = 10.0  # well above it, bent or dry parts. Rule of thumb, no published source.


@dataclass(frozen=True)
class SagGuide:
    """A customary range of rider sag, a starting point [% of travel]."""

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
    """Sag of one end from its readings.

    Attributes
    ----------
    sag_mm, stiction_mm : float
        Sag and the difference of the two laden readings [mm].
    percent_of_travel : float
        Sag [% of travel]; NaN if the travel is not known.
    """

    sag_mm: float
    stiction_mm: float
    percent_of_travel: float


def compute_sag(
    extended_mm: float,
    pushed_down_mm: float,
    lifted_mm: float,
    travel_mm: float | None = None,
    lengths: LengthFormatter = IN_MM,
) -> Sag:
    """Compute the sag from one unladen and two laden lengths.

    Parameters
    ----------
    extended_mm : float
        Between two marks with the wheel off the ground [mm].
    pushed_down_mm, lifted_mm : float
        The same laden, pushed down and let up slowly, lifted and let down slowly [mm]. Swapping the two makes
        no difference.
    travel_mm : float, optional
        Travel of the wheel [mm].
    lengths : LengthFormatter
        Formats lengths in messages.

    Returns
    -------
    Sag

    Raises
    ------
    ValueError
        A reading is missing, a laden one is longer than the unladen one, or the sag exceeds the travel.

    Notes
    -----
    L₁ - (L₂ + L₃)/2, with the stiction |L₂ - L₃| [1]_, [2]_.
    """
    for what, value in (
        ("unloaded reading", extended_mm),
        ("reading after pushing down", pushed_down_mm),
        ("reading after lifting", lifted_mm),
    ):
        require_positive(what, value, "mm")
    if max(pushed_down_mm, lifted_mm) > extended_mm:
        raise ValueError(
            _("A reading with load is longer than the unloaded reading. Check that they are not swapped.")
        )
    sag_mm = extended_mm - (pushed_down_mm + lifted_mm) / 2
    percent = math.nan
    if travel_mm is not None:
        require_positive("travel", travel_mm, "mm")
        if sag_mm > travel_mm:
            sag, travel = lengths.format_coarse(sag_mm), lengths.format_coarse(travel_mm)
            text = _(
                "Sag of %(sag)s %(unit)s is more than the travel of %(travel)s %(unit)s. Check the readings."
            )
            raise ValueError(text % {"sag": sag, "travel": travel, "unit": lengths.unit})
        percent = 100 * sag_mm / travel_mm
    return Sag(sag_mm, abs(pushed_down_mm - lifted_mm), percent)


def static_sag_mm(extended_mm: float, free_mm: float) -> float:
    """Compute the sag under the bike's own mass from one reading.

    Parameters
    ----------
    extended_mm, free_mm : float
        Between two marks with the wheel off the ground, and with the bike on its wheels [mm].

    Returns
    -------
    float
        Static sag [mm].

    Raises
    ------
    ValueError
        A reading is missing, or the bike is taller on its wheels than off them.

    Notes
    -----
    L₁ - L [2]_.
    """
    return compute_sag(extended_mm, free_mm, free_mm).sag_mm


def sag_hints(measured: Sag, guide: SagGuide | None, lengths: LengthFormatter = IN_MM) -> list[str]:
    """List what a customary range suggests: starting points, no limits.

    Parameters
    ----------
    measured : Sag
        Rider sag [mm], [%].
    guide : SagGuide or None
        Range for the use and the end [% of travel]; None for none.
    lengths : LengthFormatter
        Formats lengths in the hints.

    Returns
    -------
    list of str

    Notes
    -----
    Sag outside the range of the guide [1]_; stiction above 10 mm, a rule of thumb, no published source.
    """
    hints = []
    if measured.stiction_mm > HIGH_STICTION_MM:
        apart = f"{lengths.format_coarse(measured.stiction_mm)} {lengths.unit}"
        text = _("The two readings are %(apart)s apart. Check for dry seals or bent parts.")
        hints.append(text % {"apart": apart})
    if guide is None or math.isnan(measured.percent_of_travel):
        return hints
    share_pct = round(measured.percent_of_travel, 1)  # judged as it is shown: 33.0 % is not more than 33 %
    values = {
        "share": format_number(share_pct, 1),
        "low": format_digits(guide.low_pct),
        "high": format_digits(guide.high_pct),
    }
    if share_pct > guide.high_pct:
        text = _(
            "%(share)s %% is more than the usual %(low)s to %(high)s %%. Add preload or fit a stiffer spring."
        )
        hints.append(text % values)
    elif share_pct < guide.low_pct:
        text = _(
            "%(share)s %% is less than the usual %(low)s to %(high)s %%. Reduce preload or fit a "
            "softer spring."
        )
        hints.append(text % values)
    return hints
