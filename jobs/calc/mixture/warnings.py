"""Warnings about a mixture grid, most severe first: lean at high load before anything else."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Flag
from jobs.calc.mixture.grid import MIN_HOLDS, MixtureGrid, expand_target
from jobs.calc.statistics import FloatArray
from jobs.calc.tables.cell_grid import BoolArray
from jobs.calc.units.numbers import format_digits, format_number, format_range
from jobs.calc.wording import gettext as _
from jobs.calc.wording import ngettext

HIGH_LOAD_PCT = 70.0
LEAN_SHARE = 0.03  # leaner than the target by more than this. Rule of thumb, no published source.
# At high load without any excess of fuel, whatever the target. Rule of thumb, no published source.
GRAVE_LAMBDA = 1.0
GRAVE = (
    "Do not hold the engine there until it has more fuel. So lean at high load, pistons, valves and "
    "catalyst overheat within seconds."
)
NO_LONG_HOLDS = "Do not hold full load there for long until the engine has more fuel."
# A whole grid off by this share or more, everywhere alike, is a sensor fault. Rule of thumb, no published
# source.
SENSOR_FAULT_SHARE = 0.15
MIN_CELLS_FOR_SENSOR_FAULT = 4


@dataclass(frozen=True, eq=False)
class LeanRegion:
    """Cells side by side that are too lean at high load.

    Attributes
    ----------
    cells : array of bool, (r, c)
    worst : (int, int)
        Row and column of the leanest of them.
    off : float
        Its lambda over target, less one [–].
    is_grave : bool
        True if any of them has no excess of fuel at all.
    """

    cells: BoolArray
    worst: tuple[int, int]
    off: float
    is_grave: bool


def find_lean_regions(
    grid: MixtureGrid,
    target: npt.ArrayLike,
    *,
    high_load_pct: float = HIGH_LOAD_PCT,
    lean_share: float = LEAN_SHARE,
) -> list[LeanRegion]:
    """Find the connected regions that are too lean at high load, worst first.

    Parameters
    ----------
    grid : MixtureGrid
        Arrays of (r, c).
    target : array, (), (r,) or (r, c)
        Target lambda [–], as for `expand_target`.
    high_load_pct, lean_share : float
        As for `find_warnings`.

    Returns
    -------
    list of LeanRegion
        Cells are connected along their edges.

    Raises
    ------
    ValueError
        A target as for `expand_target`.

    Notes
    -----
    off = lambda / target − 1 above ``lean_share``: definition of lambda; the limits are rules of thumb, no
    published source.
    """
    from scipy.ndimage import label

    high = grid.load_axis >= high_load_pct
    off = np.where(grid.visited & high[:, None], grid.mean / expand_target(target, grid) - 1, -np.inf)
    numbers, count = label(off > lean_share)
    regions = []
    for number in range(1, count + 1):
        cells = numbers == number
        row, column = np.unravel_index(int(np.where(cells, off, -np.inf).argmax()), off.shape)
        worst = (int(row), int(column))
        is_grave = bool((grid.mean[cells] >= GRAVE_LAMBDA).any())
        regions.append(LeanRegion(cells, worst, float(off[worst]), is_grave))
    return sorted(regions, key=lambda region: -region.off)


def find_warnings(
    grid: MixtureGrid,
    target: npt.ArrayLike,
    *,
    high_load_pct: float = HIGH_LOAD_PCT,
    lean_share: float = LEAN_SHARE,
    min_holds: int = MIN_HOLDS,
    load_name: str = "load",
) -> tuple[Flag, ...]:
    """Find what the reader of a mixture grid has to know first, most severe first.

    Parameters
    ----------
    grid : MixtureGrid
        Arrays of (r, c).
    target : array, (), (r,) or (r, c)
        Target lambda [–], as for `expand_target`.
    high_load_pct : float
        Load from which a lean mixture is a hazard to the engine [%].
    lean_share : float
        Lambda over target less one that counts as lean there [–].
    min_holds : int
        A visited cell that fewer holds count for is named as uncertain.
    load_name : str
        What the rows of the grid are by, in the sentences.

    Returns
    -------
    tuple of Flag
        Empty if there is nothing to warn about.

    Raises
    ------
    ValueError
        A target as for `expand_target`.

    Notes
    -----
    off = lambda / target − 1 of each visited cell. All limits are rules of thumb, no published source.
    """
    wanted = expand_target(target, grid)
    high = grid.load_axis >= high_load_pct
    regions = find_lean_regions(grid, wanted, high_load_pct=high_load_pct, lean_share=lean_share)
    return (
        *_end_of_scale_flags(grid, high, load_name, at_high_load=True),
        *(_lean_flag(grid, wanted, region, load_name) for region in regions),
        *_end_of_scale_flags(grid, ~high, load_name, at_high_load=False),
        *_implausible_flags(grid, wanted),
        *_few_flags(grid, min_holds),
    )


def _lean_flag(grid: MixtureGrid, wanted: FloatArray, region: LeanRegion, load_name: str) -> Flag:
    half = grid.half_width_95[region.worst]
    interval = f" ± {format_number(half, 3)}" if np.isfinite(half) else _(", with no interval")
    rows, columns = region.cells.any(axis=1), region.cells.any(axis=0)
    text = _(
        "Lean at high load, %(loads)s %% %(load)s and %(speeds)s rpm: up to %(share)s %% leaner than target "
        "(lambda %(lambda)s%(interval)s, target %(target)s, %(place)s)."
    )
    values = {
        "loads": _describe_range(grid.load_axis[rows]),
        "load": _(load_name),
        "speeds": _describe_range(grid.rpm_axis[columns]),
        "share": format_number(100 * region.off, 1),
        "lambda": format_number(float(grid.mean[region.worst]), 3),
        "interval": interval,
        "target": format_number(float(wanted[region.worst]), 3),
        "place": _describe_place(grid, region.worst, load_name),
    }
    advice = _(GRAVE) if region.is_grave else _(NO_LONG_HOLDS)
    return Flag("lean-at-high-load", f"{text % values} {advice}")


def _describe_range(points: FloatArray) -> str:
    low, high = format_number(points[0]), format_number(points[-1])
    return low if low == high else format_range(low, high)


def _end_of_scale_flags(
    grid: MixtureGrid, loads: BoolArray, load_name: str, *, at_high_load: bool
) -> list[Flag]:
    samples = np.where(loads[:, None], grid.end_of_scale, 0)
    if not samples.any():
        return []
    row, column = np.unravel_index(int(samples.argmax()), samples.shape)
    cell = (int(row), int(column))
    count = int(samples[cell])
    if at_high_load:
        text = ngettext(
            "The sensor was at the lean end of its scale at high load, most often %(place)s (%(count)s "
            "sample). "
            "The mixture there is leaner than any value shown.",
            "The sensor was at the lean end of its scale at high load, most often %(place)s (%(count)s "
            "samples). The mixture there is leaner than any value shown.",
            count,
        )
    else:
        text = ngettext(
            "The sensor was at the lean end of its scale at part load, most often %(place)s (%(count)s "
            "sample). "
            "The mixture there is leaner than any value shown.",
            "The sensor was at the lean end of its scale at part load, most often %(place)s (%(count)s "
            "samples). The mixture there is leaner than any value shown.",
            count,
        )
    sentence = text % {"place": _describe_place(grid, cell, load_name), "count": count}
    return [Flag("end-of-scale", f"{sentence} {_(GRAVE)}" if at_high_load else sentence)]


def _implausible_flags(grid: MixtureGrid, wanted: FloatArray) -> list[Flag]:
    """Flag a grid off by about the same large share everywhere: the sensor, not the engine."""
    off = (grid.mean / wanted - 1)[grid.visited]
    if off.size < MIN_CELLS_FOR_SENSOR_FAULT:
        return []
    median = float(np.median(off))
    if abs(median) < SENSOR_FAULT_SHARE or float(np.ptp(off)) > abs(median):
        return []
    text = _(
        "Every cell is off target by about %(share)s %%. Before you change the fuel table, check the sensor, "
        "exhaust leaks and the selected fuel."
    )
    return [Flag("implausible", text % {"share": format_number(100 * median, signed=True)})]


def _few_flags(grid: MixtureGrid, min_holds: int) -> list[Flag]:
    if not grid.visited.any():
        text = _("No cell has steady samples. Check the axes and the limits for steady.")
        return [Flag("no-samples", text)]
    few = int(np.count_nonzero(grid.visited & (grid.support < min_holds)))
    if not few:
        return []
    text = ngettext(
        "%(count)s cell has fewer than %(least)s holds (of %(all)s with data) and so no correction. Hold "
        "those "
        "points again.",
        "%(count)s cells have fewer than %(least)s holds (of %(all)s with data) and so no correction. Hold "
        "those points again.",
        few,
    )
    values = {"count": few, "least": min_holds, "all": int(np.count_nonzero(grid.visited))}
    return [Flag("too-few", text % values)]


def _describe_place(grid: MixtureGrid, cell: tuple[int, int], load_name: str) -> str:
    row, column = cell
    return _("at %(speed)s rpm and %(share)s %% %(load)s") % {
        "speed": format_number(grid.rpm_axis[column]),
        "share": format_digits(grid.load_axis[row]),
        "load": _(load_name),
    }
