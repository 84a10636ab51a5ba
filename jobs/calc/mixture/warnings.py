"""What a mixture grid has to tell its reader before any figure: lean at high load first."""

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Flag
from jobs.calc.mixture.grid import FEWEST_DWELLS, MixtureGrid, target_grid
from jobs.calc.statistics import FloatArray
from jobs.calc.tables.cell_grid import BoolArray
from jobs.calc.units.numbers import format_number

HIGH_LOAD_PCT = 70.0
LEAN_SHARE = 0.03  # leaner than the target by more than this is pointed out; common practice, no source
CELLS_NAMED = 6
# A whole grid off by this share or more, everywhere alike, is the sensor's doing; common practice, no source.
SENSOR_AT_FAULT_SHARE = 0.15
CELLS_FOR_A_SENSOR_FAULT = 4


def warnings(
    grid: MixtureGrid,
    target: npt.ArrayLike,
    *,
    high_load_pct: float = HIGH_LOAD_PCT,
    lean_share: float = LEAN_SHARE,
    fewest_dwells: int = FEWEST_DWELLS,
) -> tuple[Flag, ...]:
    """What the reader of a mixture grid has to know before anything else, the gravest first.

    Parameters
    ----------
    target
        As for `target_grid`.
    high_load_pct, lean_share : float
        From this load up, lambda above target by more than this share is a hazard to the engine.
    fewest_dwells : int
        A visited cell with fewer is named as uncertain.
    """
    wanted = target_grid(target, grid)
    high = grid.load_axis >= high_load_pct
    flags = [
        *_end_of_scale_flags(grid, high, "at high load"),
        *_lean_flags(grid, wanted, high, lean_share),
        *_end_of_scale_flags(grid, ~high, "at part load"),
        *_implausible_flags(grid, wanted),
        *_few_flags(grid, fewest_dwells),
    ]
    return tuple(flags)


def _lean_flags(grid: MixtureGrid, wanted: FloatArray, high: BoolArray, lean_share: float) -> list[Flag]:
    off = np.where(grid.visited & high[:, None], grid.mean / wanted - 1, -np.inf)
    lean = np.argwhere(off > lean_share)
    if not lean.size:
        return []
    worst_first = sorted(((int(r), int(c)) for r, c in lean), key=lambda cell: -off[cell])
    flags = []
    for cell in worst_first[:CELLS_NAMED]:
        half = grid.half_width_95[cell]
        sure = f" ± {half:.3f}" if np.isfinite(half) else ", from a single dwell"
        flags.append(
            Flag(
                "lean-at-high-load",
                f"Lean at high load: {_place(grid, cell)} lambda is {grid.mean[cell]:.3f}{sure}, "
                f"{100 * off[cell]:.1f} % leaner than the target {wanted[cell]:.3f}. "
                "Do not hold the engine there until it has more fuel.",
            )
        )
    more = len(worst_first) - CELLS_NAMED
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
            f"The sensor stood at the lean end of its scale {where}, most often {_place(grid, cell)} "
            f"({int(samples[cell])} samples). The mixture there is leaner than any figure shown.",
        )
    ]


def _implausible_flags(grid: MixtureGrid, wanted: FloatArray) -> list[Flag]:
    """A grid that is off everywhere by about the same large share speaks of the sensor, not of the engine."""
    off = (grid.mean / wanted - 1)[grid.visited]
    if off.size < CELLS_FOR_A_SENSOR_FAULT:
        return []
    middle = float(np.median(off))
    if abs(middle) < SENSOR_AT_FAULT_SHARE or float(np.ptp(off)) > abs(middle):
        return []
    return [
        Flag(
            "implausible",
            f"Every cell is off the target by about {format_number(100 * middle, signed=True)} %: check the "
            "sensor, an air leak in the exhaust, and the fuel that was named, before the fuel table.",
        )
    ]


def _few_flags(grid: MixtureGrid, fewest_dwells: int) -> list[Flag]:
    if not grid.visited.any():
        return [Flag("no-samples", "No cell holds a steady sample: check the axes and the steady filter.")]
    few = int(np.count_nonzero(grid.visited & (grid.dwells < fewest_dwells)))
    if not few:
        return []
    cells = "1 visited cell has" if few == 1 else f"{few} visited cells have"
    of = int(np.count_nonzero(grid.visited))
    return [
        Flag(
            "too-few",
            f"{cells} fewer than {fewest_dwells} dwells, of {of} visited: no correction is given there. "
            "Hold those points again.",
        )
    ]


def _place(grid: MixtureGrid, cell: tuple[int, int]) -> str:
    return f"at {format_number(grid.rpm_axis[cell[1]])} 1/min and {grid.load_axis[cell[0]]:g} % load"
