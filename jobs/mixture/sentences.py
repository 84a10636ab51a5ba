"""What a stored mixture study says as a whole: the answer, warnings, and what the correction covers."""

from collections.abc import Sequence

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from jobs.calc.dyno.curves import Flag
from jobs.calc.mixture import grid as calc
from jobs.calc.mixture.fuel import FUELS
from jobs.calc.mixture.warnings import (
    HIGH_LOAD_PCT,
    LEAN_SHARE,
    LeanRegion,
    find_lean_regions,
    find_warnings,
)
from jobs.calc.units.numbers import format_digits, format_number
from jobs.mixture.study import LOADS, ON_TARGET, Json, as_array
from jobs.models import MixtureStudy

SEVERE = ("lean-at-high-load", "end-of-scale", "implausible")
# Simulated passes with a drift from run to run: how often the 95 % intervals of one pass held the true value.
ONE_PASS = gettext_noop(
    "Most cells come from a single run. The intervals do not include anything that shifts a whole "
    "run (sensor, fuel, heat): in simulated single passes with such a drift they held the true value "
    "in 79 to 90 % of cells, not 95 %. Measure a second pass before relying on the corrections."
)


def load_name(study: MixtureStudy) -> str:
    return LOADS.get(study.load_channel, "load")


def fuel_name(study: MixtureStudy) -> str:
    fuel = FUELS.get(study.fuel)
    return fuel.name if fuel else study.fuel


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


def lean_limits(study: MixtureStudy) -> tuple[float, float]:
    """Return the load from which lean is a hazard [%], and the share of the target that counts as lean."""
    used = study.settings_used or {}
    return used.get("high_load_pct", HIGH_LOAD_PCT), used.get("lean_share", LEAN_SHARE)


def lean_regions(study: MixtureStudy) -> list[LeanRegion]:
    if not study.result:
        return []
    high_load_pct, lean_share = lean_limits(study)
    target = as_array(study.result["target"])
    return find_lean_regions(load_grid(study), target, high_load_pct=high_load_pct, lean_share=lean_share)


def study_warnings(study: MixtureStudy) -> Sequence[Flag]:
    if not study.result:
        return ()
    high_load_pct, lean_share = lean_limits(study)
    return find_warnings(
        load_grid(study),
        as_array(study.result["target"]),
        high_load_pct=high_load_pct,
        lean_share=lean_share,
        min_holds=(study.settings_used or {}).get("fewest_dwells", calc.MIN_HOLDS),
        load_name=load_name(study),
    )


def severe_warnings(study: MixtureStudy) -> list[str]:
    """Return the warnings to read before any value, lean at high load first."""
    return [flag.sentence for flag in study_warnings(study) if flag.code in SEVERE]


def other_warnings(study: MixtureStudy) -> list[str]:
    return [flag.sentence for flag in study_warnings(study) if flag.code not in SEVERE]


def describe_answer(study: MixtureStudy) -> str:
    """Return what the study found, for the heading."""
    if not study.result:
        return "This study has not been calculated yet"
    codes = {flag.code: flag for flag in study_warnings(study)}
    grid, off = load_grid(study), as_array(study.result["off"])
    if "no-samples" in codes:
        return "No cell has steady samples"
    if "implausible" in codes:
        return "Every cell is off target by about the same amount. Check the sensor first"
    if regions := lean_regions(study):
        columns = regions[0].cells.any(axis=0)
        return f"Up to {format_off(regions[0].off)} under load, {describe_speeds(grid.rpm_axis[columns])}"
    if "end-of-scale" in codes:
        return "Leaner in places than the sensor can show"
    away = np.where(np.abs(off) > ON_TARGET, off, np.nan)
    if np.isnan(away).all():
        return "On target in all measured cells"
    row, column = np.unravel_index(int(np.nanargmax(np.abs(away))), away.shape)
    place = f"{format_number(grid.rpm_axis[column])} rpm and {grid.load_axis[row]:g} % {load_name(study)}"
    return f"Up to {format_off(float(away[row, column]))}, at {place}"


def format_off(off: float) -> str:
    """Return a deviation as in '8 % lean of target'."""
    return f"{format_number(100 * abs(off))} % {'lean' if off > 0 else 'rich'} of target"


def describe_speeds(speeds: Sequence[float] | np.ndarray) -> str:
    ends = dict.fromkeys(format_number(speed) for speed in (speeds[0], speeds[-1]))
    return f"{' to '.join(ends)} rpm"


def describe_standing(study: MixtureStudy) -> str:
    """Return how many cells are on target; '' without a result."""
    result = study.result or {}
    if "cells_measured" not in result:
        return ""
    text = ngettext(
        "%(count)s of %(all)s measured cell is within %(share)s %% of target.",
        "%(count)s of %(all)s measured cells are within %(share)s %% of target.",
        result["cells_measured"],
    )
    return text % {
        "count": result["cells_on_target"],
        "all": result["cells_measured"],
        "share": format_digits(100 * ON_TARGET),
    }


def describe_extent(study: MixtureStudy) -> str:
    """Return beyond which engine speed and load nothing was measured; '' if the whole grid was."""
    if not study.result:
        return ""
    visited = load_grid(study).visited
    if not visited.any():
        return ""
    parts = []
    for axis, seen, unit in (
        (study.rpm_axis, visited.any(axis=0), _("rpm")),
        (study.load_axis, visited.any(axis=1), f"% {_(load_name(study))}"),
    ):
        at = np.flatnonzero(seen)
        if at[0] > 0:
            parts.append(_("below %(value)s %(unit)s") % {"value": format_number(axis[at[0]]), "unit": unit})
        if at[-1] < len(axis) - 1:
            parts.append(_("above %(value)s %(unit)s") % {"value": format_number(axis[at[-1]]), "unit": unit})
    return _("Not measured %(where)s.") % {"where": ", ".join(parts)} if parts else ""


def correction_sentence(study: MixtureStudy) -> str:
    """Describe how many cells get a correction and why the others do not; '' without a result."""
    result = study.result or {}
    if not result:
        return ""
    cells = [(r, c) for r in range(len(study.load_axis)) for c in range(len(study.rpm_axis))]
    given = [(r, c) for r, c in cells if result["correction"][r][c] is not None]
    filled = sum(is_filled(result, r, c) for r, c in given)
    limited = sum(result["limited"][r][c] for r, c in given)
    uncertain = sum(is_uncertain(result, r, c) for r, c in given)
    visited = sum(result["n"][r][c] > 0 for r, c in cells)
    measured_well = len(given) - filled
    unseen = len(cells) - visited - filled
    parts = {
        _("%(count)s interpolated between two measured neighbours, not measured"): filled,
        _("%(count)s limited in one pass"): limited,
        _("%(count)s although too uncertain, because you asked for it"): uncertain,
        _("%(count)s with too little data"): max(0, visited - measured_well),
        _("%(count)s with no data"): max(0, unseen),
    }
    found = ", ".join(text % {"count": count} for text, count in parts.items() if count)
    text = _("Fuel correction calculated for %(count)s of %(all)s cells") % {
        "count": len(given),
        "all": len(cells),
    }
    return f"{text}{f': {found}' if found else ''}."


def is_filled(result: Json, r: int, c: int) -> bool:
    return "filled" in result and result["filled"][r][c]


def is_uncertain(result: Json, r: int, c: int) -> bool:
    return "uncertain" in result and result["uncertain"][r][c]


def pass_sentence(study: MixtureStudy) -> str:
    """Ask for a second pass if most corrected cells come from one run alone; else ''."""
    result = study.result or {}
    runs = [
        len({visit["run"] for visit in visits})
        for place, visits in result.get("behind", {}).items()
        if result["correction"][int(place.split(",")[0])][int(place.split(",")[1])] is not None
    ]
    return _(ONE_PASS) if runs and sum(count == 1 for count in runs) > len(runs) / 2 else ""


def fuel_table_sentence(study: MixtureStudy) -> str:
    """Describe what changed in the pasted fuel table, or return '' if there is none."""
    after = study.fuel_table_after
    if not after:
        return ""
    changed = sum(sum(row) for row in after["changed"])
    count = sum(len(row) for row in after["changed"])
    dead_time = study.settings_used.get("dead_time")
    text = _(
        "%(changed)s of %(all)s cells in the fuel table changed. %(covered)s are covered by measurements, "
        "rounded to the table step of %(step)s. All others are unchanged."
    )
    values = {
        "changed": changed,
        "all": count,
        "covered": after["covered"],
        "step": format_digits(after["step"]),
    }
    counts = {
        _("%(count)s use a limited correction."): after["limited"],
        _("%(count)s use an interpolated cell, not a measured one."): after.get("filled"),
        _("%(count)s use a correction that is too uncertain."): after.get("uncertain"),
    }
    parts = [text % values, *(words % {"count": number} for words, number in counts.items() if number)]
    if dead_time:
        beyond = _("Only the pulse width beyond the dead time of %(time)s was corrected.")
        parts.append(beyond % {"time": format_digits(dead_time)})
    return " ".join(parts)


def load_sentence(study: MixtureStudy) -> str:
    """Describe the mixture at high load, or return '' if a warning covers it or there is no result."""
    if not study.result or lean_regions(study):
        return ""
    load, lean = lean_limits(study)
    rows = [row for point, row in zip(study.load_axis, study.result["off"], strict=True) if point >= load]
    seen = sum(off is not None for row in rows for off in row)
    values = {
        "count": seen,
        "from": format_digits(load),
        "load": _(load_name(study)),
        "share": format_digits(100 * lean),
    }
    if not seen:
        return (
            _(
                "Nothing was measured from %(from)s %% %(load)s up. Whether the engine runs lean there is "
                "not "
                "known."
            )
            % values
        )
    text = ngettext(
        "%(count)s cell was measured from %(from)s %% %(load)s up. None is more than %(share)s %% leaner "
        "than "
        "target.",
        "%(count)s cells were measured from %(from)s %% %(load)s up. None is more than %(share)s %% leaner "
        "than target.",
        seen,
    )
    return text % values
