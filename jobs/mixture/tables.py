"""Present a stored mixture study: the grid with its readings, what stands behind every cell, and tables."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from jobs.calc.mixture.fuel_table import PassComparison, compare_passes
from jobs.calc.tables.cell_grid import BoolArray
from jobs.calc.tables.pasted_table import build_csv_rows, parse_table
from jobs.calc.units.numbers import format_number
from jobs.job.sentences import counted
from jobs.mixture.sentences import (
    is_filled,
    is_uncertain,
    lean_regions,
    load_grid,
    load_name,
)
from jobs.mixture.study import ON_TARGET, Json, as_array
from jobs.models import MixtureStudy
from workshop.units.display import NO_BREAK_SPACE

# Deviation at which the three shades start. Rule of thumb, no published source.
SHADES = (ON_TARGET, 0.03, 0.06)
# A wider interval says nothing about the mixture. Rule of thumb, no published source.
MAX_HALF_WIDTH_SHOWN = 0.1
# What a cell says, and what its description says, when two passes are compared.
PASSES = {
    "closer": ("closer", "closer to target"),
    "further": ("further", "further from target"),
    "same": ("not clear", "no clear difference"),
}
READINGS = {"off": "Off target %", "lambda": "Lambda", "target": "Target", "fuel": "Fuel correction %"}
PASS_READING = {"pass": "Change since last pass"}
NO_DATA, TOO_LITTLE = "·", "◌"


@dataclass(frozen=True)
class CellReading:
    """One reading of a cell: value, note under it and CSS classes."""

    name: str
    text: str
    note: str = ""
    css_class: str = ""


@dataclass(frozen=True)
class MixtureCell:
    """A cell with all its readings, and the edges at which its lean region ends."""

    place: str
    readings: list[CellReading]
    edges: str


@dataclass(frozen=True)
class MixtureRow:
    """The cells of one load."""

    load: float
    cells: list[MixtureCell]


def shade_class(off: float | None) -> str:
    """Return the CSS class of a deviation: on target, or one of three steps rich or lean."""
    if off is None:
        return "heat-none"
    steps = sum(abs(off) > limit for limit in SHADES)
    return f"heat-{'lean' if off > 0 else 'rich'}-{steps}" if steps else "heat-on"


def build_rows(study: MixtureStudy, passes: PassComparison | None) -> list[MixtureRow]:
    result = study.result
    if not result:
        return []
    regions = [region.cells for region in lean_regions(study)]

    def build_cell(r: int, c: int) -> MixtureCell:
        readings = [
            off_reading(result, r, c),
            lambda_reading(result, r, c),
            CellReading("target", format_number(result["target"][r][c], 3), "", cell_class(result, r, c)),
            fuel_reading(result, r, c),
        ]
        if passes:
            readings.append(pass_reading(passes, r, c))
        return MixtureCell(f"{r},{c}", readings, region_edges(regions, r, c))

    columns = range(len(study.rpm_axis))
    return [MixtureRow(load, [build_cell(r, c) for c in columns]) for r, load in enumerate(study.load_axis)]


def region_edges(regions: Sequence[BoolArray], r: int, c: int) -> str:
    """Return a CSS class for each side on which the lean region of a cell ends."""
    for cells in regions:
        if cells[r, c]:
            padded = np.pad(cells, 1)
            around = {"t": (r, c + 1), "r": (r + 1, c + 2), "b": (r + 2, c + 1), "l": (r + 1, c)}
            return " ".join(f"edge-{side}" for side, at in around.items() if not padded[at])
    return ""


def cell_class(result: Json, r: int, c: int) -> str:
    few = " heat-few" if result["few"][r][c] else ""
    return f"{shade_class(result['off'][r][c])}{few}"


def off_reading(result: Json, r: int, c: int) -> CellReading:
    off, mean = result["off"][r][c], result["mean"][r][c]
    if off is None:
        return CellReading("off", NO_DATA, "", "heat-none")
    mark = f"{TOO_LITTLE}{NO_BREAK_SPACE}" if result["few"][r][c] else ""
    return CellReading("off", format_pct(off), f"{mark}{format_number(mean, 3)}", cell_class(result, r, c))


def lambda_reading(result: Json, r: int, c: int) -> CellReading:
    mean, half = result["mean"][r][c], result["half_width_95"][r][c]
    if mean is None:
        return CellReading("lambda", NO_DATA, "", "heat-none")
    note = counted(result["dwells"][r][c], "hold") if half is None else format_half_width(half)
    mark = f"{TOO_LITTLE}{NO_BREAK_SPACE}" if result["few"][r][c] else ""
    return CellReading("lambda", format_number(mean, 3), f"{mark}{note}", cell_class(result, r, c))


def fuel_reading(result: Json, r: int, c: int) -> CellReading:
    multiplier = result["correction"][r][c]
    if multiplier is None:
        text = NO_DATA if result["mean"][r][c] is None else TOO_LITTLE
        return CellReading("fuel", text, "", "heat-none" if text == NO_DATA else "heat-none heat-few")
    if is_filled(result, r, c):
        return CellReading("fuel", format_pct(multiplier - 1), "interpolated", "heat-filled")
    limited, uncertain = result["limited"][r][c], is_uncertain(result, r, c)
    marks = [f"± {format_number(100 * correction_half_width(result, r, c), 1)}"] if uncertain else []
    marks += ["limited"] if limited else []
    css_class = f"{cell_class(result, r, c)}{' heat-limited' if limited else ''}"
    return CellReading("fuel", format_pct(multiplier - 1), ", ".join(marks), css_class)


def pass_reading(found: PassComparison, r: int, c: int) -> CellReading:
    """Return the deviation of a cell in both passes and the change between them."""
    was, now = float(found.off_first[r, c]), float(found.off_second[r, c])
    if np.isnan(was) or np.isnan(now):
        return CellReading("pass", NO_DATA, "", "heat-none")
    kind = pass_kind(found, r, c)
    return CellReading("pass", f"{format_pct(was)} → {format_pct(now)}", PASSES[kind][0], f"heat-{kind}")


def pass_kind(found: PassComparison, r: int, c: int) -> str:
    return "closer" if found.closer[r, c] else "further" if found.further[r, c] else "same"


def correction_half_width(result: Json, r: int, c: int) -> float:
    """Return the 95 % half-width of a correction as a share of the fuel."""
    return float(result["half_width_95"][r][c] / result["target"][r][c])


def format_half_width(half: float) -> str:
    """Format a half-width, or return 'too wide' if it says nothing any more."""
    return f"± {format_number(half, 3)}" if half <= MAX_HALF_WIDTH_SHOWN else "too wide"


def format_pct(share: float) -> str:
    return format_number(100 * share, 1, signed=True)


def format_share(share: float) -> str:
    return f"{format_pct(share)}{NO_BREAK_SPACE}%"


@dataclass(frozen=True)
class CellFacts:
    """A cell in words and numbers: for the inspector, and as a row of the table of all cells.

    ``off_pct`` places the needle of the gauge. ``facts`` are pairs of label and value.
    """

    place: str
    off: str
    word: str
    off_pct: float | None
    facts: list[tuple[str, str]]
    visits: list[str]

    @property
    def cells(self) -> list[str]:
        """The values of the facts, for the table."""
        return [value for _, value in self.facts]


FACT_NAMES = ("Lambda", "Target", "Fuel correction", "Held", "Samples")


def describe_cells(study: MixtureStudy, passes: PassComparison | None) -> dict[str, CellFacts]:
    """Describe every cell by its place in the grid, as "row,column"."""
    if not study.result:
        return {}
    return {
        f"{r},{c}": describe_cell(study, passes, r, c)
        for r in range(len(study.load_axis))
        for c in range(len(study.rpm_axis))
    }


def describe_cell(study: MixtureStudy, passes: PassComparison | None, r: int, c: int) -> CellFacts:
    result = study.result or {}
    place = f"{format_number(study.rpm_axis[c])} rpm, {study.load_axis[r]:g} % {load_name(study)}"
    mean, half, off = (result[name][r][c] for name in ("mean", "half_width_95", "off"))
    target, correction = format_number(result["target"][r][c], 3), describe_correction(result, r, c)
    if mean is None:
        facts = list(zip(FACT_NAMES, ("no data", target, correction, "never", "0"), strict=True))
        return CellFacts(place, NO_DATA, "no data", None, facts, [])
    interval = "no interval from so few holds" if half is None else f"{format_half_width(half)} (95 %)"
    visits = result.get("behind", {}).get(f"{r},{c}", [])
    values = (
        f"{format_number(mean, 3)} {interval}",
        target,
        correction,
        describe_holds(result, visits, r, c),
        str(result["n"][r][c]),
    )
    facts = list(zip(FACT_NAMES, values, strict=True))
    if passes:
        facts.append(("Last pass", describe_pass(passes, r, c)))
    word = "on target" if shade_class(off) == "heat-on" else "lean" if off > 0 else "rich"
    return CellFacts(place, format_share(off), word, 100 * off, facts, [*map(describe_visit, visits)])


def describe_holds(result: Json, visits: Sequence[Mapping[str, Any]], r: int, c: int) -> str:
    holds = result["dwells"][r][c]
    held = counted(holds, "time")
    if visits:
        seconds = sum(visit["to_s"] - visit["from_s"] for visit in visits)
        held += f", {format_number(seconds, 1)} s in all"
    beside = result["support"][r][c] - holds if "support" in result else 0
    return f"{held}, and {counted(beside, 'hold')} near its edge" if beside > 0 else held


def describe_visit(visit: Mapping[str, Any]) -> str:
    """Describe one visit to a cell: run, time, samples and mean lambda."""
    when = f"{format_number(visit['from_s'], 1)} to {format_number(visit['to_s'], 1)} s"
    samples = counted(visit["samples"], "sample")
    return f"{visit['run']}, {when}: {samples}, lambda {format_number(visit['lambda'], 3)}"


def describe_correction(result: Json, r: int, c: int) -> str:
    multiplier, reason = result["correction"][r][c], result["reason"][r][c]
    if multiplier is None:
        return f"none: {reason}"
    change = format_share(multiplier - 1)
    if is_filled(result, r, c):
        return f"{change}, interpolated between two measured neighbours, not measured here"
    if is_uncertain(result, r, c):
        half = format_number(100 * correction_half_width(result, r, c), 1)
        change = f"{change} ± {half} %, {reason}, given because you asked for it"
    if result["limited"][r][c]:
        return f"{change}, limited per pass; {format_share(result['wanted'][r][c] - 1)} needed"
    return change


def describe_pass(found: PassComparison, r: int, c: int) -> str:
    was, now = float(found.off_first[r, c]), float(found.off_second[r, c])
    if np.isnan(was) or np.isnan(now):
        return "not measured in both passes"
    return f"{format_share(was)} before, {format_share(now)} now: {PASSES[pass_kind(found, r, c)][1]}"


def worst_place(study: MixtureStudy) -> str:
    """Return the cell to look at first, as "row,column": the leanest under load, or else the furthest off."""
    regions = lean_regions(study)
    if regions:
        return "{},{}".format(*regions[0].worst)
    off = np.abs(as_array((study.result or {})["off"]))
    if np.isnan(off).all():
        return "0,0"
    row, column = np.unravel_index(int(np.nanargmax(off)), off.shape)
    return f"{row},{column}"


def correction_text(study: MixtureStudy) -> str:
    """Return the correction in % as tab-separated text on the axes of the study, blank without one."""
    result = study.result or {}
    lines = [["", *(f"{rpm:g}" for rpm in study.rpm_axis)]]
    for load, row in zip(study.load_axis, result["correction"], strict=True):
        cells = ("" if value is None else f"{round(100 * (value - 1), 1) + 0.0:.1f}" for value in row)
        lines.append([f"{load:g}", *cells])
    return "\n".join("\t".join(line) for line in lines)


def excluded_samples(study: MixtureStudy) -> list[tuple[str, int]]:
    """Return how many samples are in no cell, by reason, most frequent first."""
    result = study.result or {}
    counts = {**result.get("left_out", {})}
    for reason, n in result.get("unused", {}).items():
        counts[reason] = counts.get(reason, 0) + n
    return sorted(counts.items(), key=lambda item: -item[1])


BAR_WIDTH = 1000.0


@dataclass(frozen=True)
class BarPart:
    """Part of the bar of samples: label, count, and place along the bar."""

    label: str
    count: int
    x: float
    width: float


def sample_bar(study: MixtureStudy) -> list[BarPart]:
    """Return the samples of all runs as parts of a bar: those used, then the others by reason."""
    counts = [("used", (study.result or {}).get("samples_in_cells", 0)), *excluded_samples(study)]
    total = sum(count for _, count in counts)
    parts, x = [], 0.0
    for label, count in counts:
        width = BAR_WIDTH * count / total if total else 0.0
        parts.append(BarPart(label, count, round(x, 1), round(width, 1)))
        x += width
    return parts


def marked_table_rows(study: MixtureStudy) -> list[tuple[str, list[tuple[str, bool]]]]:
    """Return the rows of the corrected fuel table, with a mark on every changed cell."""
    after = study.fuel_table_after
    if not after:
        return []
    texts = parse_table(after["text"], row_name="load").texts
    changed = [[False] * (len(texts[0]) - 1), *after["changed"]]
    return [
        (row[0], list(zip(row[1:], marks, strict=True))) for row, marks in zip(texts, changed, strict=True)
    ]


@dataclass(frozen=True)
class PreviousPass:
    """The study before, on the same axes, and how each cell has changed since."""

    study: MixtureStudy
    found: PassComparison


def find_previous_pass(study: MixtureStudy, studies: Iterable[MixtureStudy]) -> PreviousPass | None:
    """Compare a study with the previous one on the same axes, or return None without one."""
    before = [other for other in studies if other.pk < study.pk and has_same_axes(other, study)]
    if not before or not study.result:
        return None
    first = before[-1]
    found = compare_passes(load_grid(first), load_grid(study), as_array(study.result["target"]))
    return PreviousPass(first, found)


def has_same_axes(one: MixtureStudy, other: MixtureStudy) -> bool:
    same = one.rpm_axis == other.rpm_axis and one.load_axis == other.load_axis
    return bool(one.result) and same and one.load_channel == other.load_channel


def fuel_table_csv(study: MixtureStudy) -> str:
    """Return the corrected fuel table as CSV with decimal points; numbers only, so no formulas."""
    assert study.fuel_table_after  # checked by the view
    out = io.StringIO(newline="")
    csv.writer(out).writerows(build_csv_rows(parse_table(study.fuel_table_after["text"], row_name="load")))
    return out.getvalue()
