"""Valve clearances: judge a reading, turn an adjuster screw, derive a closing clearance.

Lengths are compared as whole nanometres, so that a limit met exactly counts as met whatever the binary
fraction of 0.1 is.
"""

import math
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from jobs.calc.units.length_format import IN_MM, LengthFormatter, format_mm
from jobs.calc.units.numbers import require_finite, require_positive
from jobs.calc.wording import gettext as _

Millimetres = float | Decimal
NANOMETRES_PER_MM = 1_000_000

MAX_CLEARANCE_MM = 3.0  # more is a value in another unit
COLD_BELOW_C = 35.0  # published in a trade guide to valve clearances as 35 °C / 95 °F
ON_TARGET_WITHIN_MM = 0.01
FEELER_STEP_MM = (0.01, 0.02)  # between blades near a limit. Rule of thumb, no published source.
# Two careful readings with blades may differ by this much. Rule of thumb, no published source.
AS_LEFT_WITHIN_MM = 0.02
# Half width of the 95 % interval of one reading if two differ by up to that in 19 of 20 cases: the difference
# of two scatters √2 times as much as one (ISO 5725-6:1994, 4.1, from memory).
READING_WITHIN_MM = AS_LEFT_WITHIN_MM / math.sqrt(2)


def to_nanometres(length_mm: Millimetres) -> int:
    """Convert a length to whole nanometres.

    Parameters
    ----------
    length_mm : float or Decimal
        Length [mm].

    Returns
    -------
    int
        Length [nm], rounded to the nearest.

    Raises
    ------
    ValueError
        The length is NaN or infinite.

    Notes
    -----
    1 mm = 10⁶ nm. Source: SI Brochure.
    """
    require_finite("length", float(length_mm))
    return round(float(length_mm) * NANOMETRES_PER_MM)


def to_millimetres(length_nm: int) -> float:
    """Convert whole nanometres to millimetres.

    Parameters
    ----------
    length_nm : int
        Length [nm].

    Returns
    -------
    float
        Length [mm].

    Notes
    -----
    1 mm = 10⁶ nm. Source: SI Brochure.
    """
    return length_nm / NANOMETRES_PER_MM


@dataclass(frozen=True)
class Reading:
    """One measured clearance: a value, or a bracket of two feeler blades.

    Parameters
    ----------
    value_mm : float or Decimal, optional
        The clearance [mm].
    goes_mm, not_goes_mm : float or Decimal, optional
        The thickest blade that goes and the thinnest that does not [mm].

    Raises
    ------
    ValueError
        Neither or both of value and bracket are given, a length is missing, below zero or above 3 mm, or
        the blade that does not go is no thicker than the one that goes.
    """

    value_mm: Millimetres | None = None
    goes_mm: Millimetres | None = None
    not_goes_mm: Millimetres | None = None

    def __post_init__(self) -> None:
        bracket = (self.goes_mm, self.not_goes_mm)
        if self.value_mm is not None and bracket != (None, None):
            raise ValueError("Enter either the clearance or the two blades, not both.")
        if self.value_mm is None and None in bracket:
            raise ValueError("Enter the clearance, or both blades (goes and does not go).")
        for length_mm in (self.value_mm, *bracket):
            if length_mm is not None:
                _require_plausible(float(length_mm))
        if self.value_mm is None and self.low_mm >= self.high_mm:
            raise ValueError("The blade that does not go must be thicker than the one that goes.")

    @property
    def is_bracket(self) -> bool:
        return self.value_mm is None

    @property
    def low_mm(self) -> float:
        """Smallest possible clearance [mm]."""
        return self._ends_mm[0]

    @property
    def high_mm(self) -> float:
        """Largest possible clearance [mm]; a bracket excludes this end."""
        return self._ends_mm[1]

    @property
    def _ends_mm(self) -> tuple[float, float]:
        if self.goes_mm is not None and self.not_goes_mm is not None:
            return float(self.goes_mm), float(self.not_goes_mm)
        value_mm = math.nan if self.value_mm is None else float(self.value_mm)
        return value_mm, value_mm

    @property
    def best_mm(self) -> float:
        """The value, or the middle of the bracket [mm]."""
        return to_millimetres(to_nanometres((self.low_mm + self.high_mm) / 2))

    @property
    def half_width_mm(self) -> float:
        """Half the width of the bracket [mm]; zero for a value."""
        return (self.high_mm - self.low_mm) / 2

    @property
    def standard_uncertainty_mm(self) -> float:
        """Standard uncertainty of a bracket, width/√12 [mm], every value in it equally likely.

        JCGM 100:2008, 4.3.7.
        """
        return (self.high_mm - self.low_mm) / math.sqrt(12)

    def describe(self, lengths: LengthFormatter = IN_MM) -> str:
        """Return the reading as text, its lengths written by ``lengths``."""
        return lengths.format_range(self.low_mm, self.high_mm) if self.is_bracket else lengths(self.low_mm)


class ClearanceVerdict(StrEnum):
    """Verdict on a reading; the value is the text shown."""

    TIGHT = "tight"
    OFF_TARGET = "in range, off target"
    ON_TARGET = "on target"
    IN_RANGE = "in range"  # no target is set
    LOOSE = "loose"
    CANNOT_TELL = "not certain"

    @property
    def is_out(self) -> bool:
        """True if the clearance is certainly out of its range."""
        return self in (ClearanceVerdict.TIGHT, ClearanceVerdict.LOOSE)

    @property
    def is_in(self) -> bool:
        """True if the clearance is certainly in its range."""
        return not self.is_out and self is not ClearanceVerdict.CANNOT_TELL


@dataclass(frozen=True)
class Judgement:
    """A reading with its range [mm] and the verdict on it."""

    verdict: ClearanceVerdict
    reading: Reading
    low_mm: Millimetres
    high_mm: Millimetres

    @property
    def limit_met(self) -> str:
        """'lower' or 'upper' if the clearance is exactly at that limit, which is still in range."""
        if self.reading.is_bracket:
            return ""
        value = to_nanometres(self.reading.low_mm)
        limits = {"lower": to_nanometres(self.low_mm), "upper": to_nanometres(self.high_mm)}
        return next((end for end, limit in limits.items() if value == limit), "")

    @property
    def is_near_limit(self) -> bool:
        """True if the verdict is certain by the reading, but another reading may be beyond a limit.

        An end of the reading is less than READING_WITHIN_MM from a limit: neither in range nor out of it is
        proven there (guard bands, JCGM 106:2012, 8.3, from memory).
        """
        if self.verdict is ClearanceVerdict.CANNOT_TELL:
            return False
        ends = (self.reading.low_mm, self.reading.high_mm)
        return any(
            abs(to_nanometres(end) - to_nanometres(limit)) < to_nanometres(READING_WITHIN_MM)
            for end in ends
            for limit in (self.low_mm, self.high_mm)
        )

    @property
    def word(self) -> str:
        if not self.limit_met:
            return self.verdict.value
        inside = "on target" if self.verdict is ClearanceVerdict.ON_TARGET else "in range"
        return f"{inside}, at {self.limit_met} limit"

    def hint(self, lengths: LengthFormatter = IN_MM) -> str:
        """Return what would make the verdict certain, or '' if it is."""
        if self.verdict is not ClearanceVerdict.CANNOT_TELL:
            return ""
        span = lengths.format_range(self.low_mm, self.high_mm)
        return f"{self.reading.describe(lengths)} may be inside or outside {span}. Use finer blades."


def judge(
    reading: Reading,
    low_mm: Millimetres,
    high_mm: Millimetres,
    target_mm: Millimetres | None = None,
    tolerance_mm: Millimetres = ON_TARGET_WITHIN_MM,
) -> Judgement:
    """Judge a reading by its range, and by the target if one is set.

    Parameters
    ----------
    reading : Reading
        Value or bracket.
    low_mm, high_mm : float or Decimal
        The range [mm]; both ends are inside it.
    target_mm : float or Decimal, optional
        Target clearance [mm].
    tolerance_mm : float or Decimal
        Largest distance from the target that still counts as on it [mm].

    Returns
    -------
    Judgement
        The verdict with the reading and the range.

    Raises
    ------
    ValueError
        Lower limit above the upper one, or target outside the range.

    Notes
    -----
    A bracket means goes ≤ c < not_goes. It is tight if not_goes ≤ low, loose if goes > high, in range
    if low ≤ goes and not_goes ≤ high, and otherwise not certain. In range it is on target if
    |(goes + not_goes)/2 − target| ≤ tolerance. This is interval logic, exact in whole nanometres.
    """
    check_range(low_mm, high_mm, target_mm)
    low, high = to_nanometres(low_mm), to_nanometres(high_mm)
    least, most = to_nanometres(reading.low_mm), to_nanometres(reading.high_mm)
    # The clearance is less than the blade that does not go, so a bracket that ends at the limit is tight.
    if most < low or (reading.is_bracket and most == low):
        verdict = ClearanceVerdict.TIGHT
    elif least > high:
        verdict = ClearanceVerdict.LOOSE
    elif least < low or most > high:
        verdict = ClearanceVerdict.CANNOT_TELL
    elif target_mm is None:
        verdict = ClearanceVerdict.IN_RANGE
    else:
        distance = abs(to_nanometres(reading.best_mm) - to_nanometres(target_mm))
        on_target = distance <= to_nanometres(tolerance_mm)
        verdict = ClearanceVerdict.ON_TARGET if on_target else ClearanceVerdict.OFF_TARGET
    return Judgement(verdict, reading, low_mm, high_mm)


def check_range(low_mm: Millimetres, high_mm: Millimetres, target_mm: Millimetres | None = None) -> None:
    """Check that the limits are in order and the target lies between them.

    Parameters
    ----------
    low_mm, high_mm : float or Decimal
        The range [mm].
    target_mm : float or Decimal, optional
        Target clearance [mm].

    Raises
    ------
    ValueError
        Lower limit above the upper one, or target outside the range.

    Notes
    -----
    low ≤ target ≤ high, ends included, in whole nanometres. Source: interval logic.
    """
    if to_nanometres(low_mm) > to_nanometres(high_mm):
        raise ValueError("The lower limit must not be above the upper limit.")
    if target_mm is not None and not (
        to_nanometres(low_mm) <= to_nanometres(target_mm) <= to_nanometres(high_mm)
    ):
        raise ValueError(
            f"The target of {format_mm(target_mm)} mm is outside the range of "
            f"{format_mm(low_mm)} to {format_mm(high_mm)} mm."
        )


def engine_temperature_warning(engine_temperature_c: float) -> str | None:
    """Return a warning if the engine is too warm to measure clearances, or None.

    Parameters
    ----------
    engine_temperature_c : float
        Engine temperature [°C].

    Returns
    -------
    str or None
        The warning from 35 °C up.

    Notes
    -----
    Warns if T ≥ 35 °C. Source: a trade guide to valve clearances gives 35 °C (95 °F) as the limit of a cold
    engine.
    """
    if engine_temperature_c < COLD_BELOW_C:
        return None
    return (
        f"At {engine_temperature_c:.0f} °C the engine is too warm. Clearances apply to a cold engine, "
        f"below {COLD_BELOW_C:.0f} °C."
    )


def compute_turns_in(clearance_mm: Millimetres, target_mm: Millimetres, pitch_mm: Millimetres) -> float:
    """Compute the turns of an adjuster screw that bring a clearance to its target.

    Parameters
    ----------
    clearance_mm, target_mm : float or Decimal
        Clearance measured and wanted [mm].
    pitch_mm : float or Decimal
        Pitch of the screw [mm per turn].

    Returns
    -------
    float
        Turns in; negative turns are out.

    Raises
    ------
    ValueError
        Pitch not above zero.

    Notes
    -----
    The screw bears on the valve's tip, so turning it in closes the gap: turns = (clearance − target)/pitch.
    Tightening the locknut shifts the screw again: measure after that. Source: geometry of a thread.
    """
    require_positive("pitch of the adjuster screw", float(pitch_mm), "mm")
    return (float(clearance_mm) - float(target_mm)) / float(pitch_mm)


def derive_closing_clearance(unloaded: Reading, loaded: Reading) -> Reading:
    """Derive the closing clearance of a desmodromic valve from the opener's two gaps.

    Parameters
    ----------
    unloaded, loaded : Reading
        The opener's gap [mm] with the closing rocker relaxed, and with its play taken up.

    Returns
    -------
    Reading
        The closing clearance [mm]; a bracket if either gap is one.

    Raises
    ------
    ValueError
        The closing clearance is or may be below zero.

    Notes
    -----
    closing = loaded − unloaded; of brackets from loaded.low − unloaded.high to loaded.high − unloaded.low.
    Below zero the closer holds the valve off its seat, and it burns. Source: geometry.
    """
    least = to_nanometres(loaded.low_mm) - to_nanometres(unloaded.high_mm)
    most = to_nanometres(loaded.high_mm) - to_nanometres(unloaded.low_mm)
    if most < 0:
        raise ValueError(
            "The closing clearance is below zero. Check whether the two gaps were swapped. If not, the valve "
            "is held off its seat and will burn."
        )
    if least < 0:
        raise ValueError(
            "With these blades the closing clearance may be below zero, which would hold the valve off its "
            "seat. Use finer blades."
        )
    if least == most:
        return Reading(to_millimetres(least))
    return Reading(None, to_millimetres(least), to_millimetres(most))


@dataclass(frozen=True)
class AsLeftCheck:
    """A clearance as left compared with the one the shim plan predicted.

    Attributes
    ----------
    difference_mm : float
        As left less predicted [mm]; of a bracket from its nearer end, zero inside it.
    predicted_mm : float or Decimal
        Clearance the plan predicted [mm].
    as_left : Reading
    """

    difference_mm: float
    predicted_mm: Millimetres
    as_left: Reading

    def describe(self, lengths: LengthFormatter = IN_MM) -> str:
        """Return a warning if two careful readings cannot differ so much, or ''."""
        if abs(to_nanometres(self.difference_mm)) <= to_nanometres(AS_LEFT_WITHIN_MM):
            return ""
        text = (
            _(
                "%(reading)s is %(difference)s looser than the %(predicted)s predicted. Check for a wrong "
                "shim, a shim not seated or the wrong valve. Measure the shim."
            )
            if self.difference_mm > 0
            else _(
                "%(reading)s is %(difference)s tighter than the %(predicted)s predicted. Check for a wrong "
                "shim, a shim not seated or the wrong valve. Measure the shim."
            )
        )
        return text % {
            "reading": self.as_left.describe(lengths),
            "difference": lengths(abs(self.difference_mm)),
            "predicted": lengths(self.predicted_mm),
        }


def compare_as_left(predicted_mm: Millimetres, as_left: Reading) -> AsLeftCheck:
    """Compare a clearance as left with the one the shim plan predicted.

    Parameters
    ----------
    predicted_mm : float or Decimal
        Predicted clearance [mm].
    as_left : Reading
        The clearance measured after the work.

    Returns
    -------
    AsLeftCheck
        The difference, and its warning above 0.02 mm.

    Notes
    -----
    The limit of 0.02 mm is a rule of thumb, no published source.
    """
    predicted = to_nanometres(predicted_mm)
    nearest = min(max(predicted, to_nanometres(as_left.low_mm)), to_nanometres(as_left.high_mm))
    return AsLeftCheck(to_millimetres(nearest - predicted), predicted_mm, as_left)


def _require_plausible(clearance_mm: float) -> None:
    """Refuse a clearance below zero or above 3 mm."""
    require_finite("clearance", clearance_mm)
    if clearance_mm < 0:
        raise ValueError("A clearance cannot be below zero.")
    if clearance_mm > MAX_CLEARANCE_MM:
        raise ValueError(
            f"{clearance_mm:g} mm is not a plausible clearance. Check the unit and the decimal point."
        )
