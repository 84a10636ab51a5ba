"""Present a stored mixture study: grids with shades and marks, and a description of every cell."""

import csv
import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from jobs.calc.mixture import grid as calc
from jobs.calc.mixture.fuel_table import PassComparison, compare_passes
from jobs.calc.mixture.warnings import HIGH_LOAD_PCT, LEAN_SHARE
from jobs.calc.tables.pasted_table import build_csv_rows, parse_table
from jobs.calc.units.numbers import format_number
from jobs.mixture.study import LOADS, ON_TARGET, Json, as_array
from jobs.models import MixtureStudy
from workshop.units.display import NO_BREAK_SPACE

# Deviation at which the three shades start. Rule of thumb, no published source.
SHADES = (ON_TARGET, 0.03, 0.06)
# A wider interval says nothing about the mixture. Rule of thumb, no published source.
MAX_HALF_WIDTH_SHOWN = 0.1
# Note under a cell and part of its description, when two passes are compared.
PASSES = {
    "closer": ("closer", "it came closer"),
    "further": ("further", "it went further off"),
    "same": ("not shown", "no difference is shown"),
}
SEVERE = ("lean-at-high-load", "end-of-scale", "implausible")


@dataclass(frozen=True)
class MixtureCell:
    """A cell as the page shows it: value, note under it, CSS class and description."""

    text: str
    note: str
    css_class: str
    description: str


@dataclass(frozen=True)
class MixtureRow:
    """The cells of one load."""

    load: float
    cells: list[MixtureCell]


def shade_class(off: float | None) -> str:
    """Return the CSS class of a deviation: on target, or one of three steps rich or lean."""
    if off is None:
        return "cell-none"
    steps = sum(abs(off) > limit for limit in SHADES)
    return f"cell-{'lean' if off > 0 else 'rich'}-{steps}" if steps else "cell-on"


def lambda_rows(study: MixtureStudy) -> list[MixtureRow]:
    """Return the grid of lambda with its half-width, or a mark if there are too few holds."""
    return build_rows(study, lambda_cell)


def correction_rows(study: MixtureStudy) -> list[MixtureRow]:
    return build_rows(study, correction_cell)


def build_rows(study: MixtureStudy, cell: Callable[[Json, int, int, str], MixtureCell]) -> list[MixtureRow]:
    result = study.result or {}
    if not result:
        return []
    return [
        MixtureRow(load, [cell(result, r, c, describe_cell(study, r, c)) for c in range(len(study.rpm_axis))])
        for r, load in enumerate(study.load_axis)
    ]


def lambda_cell(result: Json, r: int, c: int, about: str) -> MixtureCell:
    mean, half, holds = (result[name][r][c] for name in ("mean", "half_width_95", "dwells"))
    if mean is None:
        return MixtureCell("·", "", "cell-none", about)
    shade = shade_class(result["off"][r][c])
    if not result["few"][r][c]:
        return MixtureCell(format_number(mean, 3), f"± {format_number(half, 3)}", shade, about)
    note = f"◌ {count_holds(holds)}" if half is None else f"◌ {format_half_width(half)}"
    return MixtureCell(format_number(mean, 3), note, f"{shade} cell-few", about)


def correction_cell(result: Json, r: int, c: int, about: str) -> MixtureCell:
    multiplier, reason = result["correction"][r][c], result["reason"][r][c]
    if is_filled(result, r, c):
        return MixtureCell(format_share(multiplier - 1), "filled", "cell-fill", about)
    if multiplier is None:
        return MixtureCell(
            "·" if reason == calc.NoCorrectionReason.NOT_VISITED else "◌", "", "cell-none", about
        )
    limited, uncertain = result["limited"][r][c], is_uncertain(result, r, c)
    marks = [f"± {format_number(100 * correction_half_width(result, r, c), 1)}"] if uncertain else []
    marks += ["limited"] if limited else []
    css_class = f"cell-on{' cell-limited' if limited else ''}{' cell-few' if uncertain else ''}"
    return MixtureCell(format_share(multiplier - 1), ", ".join(marks), css_class, about)


def is_filled(result: Json, r: int, c: int) -> bool:
    return "filled" in result and result["filled"][r][c]


def is_uncertain(result: Json, r: int, c: int) -> bool:
    return "uncertain" in result and result["uncertain"][r][c]


def correction_half_width(result: Json, r: int, c: int) -> float:
    """Return the 95 % half-width of a correction as a share of the fuel."""
    return float(result["half_width_95"][r][c] / result["target"][r][c])


def count_holds(holds: int) -> str:
    return f"{holds} hold{'' if holds == 1 else 's'}"


def format_half_width(half: float) -> str:
    """Format a half-width, or return 'too wide' if it says nothing any more."""
    return f"± {format_number(half, 3)}" if half <= MAX_HALF_WIDTH_SHOWN else "too wide"


def format_share(share: float) -> str:
    return f"{format_number(100 * share, 1, signed=True)}{NO_BREAK_SPACE}%"


def describe_cell(study: MixtureStudy, r: int, c: int) -> str:
    """Describe a cell in a sentence or two, and the visits to it."""
    result = study.result or {}
    where = describe_place(study, r, c)
    mean, half = result["mean"][r][c], result["half_width_95"][r][c]
    if mean is None:
        filled = is_filled(result, r, c)
        correction = describe_correction(result, r, c) if filled else "so nothing is said."
        return f"{where}: not visited{'.' if filled else ','} {correction}"
    off, target = result["off"][r][c], result["target"][r][c]
    interval = f" {format_half_width(half)} (95 %)" if half is not None else ", no interval from so few holds"
    deviation = (
        "on target"
        if shade_class(off) == "cell-on"
        else f"{format_share(abs(off))[1:]} {'leaner' if off > 0 else 'richer'}"
    )
    n, holds = result["n"][r][c], result["dwells"][r][c]
    basis = f"{n} samples in {count_holds(holds)}"
    support = result["support"][r][c] if "support" in result else holds
    if support > holds:
        basis += f", {count_holds(support - holds)} beside it"
    measured_as = (
        f"lambda {format_number(mean, 3)}{interval}, target {format_number(target, 3)}, {deviation}; {basis}"
    )
    summary = f"{where}: {measured_as}. {describe_correction(result, r, c)}"
    return "\n".join([summary, *map(describe_visit, result.get("behind", {}).get(f"{r},{c}", []))])


def describe_visit(visit: Json) -> str:
    """Describe one visit to a cell: run, time, samples and mean lambda."""
    when = f"{format_number(visit['from_s'], 1)} to {format_number(visit['to_s'], 1)} s"
    return f"{visit['run']}, {when}: {visit['samples']} samples, lambda {format_number(visit['lambda'], 3)}"


def describe_correction(result: Json, r: int, c: int) -> str:
    multiplier = result["correction"][r][c]
    if multiplier is None:
        return f"No correction: {result['reason'][r][c]}."
    change = f"Fuel {format_share(multiplier - 1)}"
    if is_filled(result, r, c):
        return f"{change}, filled in between two measured neighbours, not from this cell."
    if is_uncertain(result, r, c):
        half = format_number(100 * correction_half_width(result, r, c), 1)
        change = f"{change} ± {half} %, {result['reason'][r][c]}, corrected on demand"
    if result["limited"][r][c]:
        return f"{change}, limited in one pass; {format_share(result['wanted'][r][c] - 1)} was asked for."
    return f"{change}."


def severe_warnings(study: MixtureStudy) -> list[str]:
    """Return the warnings to read before any value, lean at high load first."""
    flags = (study.result or {}).get("warnings", [])
    return [flag["sentence"] for flag in flags if flag["code"] in SEVERE]


def other_warnings(study: MixtureStudy) -> list[str]:
    flags = (study.result or {}).get("warnings", [])
    return [flag["sentence"] for flag in flags if flag["code"] not in SEVERE]


def correction_sentence(study: MixtureStudy) -> str:
    """Describe how many cells get a correction and why the others do not; '' without a result."""
    result = study.result or {}
    if not result:
        return ""
    cells = [(r, c) for r in range(len(study.load_axis)) for c in range(len(study.rpm_axis))]
    given = [cell for cell in cells if cell_value(result, "correction", cell) is not None]
    filled = sum(is_filled(result, *cell) for cell in given)
    limited = sum(cell_value(result, "limited", cell) for cell in given)
    uncertain = sum(is_uncertain(result, *cell) for cell in given)
    visited = sum(cell_value(result, "n", cell) > 0 for cell in cells)
    measured_well = len(given) - filled
    unseen = len(cells) - visited - filled
    parts = [
        f"A correction of the fuel is given for {len(given)} of {len(cells)} cells",
        f"{filled} of them filled in between two measured neighbours, not measured" if filled else "",
        f"{limited} limited in one pass" if limited else "",
        f"{uncertain} on demand although they rest on too few holds or are too uncertain"
        if uncertain
        else "",
        f"{visited - measured_well} visited too little for one" if visited > measured_well else "",
        f"{unseen} not visited" if unseen else "",
    ]
    return "; ".join(part for part in parts if part) + "."


def cell_value(result: Json, name: str, cell: tuple[int, int]) -> Any:
    return result[name][cell[0]][cell[1]]


def fuel_table_sentence(study: MixtureStudy) -> str:
    """Describe what changed in the pasted fuel table, or return '' if there is none."""
    after = study.fuel_table_after
    if not after:
        return ""
    changed = sum(sum(row) for row in after["changed"])
    count = sum(len(row) for row in after["changed"])
    dead_time = study.settings_used.get("dead_time")
    parts = [
        f"{changed} of the {count} cells of the fuel table changed: {after['covered']} are covered by what "
        f"was measured, rounded to the table's own step of {after['step']:g}; all others are as they came.",
        f"{after['limited']} lean on a correction that was limited." if after["limited"] else "",
        f"{after['filled']} lean on a cell that was filled in, not measured." if after.get("filled") else "",
        f"{after['uncertain']} lean on a correction that is too uncertain." if after.get("uncertain") else "",
        f"Only what is beyond the dead time of {dead_time:g} was corrected." if dead_time else "",
    ]
    return " ".join(part for part in parts if part)


def load_sentence(study: MixtureStudy) -> str:
    """Describe the mixture at high load, or return '' if a warning covers it or there is no result."""
    result, used = study.result or {}, study.settings_used or {}
    if not result or any(flag["code"] == "lean-at-high-load" for flag in result.get("warnings", ())):
        return ""
    load = used.get("high_load_pct", HIGH_LOAD_PCT)
    rows = [row for opening, row in zip(study.load_axis, result["off"], strict=True) if opening >= load]
    seen = sum(off is not None for row in rows for off in row)
    where = f"at {load:g} % {LOADS.get(study.load_channel, 'load')} and more"
    if not seen:
        return f"Nothing was measured {where}: whether the engine runs lean there is not known."
    lean = used.get("lean_share", LEAN_SHARE)
    cells = "cell was" if seen == 1 else "cells were"
    return f"{seen} {cells} measured {where}; none is leaner than its target by {100 * lean:g} % or more."


def excluded_samples(study: MixtureStudy) -> list[tuple[str, int]]:
    """Return how many samples are in no cell, by reason, most frequent first."""
    result = study.result or {}
    counts = {**result.get("left_out", {})}
    for reason, n in result.get("unused", {}).items():
        counts[reason] = counts.get(reason, 0) + n
    return sorted(counts.items(), key=lambda item: -item[1])


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
    """Comparison of a study with the one before it, as a sentence and by cell."""

    study: MixtureStudy
    sentence: str
    rows: list[MixtureRow]


def find_previous_pass(study: MixtureStudy, studies: Iterable[MixtureStudy]) -> PreviousPass | None:
    """Compare a study with the previous one on the same axes, or return None without one."""
    before = [other for other in studies if other.pk < study.pk and has_same_axes(other, study)]
    if not before or not study.result:
        return None
    first = before[-1]
    found = compare_passes(load_grid(first), load_grid(study), as_array(study.result["target"]))
    rows = [
        MixtureRow(load, [pass_cell(study, found, r, c) for c in range(len(study.rpm_axis))])
        for r, load in enumerate(study.load_axis)
    ]
    return PreviousPass(first, found.sentence, rows)


def pass_cell(study: MixtureStudy, found: PassComparison, r: int, c: int) -> MixtureCell:
    """Describe the deviation of a cell in both passes and the change between them."""
    was, now = float(found.off_first[r, c]), float(found.off_second[r, c])
    where = describe_place(study, r, c)
    if np.isnan(was) or np.isnan(now):
        missing = "in neither pass" if np.isnan(was) and np.isnan(now) else "in one pass only"
        return MixtureCell("·", "", "cell-none", f"{where}: measured {missing}.")
    kind = "closer" if found.closer[r, c] else "further" if found.further[r, c] else "same"
    verdict, change = PASSES[kind]
    about = f"{where}: {format_deviation(was)} before, {format_deviation(now)} now; {change}."
    return MixtureCell(
        f"{format_number(100 * was, 1, signed=True)} → {format_share(now)}", verdict, f"cell-{kind}", about
    )


def format_deviation(off: float) -> str:
    return f"{format_share(abs(off)).removeprefix('+')} {'leaner' if off > 0 else 'richer'} than the target"


def describe_place(study: MixtureStudy, r: int, c: int) -> str:
    load = LOADS.get(study.load_channel, "load")
    return f"{format_number(study.rpm_axis[c])} 1/min, {study.load_axis[r]:g} % {load}"


def has_same_axes(one: MixtureStudy, other: MixtureStudy) -> bool:
    same = one.rpm_axis == other.rpm_axis and one.load_axis == other.load_axis
    return bool(one.result) and same and one.load_channel == other.load_channel


def load_grid(study: MixtureStudy) -> calc.MixtureGrid:
    """Load the grid of a stored result."""
    result = study.result or {}
    n = np.array(result["n"], dtype=np.intp)
    return calc.MixtureGrid(
        rpm_axis=np.array(study.rpm_axis, dtype=float),
        load_axis=np.array(study.load_axis, dtype=float),
        mean=as_array(result["mean"]),
        sd=as_array(result["sd"]),
        n=n,
        holds=np.array(result["dwells"], dtype=np.intp),
        support=np.array(result.get("support", result["dwells"]), dtype=np.intp),
        half_width_95=as_array(result["half_width_95"]),
        hold_sd=np.nan,
        df=0.0,
        end_of_scale=np.array(result["end_of_scale"], dtype=np.intp),
        unused={},
    )


def fuel_table_csv(study: MixtureStudy) -> str:
    """Return the corrected fuel table as CSV with decimal points; numbers only, so no formulas."""
    assert study.fuel_table_after  # checked by the view
    out = io.StringIO(newline="")
    csv.writer(out).writerows(build_csv_rows(parse_table(study.fuel_table_after["text"], row_name="load")))
    return out.getvalue()
