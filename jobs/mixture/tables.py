"""A stored mixture study as its page shows it: shades, marks and the story behind each cell."""

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
from jobs.mixture.study import LOADS, ON_TARGET, Json, measured
from jobs.models import MixtureStudy
from workshop.units.display import NO_BREAK_SPACE

# How far off its target each of the three shades of a cell begins; common practice, no source.
SHADES = (ON_TARGET, 0.03, 0.06)
# Beyond this half-width a figure says nothing of the mixture; common practice, no source.
WIDEST_SHOWN = 0.1
# What is said of a cell under its figures, and in its story, of two passes.
PASSES = {
    "closer": ("closer", "it came closer"),
    "further": ("further", "it went further off"),
    "same": ("not shown", "no difference is shown"),
}
GRAVE = ("lean-at-high-load", "end-of-scale", "implausible")


@dataclass(frozen=True)
class Cell:
    """A cell as the page shows it: its figure, what stands under it, its look, and its story."""

    text: str
    small: str
    look: str
    about: str


@dataclass(frozen=True)
class Row:
    load: float
    cells: list[Cell]


def look_of(off: float | None) -> str:
    """Which shade a cell has: on target, or rich or lean by one of three steps."""
    if off is None:
        return "cell-none"
    steps = sum(abs(off) > begins for begins in SHADES)
    return f"cell-{'lean' if off > 0 else 'rich'}-{steps}" if steps else "cell-on"


def lambda_rows(study: MixtureStudy) -> list[Row]:
    """The grid as it is shown: lambda with its half-width, or the mark of too few dwells."""
    return rows_of(study, lambda_cell)


def correction_rows(study: MixtureStudy) -> list[Row]:
    return rows_of(study, correction_cell)


def rows_of(study: MixtureStudy, cell: Callable[[Json, int, int, str], Cell]) -> list[Row]:
    result = study.result or {}
    if not result:
        return []
    return [
        Row(load, [cell(result, r, c, story(study, r, c)) for c in range(len(study.rpm_axis))])
        for r, load in enumerate(study.load_axis)
    ]


def lambda_cell(result: Json, r: int, c: int, about: str) -> Cell:
    mean, half, dwells = (result[name][r][c] for name in ("mean", "half_width_95", "dwells"))
    if mean is None:
        return Cell("·", "", "cell-none", about)
    look = look_of(result["off"][r][c])
    if not result["few"][r][c]:
        return Cell(format_number(mean, 3), f"± {format_number(half, 3)}", look, about)
    said = f"◌ {dwells} dwell{'' if dwells == 1 else 's'}" if half is None else f"◌ {plus_minus(half)}"
    return Cell(format_number(mean, 3), said, f"{look} cell-few", about)


def correction_cell(result: Json, r: int, c: int, about: str) -> Cell:
    multiplier, reason = result["correction"][r][c], result["reason"][r][c]
    if is_filled(result, r, c):
        return Cell(percent(multiplier - 1), "filled", "cell-fill", about)
    if multiplier is None:
        return Cell("·" if reason == calc.NoCorrectionReason.NOT_VISITED else "◌", "", "cell-none", about)
    limited = result["limited"][r][c]
    look = "cell-on cell-limited" if limited else "cell-on"
    return Cell(percent(multiplier - 1), "limited" if limited else "", look, about)


def is_filled(result: Json, r: int, c: int) -> bool:
    return "filled" in result and result["filled"][r][c]


def plus_minus(half: float) -> str:
    """A half-width; one that says nothing any more in words."""
    return f"± {format_number(half, 3)}" if half <= WIDEST_SHOWN else "too wide"


def percent(share: float) -> str:
    return f"{format_number(100 * share, 1, signed=True)}{NO_BREAK_SPACE}%"


def story(study: MixtureStudy, r: int, c: int) -> str:
    """What stands behind a cell, in a sentence or two."""
    result = study.result or {}
    where = place(study, r, c)
    mean, half = result["mean"][r][c], result["half_width_95"][r][c]
    if mean is None:
        filled = is_filled(result, r, c)
        said = correction_words(result, r, c) if filled else "so nothing is said."
        return f"{where}: not visited{'.' if filled else ','} {said}"
    off, target = result["off"][r][c], result["target"][r][c]
    sure = f" {plus_minus(half)} (95 %)" if half is not None else ", no interval from so few dwells"
    way = (
        "on target"
        if look_of(off) == "cell-on"
        else f"{percent(abs(off))[1:]} {'leaner' if off > 0 else 'richer'}"
    )
    n, dwells = result["n"][r][c], result["dwells"][r][c]
    behind = f"{n} samples in {dwells} dwell{'' if dwells == 1 else 's'}"
    measured_as = f"lambda {format_number(mean, 3)}{sure}, target {format_number(target, 3)}, {way}; {behind}"
    said = f"{where}: {measured_as}. {correction_words(result, r, c)}"
    return "\n".join([said, *map(visit_words, result.get("behind", {}).get(f"{r},{c}", []))])


def visit_words(visit: Json) -> str:
    """One visit to a cell: which run, when in it, how much, and what the sensor showed."""
    when = f"{format_number(visit['from_s'], 1)} to {format_number(visit['to_s'], 1)} s"
    return f"{visit['run']}, {when}: {visit['samples']} samples, lambda {format_number(visit['lambda'], 3)}"


def correction_words(result: Json, r: int, c: int) -> str:
    multiplier = result["correction"][r][c]
    if multiplier is None:
        return f"No correction: {result['reason'][r][c]}."
    said = f"Fuel {percent(multiplier - 1)}"
    if is_filled(result, r, c):
        return f"{said}, filled in between two measured neighbours, not from this cell."
    if result["limited"][r][c]:
        return f"{said}, limited in one pass; {percent(result['wanted'][r][c] - 1)} was asked for."
    return f"{said}."


def grave_warnings(study: MixtureStudy) -> list[str]:
    """What must be read before any figure: lean at high load first."""
    return [each["sentence"] for each in (study.result or {}).get("warnings", []) if each["code"] in GRAVE]


def other_warnings(study: MixtureStudy) -> list[str]:
    flags = (study.result or {}).get("warnings", [])
    return [each["sentence"] for each in flags if each["code"] not in GRAVE]


def correction_sentence(study: MixtureStudy) -> str:
    """In how many cells the fuel is to be changed, and why not in the others; '' without a result."""
    result = study.result or {}
    if not result:
        return ""
    cells = [(r, c) for r in range(len(study.load_axis)) for c in range(len(study.rpm_axis))]
    given = [cell for cell in cells if at_cell(result, "correction", cell) is not None]
    filled = sum(is_filled(result, *cell) for cell in given)
    limited = sum(at_cell(result, "limited", cell) for cell in given)
    visited = sum(at_cell(result, "n", cell) > 0 for cell in cells)
    measured_well = len(given) - filled
    unseen = len(cells) - visited - filled
    said = [
        f"A correction of the fuel is given for {len(given)} of {len(cells)} cells",
        f"{filled} of them filled in between two measured neighbours, not measured" if filled else "",
        f"{limited} limited in one pass" if limited else "",
        f"{visited - measured_well} visited too little for one" if visited > measured_well else "",
        f"{unseen} not visited" if unseen else "",
    ]
    return "; ".join(part for part in said if part) + "."


def at_cell(result: Json, name: str, cell: tuple[int, int]) -> Any:
    return result[name][cell[0]][cell[1]]


def fuel_table_sentence(study: MixtureStudy) -> str:
    """What became of the fuel table that was pasted; '' where none was."""
    after = study.fuel_table_after
    if not after:
        return ""
    changed = sum(sum(row) for row in after["changed"])
    count = sum(len(row) for row in after["changed"])
    dead_time = study.settings_used.get("dead_time")
    said = [
        f"{changed} of the {count} cells of the fuel table changed: {after['covered']} are covered by what "
        f"was measured, rounded to the table's own step of {after['step']:g}; all others are as they came.",
        f"{after['limited']} lean on a correction that was limited." if after["limited"] else "",
        f"{after['filled']} lean on a cell that was filled in, not measured." if after.get("filled") else "",
        f"Only what is beyond the dead time of {dead_time:g} was corrected." if dead_time else "",
    ]
    return " ".join(part for part in said if part)


def load_sentence(study: MixtureStudy) -> str:
    """That high load was looked at and found not lean; '' where a warning says otherwise, or nothing can."""
    result, used = study.result or {}, study.settings_used or {}
    if not result or any(each["code"] == "lean-at-high-load" for each in result.get("warnings", ())):
        return ""
    load = used.get("high_load_pct", HIGH_LOAD_PCT)
    rows = [row for at, row in zip(study.load_axis, result["off"], strict=True) if at >= load]
    seen = sum(off is not None for row in rows for off in row)
    where = f"at {load:g} % {LOADS.get(study.load_channel, 'load')} and more"
    if not seen:
        return f"Nothing was measured {where}: whether the engine runs lean there is not known."
    lean = used.get("lean_share", LEAN_SHARE)
    cells = "cell was" if seen == 1 else "cells were"
    return f"{seen} {cells} measured {where}; none is leaner than its target by {100 * lean:g} % or more."


def left_out(study: MixtureStudy) -> list[tuple[str, int]]:
    """Samples that are in no cell, by reason, the most first."""
    result = study.result or {}
    counts = {**result.get("left_out", {})}
    for reason, n in result.get("unused", {}).items():
        counts[reason] = counts.get(reason, 0) + n
    return sorted(counts.items(), key=lambda each: -each[1])


def table_text_rows(study: MixtureStudy) -> list[tuple[str, list[tuple[str, bool]]]]:
    """The corrected fuel table by rows: its text, and whether the cell was changed."""
    after = study.fuel_table_after
    if not after:
        return []
    texts = parse_table(after["text"], row_name="load").texts
    changed = [[False] * (len(texts[0]) - 1), *after["changed"]]
    return [
        (row[0], list(zip(row[1:], marks, strict=True))) for row, marks in zip(texts, changed, strict=True)
    ]


@dataclass(frozen=True)
class EarlierPass:
    """A study held against the one before it: in a sentence, and cell by cell."""

    study: MixtureStudy
    sentence: str
    rows: list[Row]


def earlier_pass(study: MixtureStudy, studies: Iterable[MixtureStudy]) -> EarlierPass | None:
    """The study before this one on the same axes, and which cells came closer to the target since."""
    before = [each for each in studies if each.pk < study.pk and on_same_axes(each, study)]
    if not before or not study.result:
        return None
    first = before[-1]
    found = compare_passes(stored_grid(first), stored_grid(study), measured(study.result["target"]))
    rows = [
        Row(load, [passes_cell(study, found, r, c) for c in range(len(study.rpm_axis))])
        for r, load in enumerate(study.load_axis)
    ]
    return EarlierPass(first, found.sentence, rows)


def passes_cell(study: MixtureStudy, found: PassComparison, r: int, c: int) -> Cell:
    """How far off its target a cell was and is, and whether that came closer."""
    was, now = float(found.off_first[r, c]), float(found.off_second[r, c])
    where = place(study, r, c)
    if np.isnan(was) or np.isnan(now):
        lacks = "in neither pass" if np.isnan(was) and np.isnan(now) else "in one pass only"
        return Cell("·", "", "cell-none", f"{where}: measured {lacks}.")
    kind = "closer" if found.closer[r, c] else "further" if found.further[r, c] else "same"
    verdict, said = PASSES[kind]
    about = f"{where}: {off_words(was)} before, {off_words(now)} now; {said}."
    return Cell(
        f"{format_number(100 * was, 1, signed=True)} → {percent(now)}", verdict, f"cell-{kind}", about
    )


def off_words(off: float) -> str:
    return f"{percent(abs(off)).removeprefix('+')} {'leaner' if off > 0 else 'richer'} than the target"


def place(study: MixtureStudy, r: int, c: int) -> str:
    load = LOADS.get(study.load_channel, "load")
    return f"{format_number(study.rpm_axis[c])} 1/min, {study.load_axis[r]:g} % {load}"


def on_same_axes(one: MixtureStudy, other: MixtureStudy) -> bool:
    same = one.rpm_axis == other.rpm_axis and one.load_axis == other.load_axis
    return bool(one.result) and same and one.load_channel == other.load_channel


def stored_grid(study: MixtureStudy) -> calc.MixtureGrid:
    """The grid of a stored result."""
    result = study.result or {}
    n = np.array(result["n"], dtype=np.intp)
    return calc.MixtureGrid(
        rpm_axis=np.array(study.rpm_axis, dtype=float),
        load_axis=np.array(study.load_axis, dtype=float),
        mean=measured(result["mean"]),
        sd=measured(result["sd"]),
        n=n,
        holds=np.array(result["dwells"], dtype=np.intp),
        n_effective=np.full(n.shape, np.nan),
        half_width_95=measured(result["half_width_95"]),
        end_of_scale=np.array(result["end_of_scale"], dtype=np.intp),
        unused={},
    )


def fuel_table_csv(study: MixtureStudy) -> str:
    """The corrected fuel table as CSV, points as decimals; figures only, so nothing that could run."""
    assert study.fuel_table_after  # the view asks first
    out = io.StringIO(newline="")
    csv.writer(out).writerows(build_csv_rows(parse_table(study.fuel_table_after["text"], row_name="load")))
    return out.getvalue()
