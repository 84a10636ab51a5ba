"""Warnings about a mixture grid, most severe first: lean at high load before anything else."""

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Flag
from jobs.calc.mixture.grid import MIN_HOLDS, MixtureGrid, expand_target
from jobs.calc.statistics import FloatArray
from jobs.calc.tables.cell_grid import BoolArray
from jobs.calc.units.numbers import format_number

HIGH_LOAD_PCT = 70.0
LEAN_SHARE = 0.03  # leaner than the target by more than this. Rule of thumb, no published source.
MAX_CELLS_NAMED = 6
# A whole grid off by this share or more, everywhere alike, is a sensor fault. Rule of thumb, no published
# source.
SENSOR_FAULT_SHARE = 0.15
MIN_CELLS_FOR_SENSOR_FAULT = 4


def find_warnings(
    grid: MixtureGrid,
    target: npt.ArrayLike,
    *,
    high_load_pct: float = HIGH_LOAD_PCT,
    lean_share: float = LEAN_SHARE,
    min_holds: int = MIN_HOLDS,
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
    return (
        *_end_of_scale_flags(grid, high, "at high load"),
        *_lean_flags(grid, wanted, high, lean_share),
        *_end_of_scale_flags(grid, ~high, "at part load"),
        *_implausible_flags(grid, wanted),
        *_few_flags(grid, min_holds),
    )


def _lean_flags(grid: MixtureGrid, wanted: FloatArray, high: BoolArray, lean_share: float) -> list[Flag]:
    off = np.where(grid.visited & high[:, None], grid.mean / wanted - 1, -np.inf)
    lean = np.argwhere(off > lean_share)
    if not lean.size:
        return []
    worst_first = sorted(((int(r), int(c)) for r, c in lean), key=lambda cell: -off[cell])
    flags = []
    for cell in worst_first[:MAX_CELLS_NAMED]:
        half = grid.half_width_95[cell]
        sure = f" ± {half:.3f}" if np.isfinite(half) else ", with no interval"
        flags.append(
            Flag(
                "lean-at-high-load",
                f"Lean at high load: {_describe_place(grid, cell)} lambda is {grid.mean[cell]:.3f}{sure}, "
                f"{100 * off[cell]:.1f} % leaner than the target {wanted[cell]:.3f}. "
                "Do not hold the engine there until it has more fuel.",
            )
        )
    more = len(worst_first) - MAX_CELLS_NAMED
    if more > 0:
        cells = "one more cell is" if more == 1 else f"{more} more cells are"
        flags.append(Flag("lean-at-high-load", f"Lean at high load: {cells} too lean by less than these."))
    return flags


def _end_of_scale_flags(grid: MixtureGrid, loads: BoolArray, where: str) -> list[Flag]:
    samples = np.where(loads[:, None], grid.end_of_scale, 0)
    if not samples.any():
        return []
    row, column = np.unravel_index(int(samples.argmax()), samples.shape)
    cell = (int(row), int(column))
    return [
        Flag(
            "end-of-scale",
            f"The sensor stood at the lean end of its scale {where}, most often "
            f"{_describe_place(grid, cell)} ({int(samples[cell])} samples). The mixture there is leaner "
            "than any figure shown.",
        )
    ]


def _implausible_flags(grid: MixtureGrid, wanted: FloatArray) -> list[Flag]:
    """Flag a grid off by about the same large share everywhere: the sensor, not the engine."""
    off = (grid.mean / wanted - 1)[grid.visited]
    if off.size < MIN_CELLS_FOR_SENSOR_FAULT:
        return []
    median = float(np.median(off))
    if abs(median) < SENSOR_FAULT_SHARE or float(np.ptp(off)) > abs(median):
        return []
    return [
        Flag(
            "implausible",
            f"Every cell is off the target by about {format_number(100 * median, signed=True)} %: check the "
            "sensor, an air leak in the exhaust, and the fuel that was named, before the fuel table.",
        )
    ]


def _few_flags(grid: MixtureGrid, min_holds: int) -> list[Flag]:
    if not grid.visited.any():
        return [Flag("no-samples", "No cell holds a steady sample: check the axes and the steady filter.")]
    few = int(np.count_nonzero(grid.visited & (grid.support < min_holds)))
    if not few:
        return []
    cells = "1 visited cell has" if few == 1 else f"{few} visited cells have"
    of = int(np.count_nonzero(grid.visited))
    return [
        Flag(
            "too-few",
            f"{cells} fewer than {min_holds} holds, of {of} visited: no correction is given there. "
            "Hold those points again.",
        )
    ]


def _describe_place(grid: MixtureGrid, cell: tuple[int, int]) -> str:
    return f"at {format_number(grid.rpm_axis[cell[1]])} 1/min and {grid.load_axis[cell[0]]:g} % load"
