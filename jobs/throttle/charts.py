"""Charts of throttle tables, and of the plate in held-throttle runs."""

from collections.abc import Mapping, Sequence

import numpy as np

from jobs.calc.throttle import tables as calc
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.runs.chart_data import ChannelDisplay, Chart, CurveLine, Look, build_chart
from jobs.throttle.from_runs import DriftCheck
from jobs.tunes.throttle_tables import Mode, TableReview, review_table

PLATE = ChannelDisplay("Throttle plate", "%", 1)
GAIN = ChannelDisplay("Gain: plate % per 1 % of grip", "", 2)
HELD_STEP_RPM = 100.0


def build_modes_chart(
    tables: Mapping[str, TableReview], modes: Sequence[Mode], at_rpm: float
) -> Chart | None:
    """Chart plate and gain by grip at one engine speed: modes of a tune, as received, and tried."""
    lines = [*mode_lines(tables, at_rpm), *other_lines(tables, modes, at_rpm)]
    if not lines:
        return None
    gains = [
        CurveLine(line.label, line.look, line.x, np.gradient(line.y, line.x), hue=line.hue)
        for line in lines
        if line.x.size > 1
    ]
    return build_chart("Grip", "%", [(PLATE, lines), (GAIN, gains)])


def mode_lines(tables: Mapping[str, TableReview], at_rpm: float) -> list[CurveLine]:
    """Return a line for each mode: the only one in the accent, several told apart."""
    look: Look = "after" if len(tables) == 1 else "other"
    found = (table_line(name, look, review, at_rpm) for name, review in tables.items())
    return [line for line in found if line]


def other_lines(tables: Mapping[str, TableReview], modes: Sequence[Mode], at_rpm: float) -> list[CurveLine]:
    """Return the tables that are not among those shown: as received, in the bike, tried."""
    shown = {review.table for review in tables.values()}
    found = []
    for mode in modes:
        if mode.received and mode.received.table not in shown:
            found.append(table_line(f"{mode.name}, as received", "before", mode.received, at_rpm))
        if mode.loaded and mode.loaded.table not in shown:
            found.append(table_line(f"{mode.name}, in the bike", "aside", mode.loaded, at_rpm))
        found += [
            table_line(f"{mode.name}, {table.revision}", "aside", review_table(table), at_rpm)
            for table in mode.others
            if table not in shown
        ]
    received = [line for line in found if line and line.look == "before"]
    hues = {id(line): number for number, line in enumerate(received, start=1)} if len(received) > 1 else {}
    return [
        CurveLine(line.label, line.look, line.x, line.y, hue=hues.get(id(line), 0)) for line in found if line
    ]


def table_line(label: str, look: Look, review: TableReview, at_rpm: float) -> CurveLine | None:
    if review.throttle_map is None:
        return None
    grip = review.throttle_map.grip_pct
    return CurveLine(label, look, grip, plate_at(review.throttle_map, at_rpm))


def plate_at(throttle_map: calc.ThrottleMap, at_rpm: float) -> FloatArray:
    return np.atleast_1d(np.asarray(calc.lookup_plate(throttle_map, throttle_map.grip_pct, at_rpm)))


def build_held_chart(check: DriftCheck) -> Chart | None:
    """Chart the plate over engine speed of each held-throttle run of a tune: lines that should be level."""
    lines: list[CurveLine] = []
    for run in check.runs:
        channels = load_channels(run, ("grip_pct", "plate_pct", "engine_speed_rpm"))
        grip, plate, speed = (channels[name] for name in ("grip_pct", "plate_pct", "engine_speed_rpm"))
        opening = float(np.nanmedian(grip)) if np.isfinite(grip).any() else np.nan
        held = np.abs(grip - opening) <= 1
        known = held & np.isfinite(plate) & np.isfinite(speed)
        if not known.any():
            continue
        bins = np.round(speed[known] / HELD_STEP_RPM)
        at, place = np.unique(bins, return_inverse=True)
        mean = np.bincount(place, weights=plate[known]) / np.bincount(place)
        label = f"{opening:.0f} % grip"
        if any(line.label == label for line in lines):
            label = f"{label}, {run}"
        lines.append(CurveLine(label, "other", at * HELD_STEP_RPM, mean))
    chart = build_chart("Engine speed", "rpm", [(PLATE, lines)]) if lines else None
    if chart:
        chart["panels"][0]["y_range"] = [0, 102]
        chart["panels"][0]["title"] = f"Throttle plate, {check.label}"
    return chart
