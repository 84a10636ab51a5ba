"""Shims: which thickness a valve needs, which made size comes nearest, and what a mark means.

A thicker shim leaves less clearance, one for one: new = fitted + measured - target. It holds for shims
over and under a bucket, under a finger follower with a ratio of 1 at the shim, and for the opener
and the closer of a desmodromic valve alike (each against its own clearance).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from jobs.calc.clearances.readings import Millimetres, check_range, format_mm, millimetres, nanometres

THINNEST_SHIM_MM, THICKEST_SHIM_MM = 0.5, 9.0  # beyond these, a slip of the pen


def shim_change_mm(measured_mm: Millimetres, target_mm: Millimetres) -> float:
    """How much thicker (below zero: thinner) the shim must be."""
    return millimetres(nanometres(measured_mm) - nanometres(target_mm))


def new_shim_mm(fitted_mm: Millimetres, measured_mm: Millimetres, target_mm: Millimetres) -> float:
    """The thickness that gives the target exactly."""
    return millimetres(nanometres(fitted_mm) + nanometres(measured_mm) - nanometres(target_mm))


def clearance_with_mm(fitted_mm: Millimetres, measured_mm: Millimetres, new_mm: Millimetres) -> float:
    """The clearance that another shim in the same place will leave."""
    return millimetres(nanometres(fitted_mm) + nanometres(measured_mm) - nanometres(new_mm))


@dataclass(frozen=True)
class MadeSeries:
    """The sizes a maker sells.

    Raises
    ------
    ValueError
        The thick end is below the thin one, or the step is not above zero.
    """

    thin_mm: Millimetres
    thick_mm: Millimetres
    step_mm: Millimetres

    def __post_init__(self) -> None:
        if nanometres(self.step_mm) <= 0:
            raise ValueError("The step between shim sizes must be above zero.")
        if not 0 < nanometres(self.thin_mm) <= nanometres(self.thick_mm):
            raise ValueError("The thinnest shim must be above zero and no thicker than the thickest.")

    @cached_property
    def sizes_nm(self) -> range:
        step = nanometres(self.step_mm)
        return range(nanometres(self.thin_mm), nanometres(self.thick_mm) + 1, step)

    @property
    def sizes_mm(self) -> list[float]:
        return [millimetres(size) for size in self.sizes_nm]

    def __len__(self) -> int:
        return len(self.sizes_nm)

    def __contains__(self, thickness_mm: Millimetres) -> bool:
        return nanometres(thickness_mm) in self.sizes_nm


@dataclass(frozen=True)
class ShimValve:
    """One clearance that a shim sets: where it is, what was found there, and what is wanted.

    Raises
    ------
    ValueError
        The range is upside down, the target lies outside it, or a shim's thickness is not believable.
    """

    key: str
    fitted_mm: Millimetres  # the measured thickness where there is one, else the marked one
    measured_mm: Millimetres  # the value, or the middle of a bracket
    low_mm: Millimetres
    high_mm: Millimetres
    target_mm: Millimetres | None = None  # the middle of the range where none is set
    label: str = ""
    camshaft: str = ""
    half_width_mm: Millimetres = 0.0  # of a bracket

    def __post_init__(self) -> None:
        check_range(self.low_mm, self.high_mm, self.target_mm)
        check_thickness(self.fitted_mm)

    @property
    def name(self) -> str:
        return self.label or self.key

    @property
    def total_nm(self) -> int:
        """Shim and clearance together: what stays whichever shim is fitted."""
        return nanometres(self.fitted_mm) + nanometres(self.measured_mm)

    @property
    def goal_nm(self) -> int:
        if self.target_mm is None:
            return (nanometres(self.low_mm) + nanometres(self.high_mm)) // 2
        return nanometres(self.target_mm)

    def fits(self, shim_nm: int) -> bool:
        """Whether this shim leaves a clearance inside the range, ends included."""
        return nanometres(self.low_mm) <= self.total_nm - shim_nm <= nanometres(self.high_mm)

    def deviation_nm(self, shim_nm: int) -> int:
        return abs(self.total_nm - shim_nm - self.goal_nm)

    @property
    def certainly_in_range(self) -> bool:
        """Whether what was found is inside the range, both ends of a bracket included."""
        found, half = nanometres(self.measured_mm), nanometres(self.half_width_mm)
        return nanometres(self.low_mm) <= found - half and found + half <= nanometres(self.high_mm)


def check_thickness(thickness_mm: Millimetres) -> None:
    """Refuse a shim that cannot be.

    Raises
    ------
    ValueError
        The thickness is outside 0.5 to 9 mm.
    """
    if not THINNEST_SHIM_MM <= float(thickness_mm) <= THICKEST_SHIM_MM:
        raise ValueError(
            f"A shim of {float(thickness_mm):g} mm is not believable; shims are "
            f"{THINNEST_SHIM_MM:g} to {THICKEST_SHIM_MM:g} mm thick."
        )


def nearest_made_mm(valve: ShimValve, series: MadeSeries) -> float | None:
    """The made size whose clearance comes nearest the target inside the range.

    Of two equally near, the thinner: it leaves the looser clearance. None where no made size gives a
    clearance inside the range.
    """
    size = nearest_made_nm(valve, series)
    return None if size is None else millimetres(size)


def nearest_made_nm(valve: ShimValve, series: MadeSeries) -> int | None:
    sizes = series.sizes_nm
    ideal = valve.total_nm - valve.goal_nm
    below = (ideal - sizes.start) // sizes.step  # the made size just under the ideal one
    near = {min(max(i, 0), len(sizes) - 1) for i in (below, below + 1)}
    fitting = [sizes[i] for i in sorted(near) if valve.fits(sizes[i])]
    return min(fitting, key=valve.deviation_nm, default=None)


def round_to_printed_table(number: int) -> int:
    """Round a calculated shim number (hundredths) to the 5s that are sold, as a maker's table prints it.

    Last digit 0 to 2 becomes 0, 3 to 6 becomes 5, 7 to 9 the next 0; unlike the nearest 5, a 7 goes up.
    Source: Yamaha XP500 service manual, periodic maintenance, p. 3-7.
    """
    tens, digit = divmod(number, 10)
    return tens * 10 + (0 if digit <= 2 else 5 if digit <= 6 else 10)


@dataclass(frozen=True)
class Mark:
    """What a shim's marking says, and what else it may mean."""

    thickness_mm: float
    could_be_mm: tuple[float, ...]  # every thickness it may stand for
    question: str | None = None  # what to do where it is more than one


def read_mark(text: str, series: MadeSeries | None = None) -> Mark:
    """Read a marking: ``'155'``, ``'1.55'``, ``'1,55'`` and ``'1.550'`` are all 1.55 mm.

    Parameters
    ----------
    text : str
        Three digits are hundredths, four are thousandths, a point or comma makes millimetres.
    series : MadeSeries, optional
        The sizes made. In a 0.025 mm series the third decimal is left off, up or down: a mark of 177
        or 178 may be a shim of 1.775 mm. Factories also fit sizes that are not sold.

    Raises
    ------
    ValueError
        The text is no marking, or not the thickness of a shim.
    """
    plain = text.strip().casefold().removesuffix("mm").strip().replace(",", ".")
    whole, point, decimals = plain.partition(".")
    if not (whole + decimals).isdecimal() or not (whole + decimals).isascii() or (point and not decimals):
        raise ValueError(f"'{text}' is not a shim marking; write 155 or 1.55.")
    if not point and len(whole) not in (3, 4):
        raise ValueError(f"'{text}' is not a shim marking; three digits are hundredths, as 155 for 1.55 mm.")
    marked_mm = float(plain) if point else float(whole) / 10 ** (len(whole) - 1)
    check_thickness(marked_mm)
    if series is None or marked_mm in series:
        return Mark(marked_mm, (marked_mm,))
    hidden = [millimetres(size) for size in _sizes_under_mark(nanometres(marked_mm), series)]
    if not hidden:
        question = f"{format_mm(marked_mm)} mm is not among the sizes made: measure this shim."
        return Mark(marked_mm, (marked_mm,), question)
    sizes = " or ".join(f"{size:.3f}" for size in hidden)
    question = f"The mark {text.strip()} may be {format_mm(marked_mm)} or {sizes} mm: measure this shim."
    return Mark(hidden[0], (*hidden, marked_mm), question)


def _sizes_under_mark(marked_nm: int, series: MadeSeries) -> Sequence[int]:
    """Made sizes with a third decimal that are within a hundredth of a two-decimal mark."""
    hundredth = 10_000
    if marked_nm % hundredth:
        return []
    return [size for size in series.sizes_nm if size % hundredth and abs(size - marked_nm) < hundredth]
