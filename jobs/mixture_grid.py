"""A stored mixture study as its page shows it: shades, marks and the story behind each cell."""

import csv
import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from jobs.calc import mixture as calc
from jobs.calc.fuel_table import compare_passes
from jobs.calc.pasted_table import parse_table, table_rows
from jobs.mixture import LOADS, ON_TARGET, Json, measured
from jobs.models import MixtureStudy
from workshop.units import NO_BREAK_SPACE

# How far off its target each of the three shades of a cell begins; common practice, no source.
SHADES = (ON_TARGET, 0.03, 0.06)
# Beyond this half-width a figure says nothing of the mixture; common practice, no source.
WIDEST_SHOWN = 0.1
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
        return Cell(f"{mean:.3f}", f"± {half:.3f}", look, about)
    said = f"◌ {dwells} dwell{'' if dwells == 1 else 's'}" if half is None else f"◌ {plus_minus(half)}"
    return Cell(f"{mean:.3f}", said, f"{look} cell-few", about)


def correction_cell(result: Json, r: int, c: int, about: str) -> Cell:
    multiplier, reason = result["correction"][r][c], result["reason"][r][c]
    if multiplier is None:
        return Cell("·" if reason == calc.NoCorrection.NOT_VISITED else "◌", "", "cell-none", about)
    limited = result["limited"][r][c]
    look = "cell-on cell-limited" if limited else "cell-on"
    return Cell(percent(multiplier - 1), "limited" if limited else "", look, about)


def plus_minus(half: float) -> str:
    """A half-width; one that says nothing any more in words."""
    return f"± {half:.3f}" if half <= WIDEST_SHOWN else "too wide"


def percent(share: float) -> str:
    figure = "0.0" if abs(share) < 0.0005 else f"{100 * share:+.1f}"
    return f"{figure}{NO_BREAK_SPACE}%"


def story(study: MixtureStudy, r: int, c: int) -> str:
    """What stands behind a cell, in a sentence or two."""
    result = study.result or {}
    place = (
        f"{study.rpm_axis[c]:,.0f} 1/min, {study.load_axis[r]:g} % {LOADS.get(study.load_channel, 'load')}"
    )
    mean, half = result["mean"][r][c], result["half_width_95"][r][c]
    if mean is None:
        return f"{place}: not visited, so nothing is said."
    off, target = result["off"][r][c], result["target"][r][c]
    sure = f" {plus_minus(half)} (95 %)" if half is not None else ", no interval from so few dwells"
    way = (
        "on target"
        if look_of(off) == "cell-on"
        else f"{percent(abs(off))[1:]} {'leaner' if off > 0 else 'richer'}"
    )
    n, dwells = result["n"][r][c], result["dwells"][r][c]
    behind = f"{n} samples in {dwells} dwell{'' if dwells == 1 else 's'}"
    measured_as = f"lambda {mean:.3f}{sure}, target {target:.3f}, {way}; {behind}"
    return f"{place}: {measured_as}. {correction_words(result, r, c)}"


def correction_words(result: Json, r: int, c: int) -> str:
    multiplier = result["correction"][r][c]
    if multiplier is None:
        return f"No correction: {result['reason'][r][c]}."
    said = f"Fuel {percent(multiplier - 1)}"
    if result["limited"][r][c]:
        return f"{said}, limited in one pass; {percent(result['wanted'][r][c] - 1)} was asked for."
    return f"{said}."


def grave_warnings(study: MixtureStudy) -> list[str]:
    """What must be read before any figure: lean at high load first."""
    return [each["sentence"] for each in (study.result or {}).get("warnings", []) if each["code"] in GRAVE]


def other_warnings(study: MixtureStudy) -> list[str]:
    flags = (study.result or {}).get("warnings", [])
    return [each["sentence"] for each in flags if each["code"] not in GRAVE]


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


def earlier_pass(study: MixtureStudy, studies: Iterable[MixtureStudy]) -> tuple[MixtureStudy, str] | None:
    """The study before this one on the same axes, and which cells came closer to the target since."""
    before = [each for each in studies if each.pk < study.pk and on_same_axes(each, study)]
    if not before or not study.result:
        return None
    first = before[-1]
    found = compare_passes(stored_grid(first), stored_grid(study), measured(study.result["target"]))
    return first, found.sentence


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
        dwells=np.array(result["dwells"], dtype=np.intp),
        n_effective=np.full(n.shape, np.nan),
        half_width_95=measured(result["half_width_95"]),
        end_of_scale=np.array(result["end_of_scale"], dtype=np.intp),
        unused={},
    )


def fuel_table_csv(study: MixtureStudy) -> str:
    """The corrected fuel table as CSV, points as decimals; figures only, so nothing that could run."""
    assert study.fuel_table_after  # the view asks first
    out = io.StringIO(newline="")
    csv.writer(out).writerows(table_rows(parse_table(study.fuel_table_after["text"], row_name="load")))
    return out.getvalue()
