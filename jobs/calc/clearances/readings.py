"""Valve clearances: what a reading says, and what turning a screw or a receding seat does to it.

Millimetres are compared as whole nanometres, so that a limit met exactly is met whatever binary
fractions make of 0.1.
"""

import math
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from jobs.calc.units.length_format import IN_MM, LengthFormatter, format_mm
from jobs.calc.units.numbers import require_finite, require_positive

Millimetres = float | Decimal
NANOMETRES_PER_MM = 1_000_000

LARGEST_CLEARANCE_MM = 3.0  # beyond it, a figure in another unit
COLD_BELOW_C = 35.0  # published in a trade guide to valve clearances as 35 °C / 95 °F
ON_TARGET_WITHIN_MM = 0.01
FEELER_STEP_MM = (0.01, 0.02)  # between blades near a limit; common practice, no source
AS_LEFT_WITHIN_MM = 0.02  # what two careful readings with blades may differ by; common practice, no source


def nanometres(millimetres: Millimetres) -> int:
    """A length in whole nanometres."""
    return round(float(millimetres) * NANOMETRES_PER_MM)


def millimetres(nanometres: int) -> float:
    return nanometres / NANOMETRES_PER_MM


@dataclass(frozen=True)
class Reading:
    """One clearance as measured: a value, or a bracket of two blades.

    The bracket is the largest blade that goes and the smallest that does not.

    Raises
    ------
    ValueError
        Neither or both are given, or a figure cannot be.
    """

    value_mm: Millimetres | None = None
    goes_mm: Millimetres | None = None
    not_goes_mm: Millimetres | None = None

    def __post_init__(self) -> None:
        bracket = (self.goes_mm, self.not_goes_mm)
        if self.value_mm is not None and bracket != (None, None):
            raise ValueError("Enter either the clearance or the two blades, not both.")
        if self.value_mm is None and None in bracket:
            raise ValueError("Enter the clearance, or both the blade that goes and the one that does not.")
        for figure in (self.value_mm, *bracket):
            if figure is not None:
                _require_believable(float(figure))
        if self.value_mm is None and self.low_mm >= self.high_mm:
            raise ValueError("The blade that does not go must be thicker than the one that goes.")

    @property
    def is_bracket(self) -> bool:
        return self.value_mm is None

    @property
    def low_mm(self) -> float:
        """The least it can be."""
        return self._ends_mm[0]

    @property
    def high_mm(self) -> float:
        """The most it can be; of a bracket, just short of this."""
        return self._ends_mm[1]

    @property
    def _ends_mm(self) -> tuple[float, float]:
        if self.goes_mm is not None and self.not_goes_mm is not None:
            return float(self.goes_mm), float(self.not_goes_mm)
        value_mm = math.nan if self.value_mm is None else float(self.value_mm)
        return value_mm, value_mm

    @property
    def best_mm(self) -> float:
        """The value, or the middle of the bracket."""
        return millimetres(nanometres((self.low_mm + self.high_mm) / 2))

    @property
    def half_width_mm(self) -> float:
        return (self.high_mm - self.low_mm) / 2

    @property
    def standard_uncertainty_mm(self) -> float:
        """Of a bracket, anything in it being as likely: its width by √12 (JCGM 100:2008, 4.3.7)."""
        return (self.high_mm - self.low_mm) / math.sqrt(12)

    def told(self, lengths: LengthFormatter = IN_MM) -> str:
        return lengths.format_range(self.low_mm, self.high_mm) if self.is_bracket else lengths(self.low_mm)

    def __str__(self) -> str:
        return self.told()


class Verdict(StrEnum):
    """What a reading says, in the words shown."""

    BELOW = "below range"
    OFF_TARGET = "in range, off target"
    ON_TARGET = "on target"
    IN_RANGE = "in range"  # where no target is set
    ABOVE = "above range"
    CANNOT_TELL = "cannot tell"


# A shape for each word, so that nothing is told by colour alone.
SHAPES = {
    Verdict.BELOW: "triangle-down",
    Verdict.OFF_TARGET: "ring",
    Verdict.ON_TARGET: "disc",
    Verdict.IN_RANGE: "ring",
    Verdict.ABOVE: "triangle-up",
    Verdict.CANNOT_TELL: "diamond",
}


@dataclass(frozen=True)
class Judgement:
    """A reading held against its range and target."""

    verdict: Verdict
    reading: Reading
    low_mm: Millimetres
    high_mm: Millimetres
    target_mm: Millimetres | None = None

    @property
    def word(self) -> str:
        return self.verdict.value

    @property
    def shape(self) -> str:
        return SHAPES[self.verdict]

    @property
    def certainty(self) -> str:
        """'in', 'out' or 'undecided', of the range."""
        if self.verdict is Verdict.CANNOT_TELL:
            return "undecided"
        return "out" if self.verdict in (Verdict.BELOW, Verdict.ABOVE) else "in"

    @property
    def sentence(self) -> str:
        return self.told()

    def told(self, lengths: LengthFormatter = IN_MM) -> str:
        """The judgement in a sentence, its lengths as ``lengths`` writes them."""
        reading, span = self.reading.told(lengths), lengths.format_range(self.low_mm, self.high_mm)
        plain = {
            Verdict.BELOW: f"{reading} is tighter than {span}.",
            Verdict.ABOVE: f"{reading} is looser than {span}.",
            Verdict.CANNOT_TELL: f"{reading} may lie inside or outside {span}: use finer blades.",
        }
        if self.verdict in plain:
            return plain[self.verdict]
        if self.target_mm is None:
            return f"{reading} is inside {span}."
        goal = f"the target of {lengths(self.target_mm)}"
        if self.verdict is Verdict.ON_TARGET:
            return f"{reading} is on {goal}."
        off = nanometres(self.reading.best_mm) - nanometres(self.target_mm)
        way = "looser" if off > 0 else "tighter"
        return f"{reading} is inside {span}, {lengths(millimetres(abs(off)))} {way} than {goal}."


def judge(
    reading: Reading,
    low_mm: Millimetres,
    high_mm: Millimetres,
    target_mm: Millimetres | None = None,
    tolerance_mm: Millimetres = ON_TARGET_WITHIN_MM,
) -> Judgement:
    """Hold a reading against its range, and against the blueprint target where one is set.

    Parameters
    ----------
    reading : Reading
        A bracket is judged by both its ends: wholly inside, wholly outside, or cannot tell. Inside the
        range, its middle is held against the target.
    low_mm, high_mm : float or Decimal
        The range; both ends are inside it.
    target_mm : float or Decimal, optional
        The blueprint target.
    tolerance_mm : float or Decimal
        How far from the target still counts as on it.

    Raises
    ------
    ValueError
        The range is upside down, or the target lies outside it.
    """
    low, high = nanometres(low_mm), nanometres(high_mm)
    check_range(low_mm, high_mm, target_mm)
    least, most = nanometres(reading.low_mm), nanometres(reading.high_mm)
    limits = (reading, low_mm, high_mm, target_mm)
    # The blade that does not go is thicker than the gap: a gap that stops it at the lower limit is below.
    if most < low or (reading.is_bracket and most == low):
        return Judgement(Verdict.BELOW, *limits)
    if least > high:
        return Judgement(Verdict.ABOVE, *limits)
    if least < low or most > high:
        return Judgement(Verdict.CANNOT_TELL, *limits)
    if target_mm is None:
        return Judgement(Verdict.IN_RANGE, *limits)
    off = nanometres(reading.best_mm) - nanometres(target_mm)
    on_target = abs(off) <= nanometres(tolerance_mm)
    return Judgement(Verdict.ON_TARGET if on_target else Verdict.OFF_TARGET, *limits)


def check_range(low_mm: Millimetres, high_mm: Millimetres, target_mm: Millimetres | None = None) -> None:
    """Refuse a range that is upside down or a target outside it.

    Raises
    ------
    ValueError
        As said.
    """
    if nanometres(low_mm) > nanometres(high_mm):
        raise ValueError("The lower limit of the clearance is above the upper one.")
    if target_mm is not None and not nanometres(low_mm) <= nanometres(target_mm) <= nanometres(high_mm):
        raise ValueError(
            f"The target of {format_mm(target_mm)} mm is outside the range of "
            f"{format_mm(low_mm)} to {format_mm(high_mm)} mm."
        )


def range_from_nominal(nominal_mm: Millimetres, plus_minus_mm: Millimetres) -> tuple[float, float]:
    """Lower and upper limit [mm] of a clearance printed as nominal ± tolerance.

    Raises
    ------
    ValueError
        The tolerance is below zero or larger than the nominal clearance.
    """
    nominal, spread = nanometres(nominal_mm), nanometres(plus_minus_mm)
    if not 0 <= spread <= nominal:
        raise ValueError("The ± of a clearance lies between zero and the clearance itself.")
    return millimetres(nominal - spread), millimetres(nominal + spread)


def question_engine_temperature(engine_temperature_c: float) -> str | None:
    """A warning where the engine is too warm to measure, or None: it must be below 35 °C."""
    if engine_temperature_c < COLD_BELOW_C:
        return None
    return (
        f"At {engine_temperature_c:.0f} °C the engine is too warm: clearances are given for a cold engine, "
        f"below {COLD_BELOW_C:.0f} °C."
    )


def question_feeler_step(reading: Reading) -> str | None:
    """A hint where the two blades of a bracket lie too far apart to judge by near a limit, or None."""
    finest, coarsest = FEELER_STEP_MM
    apart_nm = nanometres(reading.high_mm) - nanometres(reading.low_mm)
    if not reading.is_bracket or apart_nm <= nanometres(coarsest):
        return None
    return (
        f"The two blades are {format_mm(millimetres(apart_nm))} mm apart: near a limit, steps of "
        f"{finest:g} to {coarsest:g} mm tell more."
    )


@dataclass(frozen=True)
class ScrewTurn:
    """What turning an adjuster screw does."""

    turns_in: float  # out is negative
    change_mm: float
    clearance_mm: float  # afterwards; below zero the valve is held off its seat


def turn_screw(clearance_mm: Millimetres, pitch_mm: Millimetres, turns_in: float) -> ScrewTurn:
    """Turn a screw that bears on the valve's tip: turning in closes the gap by pitch × turns.

    Tightening the locknut shifts it again: measure after that.

    Raises
    ------
    ValueError
        The pitch is not above zero.
    """
    require_positive("pitch of the adjuster screw", float(pitch_mm), "mm")
    change = -nanometres(float(pitch_mm) * turns_in)
    return ScrewTurn(turns_in, millimetres(change), millimetres(nanometres(clearance_mm) + change))


def turns_needed(clearance_mm: Millimetres, target_mm: Millimetres, pitch_mm: Millimetres) -> ScrewTurn:
    """The turns that take a clearance to its target; negative turns are out.

    Raises
    ------
    ValueError
        The pitch is not above zero.
    """
    require_positive("pitch of the adjuster screw", float(pitch_mm), "mm")
    return turn_screw(clearance_mm, pitch_mm, (float(clearance_mm) - float(target_mm)) / float(pitch_mm))


@dataclass(frozen=True)
class DesmoClearances:
    """Both clearances of a positively closed valve."""

    opening_mm: float
    closing_mm: float

    @property
    def sum_mm(self) -> float:
        return millimetres(nanometres(self.opening_mm) + nanometres(self.closing_mm))

    @property
    def warning(self) -> str | None:
        """What must not stay so: with no closing clearance the valve is held off its seat."""
        if self.closing_mm >= 0:
            return None
        return (
            "The closing clearance is below zero: the valve is held off its seat and will burn, "
            "unless the two gaps were written down the wrong way round."
        )


def desmo_from_gaps(unloaded_mm: Millimetres, loaded_mm: Millimetres) -> DesmoClearances:
    """Both clearances from the opener's gap with the closing rocker relaxed, and with its play taken up."""
    unloaded, loaded = nanometres(unloaded_mm), nanometres(loaded_mm)
    return DesmoClearances(millimetres(unloaded), millimetres(loaded - unloaded))


def closing_from_gaps(unloaded: Reading, loaded: Reading) -> Reading:
    """The closing clearance as a reading, from the opener's two gaps; of brackets, all that it may be.

    Raises
    ------
    ValueError
        It is, or may be, below zero.
    """
    least = desmo_from_gaps(unloaded.high_mm, loaded.low_mm)
    most = desmo_from_gaps(unloaded.low_mm, loaded.high_mm)
    if most.warning:
        raise ValueError(most.warning)
    if least.warning:
        raise ValueError(
            "With these blades the closing clearance may be below zero, which would hold the valve off its "
            "seat: use finer blades."
        )
    if least.closing_mm == most.closing_mm:
        return Reading(least.closing_mm)
    return Reading(None, least.closing_mm, most.closing_mm)


def after_seat_recession(before: DesmoClearances, recession_mm: Millimetres) -> DesmoClearances:
    """Both clearances once the valve has sunk into its seat: opening falls, closing grows, the sum stays."""
    sunk = nanometres(recession_mm)
    return DesmoClearances(
        millimetres(nanometres(before.opening_mm) - sunk), millimetres(nanometres(before.closing_mm) + sunk)
    )


@dataclass(frozen=True)
class AsLeftCheck:
    """A clearance as left against the one the shim plan predicted."""

    difference_mm: float  # as left less predicted; of a bracket, from its nearer end, zero inside it
    predicted_mm: Millimetres
    as_left: Reading
    is_far: bool  # by more than two careful readings may differ

    @property
    def sentence(self) -> str | None:
        return self.told()

    def told(self, lengths: LengthFormatter = IN_MM) -> str | None:
        """A sentence where it is more than two careful readings may differ by."""
        if not self.is_far:
            return None
        way = "looser" if self.difference_mm > 0 else "tighter"
        return (
            f"{self.as_left.told(lengths)} is {lengths(abs(self.difference_mm))} {way} than the "
            f"{lengths(self.predicted_mm)} predicted: wrong shim, not seated, or wrong valve? Measure the "
            "shim and look again."
        )


def compare_as_left(
    predicted_mm: Millimetres, as_left: Reading, within_mm: Millimetres = AS_LEFT_WITHIN_MM
) -> AsLeftCheck:
    """Point out a clearance as left that is not what the plan predicted."""
    predicted = nanometres(predicted_mm)
    nearest = min(max(predicted, nanometres(as_left.low_mm)), nanometres(as_left.high_mm))
    difference = nearest - predicted
    is_far = abs(difference) > nanometres(within_mm)
    return AsLeftCheck(millimetres(difference), predicted_mm, as_left, is_far)


def _require_believable(clearance_mm: float) -> None:
    require_finite("clearance", clearance_mm)
    if clearance_mm < 0:
        raise ValueError("A clearance cannot be below zero.")
    if clearance_mm > LARGEST_CLEARANCE_MM:
        raise ValueError(
            f"A clearance of {clearance_mm:g} mm is not believable. Is it in another unit, "
            "or is a point missing?"
        )
