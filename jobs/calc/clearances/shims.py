"""Shims: the thickness a valve needs, the available size nearest to it, and what a marking means.

A thicker shim takes up clearance one for one. This holds for shims over and under a bucket, under a finger
follower with a ratio of 1 at the shim, and for the opener and the closer of a desmodromic valve, each with
its own clearance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from jobs.calc.clearances.readings import Millimetres, check_range, to_millimetres, to_nanometres
from jobs.calc.units.length_format import format_mm

MIN_SHIM_MM, MAX_SHIM_MM = 0.5, 9.0  # outside these, a typing error


def compute_shim_mm(fitted_mm: Millimetres, measured_mm: Millimetres, target_mm: Millimetres) -> float:
    """Compute the shim thickness that gives the target clearance exactly.

    Parameters
    ----------
    fitted_mm : float or Decimal
        Thickness of the fitted shim [mm].
    measured_mm, target_mm : float or Decimal
        Clearance measured and wanted [mm].

    Returns
    -------
    float
        Thickness of the new shim [mm].

    Notes
    -----
    new = fitted + measured − target. Source: geometry, checked against printed examples of service manuals.
    """
    return to_millimetres(to_nanometres(fitted_mm) + to_nanometres(measured_mm) - to_nanometres(target_mm))


def predict_clearance_mm(fitted_mm: Millimetres, measured_mm: Millimetres, new_mm: Millimetres) -> float:
    """Predict the clearance that another shim in the same place leaves.

    Parameters
    ----------
    fitted_mm, new_mm : float or Decimal
        Thickness of the fitted shim and of the new one [mm].
    measured_mm : float or Decimal
        Clearance measured with the fitted shim [mm].

    Returns
    -------
    float
        Predicted clearance [mm].

    Notes
    -----
    clearance = fitted + measured − new. Source: geometry, checked against printed examples of service
    manuals.
    """
    return to_millimetres(to_nanometres(fitted_mm) + to_nanometres(measured_mm) - to_nanometres(new_mm))


@dataclass(frozen=True)
class AvailableSizes:
    """The shim sizes on sale: thinnest, thickest and step [mm].

    Raises
    ------
    ValueError
        Step not above zero, or thinnest not above zero or thicker than the thickest.
    """

    thin_mm: Millimetres
    thick_mm: Millimetres
    step_mm: Millimetres

    def __post_init__(self) -> None:
        if to_nanometres(self.step_mm) <= 0:
            raise ValueError("The step between shim sizes must be above zero.")
        if not 0 < to_nanometres(self.thin_mm) <= to_nanometres(self.thick_mm):
            raise ValueError("The thinnest shim must be above zero and no thicker than the thickest.")

    @cached_property
    def sizes_nm(self) -> range:
        """All sizes, thinnest first [nm]."""
        return range(
            to_nanometres(self.thin_mm), to_nanometres(self.thick_mm) + 1, to_nanometres(self.step_mm)
        )

    def __contains__(self, thickness_mm: Millimetres) -> bool:
        return to_nanometres(thickness_mm) in self.sizes_nm


@dataclass(frozen=True)
class ShimValve:
    """One clearance that a shim sets, with what was measured and what is wanted.

    Attributes
    ----------
    key : str
    fitted_mm : float or Decimal
        Thickness of the fitted shim [mm]: measured if known, otherwise as marked.
    measured_mm : float or Decimal
        Clearance measured: the value or the middle of the bracket [mm].
    low_mm, high_mm : float or Decimal
        The range [mm].
    target_mm : float or Decimal, optional
        Target clearance [mm]; the middle of the range if not given.
    label, camshaft : str
        Name for people; the camshaft that must come off to change the shim.
    half_width_mm : float or Decimal
        Half the width of the bracket [mm].
    doubt : str
        What is not certain about the thickness of the fitted shim: 'may be 1.77 or 1.775 mm'.

    Raises
    ------
    ValueError
        Lower limit above the upper one, target outside the range, or shim not 0.5 to 9 mm thick.
    """

    key: str
    fitted_mm: Millimetres
    measured_mm: Millimetres
    low_mm: Millimetres
    high_mm: Millimetres
    target_mm: Millimetres | None = None
    label: str = ""
    camshaft: str = ""
    half_width_mm: Millimetres = 0.0
    doubt: str = ""

    def __post_init__(self) -> None:
        check_range(self.low_mm, self.high_mm, self.target_mm)
        check_thickness(self.fitted_mm)

    @property
    def name(self) -> str:
        return self.label or self.key

    @property
    def total_nm(self) -> int:
        """Shim and clearance together [nm]: constant whichever shim is fitted."""
        return to_nanometres(self.fitted_mm) + to_nanometres(self.measured_mm)

    @property
    def target_nm(self) -> int:
        """The target, or the middle of the range if none is set [nm]."""
        if self.target_mm is None:
            return (to_nanometres(self.low_mm) + to_nanometres(self.high_mm)) // 2
        return to_nanometres(self.target_mm)

    def fits(self, shim_nm: int) -> bool:
        """Return True if this shim leaves a clearance inside the range, ends included."""
        return to_nanometres(self.low_mm) <= self.total_nm - shim_nm <= to_nanometres(self.high_mm)

    def margin_nm(self, shim_nm: int) -> int:
        """Return how far the clearance stays from the nearer limit; below zero if it may be out [nm]."""
        clearance = self.total_nm - shim_nm
        to_limit = min(clearance - to_nanometres(self.low_mm), to_nanometres(self.high_mm) - clearance)
        return to_limit - to_nanometres(self.half_width_mm)

    def deviation_nm(self, shim_nm: int) -> int:
        """Return the distance from the target that this shim leaves [nm]."""
        return abs(self.total_nm - shim_nm - self.target_nm)

    @property
    def is_certainly_in_range(self) -> bool:
        """True if the measured clearance is in range, both ends of a bracket included."""
        return self.margin_nm(to_nanometres(self.fitted_mm)) >= 0


def check_thickness(thickness_mm: Millimetres) -> None:
    """Check that a thickness can be that of a shim.

    Parameters
    ----------
    thickness_mm : float or Decimal
        Shim thickness [mm].

    Raises
    ------
    ValueError
        Thickness outside 0.5 to 9 mm.

    Notes
    -----
    0.5 ≤ thickness ≤ 9 mm. Rule of thumb, no published source.
    """
    if not MIN_SHIM_MM <= float(thickness_mm) <= MAX_SHIM_MM:
        raise ValueError(
            f"{float(thickness_mm):g} mm is not a plausible shim thickness. Enter {MIN_SHIM_MM:g} to "
            f"{MAX_SHIM_MM:g} mm."
        )


def nearest_available_mm(valve: ShimValve, sizes: AvailableSizes) -> float | None:
    """Return the available size that brings a valve nearest its target inside the range.

    Parameters
    ----------
    valve : ShimValve
    sizes : AvailableSizes

    Returns
    -------
    float or None
        Shim thickness [mm], or None if no available size gives a clearance inside the range.

    Notes
    -----
    See `nearest_available_nm`.
    """
    size_nm = nearest_available_nm(valve, sizes)
    return None if size_nm is None else to_millimetres(size_nm)


def nearest_available_nm(valve: ShimValve, sizes: AvailableSizes) -> int | None:
    """Return the available size that brings a valve nearest its target inside the range.

    Parameters
    ----------
    valve : ShimValve
    sizes : AvailableSizes

    Returns
    -------
    int or None
        Shim thickness [nm], or None if no available size gives a clearance inside the range.

    Notes
    -----
    The size s in the range that minimises |fitted + measured − s − target|; sizes that keep both ends of a
    bracket in the range go first. Of two equally near the thinner one, because it leaves the looser
    clearance. Rule of thumb, no published source.
    """
    available, half = sizes.sizes_nm, to_nanometres(valve.half_width_mm)
    low, high = to_nanometres(valve.low_mm) + half, to_nanometres(valve.high_mm) - half
    goals = [valve.target_nm] if low > high else [valve.target_nm, min(max(valve.target_nm, low), high)]
    belows = [(valve.total_nm - goal - available.start) // available.step for goal in goals]
    near = {min(max(below + up, 0), len(available) - 1) for below in belows for up in (-1, 0, 1, 2)}
    fitting = [available[index] for index in sorted(near) if valve.fits(available[index])]
    return min(fitting, key=lambda size: (valve.margin_nm(size) < 0, valve.deviation_nm(size)), default=None)


@dataclass(frozen=True)
class ShimMarking:
    """Meaning of a shim's marking.

    Attributes
    ----------
    could_be_mm : tuple of float
        Every thickness the marking may stand for [mm], the literal one last.
    warning : str or None
        What to do if the marking is not certain.
    """

    could_be_mm: tuple[float, ...]
    warning: str | None = None


def parse_marking(text: str, sizes: AvailableSizes | None = None) -> ShimMarking:
    """Parse a shim marking: ``'155'``, ``'1.55'``, ``'1,55'`` and ``'1.550'`` are all 1.55 mm.

    Parameters
    ----------
    text : str
        Three digits are hundredths, four are thousandths; a point or comma makes millimetres.
    sizes : AvailableSizes, optional
        The sizes on sale.

    Returns
    -------
    ShimMarking
        The thicknesses it may stand for [mm], and a warning if it is not certain.

    Raises
    ------
    ValueError
        Text that is no marking, or a thickness outside 0.5 to 9 mm.

    Notes
    -----
    Without a point, thickness = number / 10^(digits − 1). In sizes with a step of 0.025 mm the third decimal
    is left off the marking, up or down: 177 or 178 may be 1.775 mm. Factories also fit sizes that are not
    sold. Rule of thumb, no published source.
    """
    plain = text.strip().casefold().removesuffix("mm").strip().replace(",", ".")
    whole, point, decimals = plain.partition(".")
    if not (whole + decimals).isdecimal() or not (whole + decimals).isascii() or (point and not decimals):
        raise ValueError(f"“{text}” is not a shim marking. Enter it like 155 or 1.55.")
    if not point and len(whole) not in (3, 4):
        raise ValueError(f"“{text}” is not a shim marking. Three digits are hundredths: 155 means 1.55 mm.")
    marked_mm = float(plain) if point else float(whole) / 10 ** (len(whole) - 1)
    check_thickness(marked_mm)
    if sizes is None or marked_mm in sizes:
        return ShimMarking((marked_mm,))
    hidden = [to_millimetres(size) for size in _sizes_under_marking(to_nanometres(marked_mm), sizes)]
    if not hidden:
        warning = f"{format_mm(marked_mm)} mm is not an available size. Measure this shim with a micrometer."
        return ShimMarking((marked_mm,), warning)
    candidates = " or ".join(f"{size:.3f}" for size in hidden)
    warning = (
        f"The marking {text.strip()} may mean {format_mm(marked_mm)} or {candidates} mm. "
        "Measure this shim with a micrometer."
    )
    return ShimMarking((*hidden, marked_mm), warning)


def _sizes_under_marking(marked_nm: int, sizes: AvailableSizes) -> Sequence[int]:
    """List sizes with a third decimal within a hundredth of a two-decimal marking."""
    hundredth = 10_000
    if marked_nm % hundredth:
        return []
    return [size for size in sizes.sizes_nm if size % hundredth and abs(size - marked_nm) < hundredth]
