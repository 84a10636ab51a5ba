"""Chart, sentences and CSV of the drive force, in the shop's units."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from jobs.calc.chassis.drive_force import ShiftAt
from jobs.calc.units.numbers import format_number
from jobs.calc.wording import join_words
from jobs.comparisons.roll_on import AIR_DENSITY_KGM3, ROLLING_COEFFICIENT
from jobs.drive_force.compute import DriveForce, Shift
from jobs.job.sentences import upper_first
from jobs.runs.chart_data import ChannelDisplay, Chart, CurveLine, build_chart, plain_numbers
from workshop.models import ShopProfile
from workshop.units.display import convert, label
from workshop.units.shop_units import shop_unit

AND = "%(first)s and %(last)s"
AT_END = "the lower gear still pulls harder at the highest engine speed measured"
AT_LIMIT = "the lower gear still pulls harder at the rev limit"
SHIFT_COLUMNS = ("change up", "from (rpm)", "95 % ± (rpm)", "to (rpm)")
AT_START = "the next gear pulls harder from the lowest engine speed measured on"


def force_chart(drive: DriveForce, shop: ShopProfile) -> Chart | None:
    """Return the chart of the force in each gear and the road load over road speed."""
    if drive.speed_kmh is None or drive.forces_n is None:
        return None
    unit = shop_unit(shop, "speed")
    speed = convert(drive.speed_kmh, "kmh", unit)
    lines = [
        CurveLine(f"gear {gear}", "other", speed, force) for gear, force in enumerate(drive.forces_n, start=1)
    ]
    if drive.road_load_n is not None:
        lines.append(CurveLine("road load", "before", speed, drive.road_load_n))
    return build_chart("road speed", label(unit), [(ChannelDisplay("drive force", "N", 0), lines)])


def describe_answer(drive: DriveForce | None) -> str:
    """Return where to change up, or that there is no answer."""
    points = [(shift.from_gear, shift.point) for shift in drive.shifts if shift.point] if drive else []
    if drive is None or not points:
        return "Drive force in each gear"
    held = [gear for gear, point in points if point.at is ShiftAt.END]
    speeds = [point.from_rpm for _, point in points if point.at is not ShiftAt.END]
    parts = []
    if held:
        gears = f"{'gear' if len(held) == 1 else 'gears'} {join_words(list(map(str, held)), AND)}"
        top = format_number(max(point.from_rpm for _, point in points if point.at is ShiftAt.END))
        end = "the rev limit" if drive.ends_at_limit else "the highest engine speed measured"
        parts.append(f"hold {gears} to {end}, {top} rpm")
    if speeds:
        ends = dict.fromkeys(format_number(rpm) for rpm in (min(speeds), max(speeds)))
        parts.append(f"change up at {' to '.join(ends)} rpm")
    return upper_first("; ".join(parts))


def shift_rows(drive: DriveForce, shop: ShopProfile) -> list[dict[str, str]]:
    """Return a row of the table for each change of gear, as text."""
    return [_shift_row(shift, drive, shop) for shift in drive.shifts]


def _shift_row(shift: Shift, drive: DriveForce, shop: ShopProfile) -> dict[str, str]:
    gears = f"{shift.from_gear} to {shift.from_gear + 1}"
    point, unit = shift.point, shop_unit(shop, "speed")
    if point is None:
        return {"gears": gears, "note": "no road speed at which both gears were measured"}
    half = shift.half_width_rpm
    at_end = AT_LIMIT if drive.ends_at_limit else AT_END
    note = {ShiftAt.END: at_end, ShiftAt.START: AT_START}.get(point.at, "")
    return {
        "gears": gears,
        "from_rpm": format_number(point.from_rpm),
        "interval": "–"
        if half is None
        else f"{format_number(point.from_rpm - half)} to {format_number(point.from_rpm + half)}",
        "to_rpm": format_number(point.to_rpm),
        "speed": f"{format_number(float(convert(point.speed_kmh, 'kmh', unit)))} {label(unit)}",
        "force": f"{format_number(point.force_n)} N",
        "note": note,
    }


def assumptions(drive: DriveForce) -> list[str]:
    """Describe what the figures stand on."""
    runs = len(drive.runs)
    of = "1 full-throttle run" if runs == 1 else f"{runs} full-throttle runs"
    found = [
        f"Mean power of {of}, corrected if the air data are known, at a steady speed. The power "
        "that accelerates wheels and crankshaft is not removed. It is largest in the low gears. "
        "The losses are those of the gear used in the runs.",
        f"Engine speed for a road speed: {drive.gears[0].source}." if drive.gears else "",
    ]
    if drive.rev_limit:
        limit = drive.rev_limit
        found.append(f"No shift point above the rev limit: {format_number(limit.rpm)} rpm ({limit.source}).")
    elif drive.shifts:
        found.append("No rev limit is recorded. Do not rev the engine past the manufacturer's limit.")
    if drive.road_load_n is None:
        found.append("No road load, because the mass of bike and rider is not recorded. Enter it above.")
    else:
        found.append(
            f"Road load on the level in still air of {AIR_DENSITY_KGM3:g} kg/m³: drag area "
            f"{drive.inputs.drag_area_m2 or 0.0:g} m², rolling resistance {ROLLING_COEFFICIENT:g} of the "
            "weight. Default values are rules of thumb without a published source."
        )
    return [sentence for sentence in found if sentence]


def csv_rows(drive: DriveForce, shop: ShopProfile) -> Iterator[list[Any]]:
    """Yield header and rows: road speed, force in each gear, road load; then the shift points."""
    if drive.speed_kmh is None or drive.forces_n is None:
        yield [drive.reason]
        return
    unit = shop_unit(shop, "speed")
    gears = range(1, len(drive.forces_n) + 1)
    load = drive.road_load_n
    yield [f"road speed ({label(unit)})", *(f"force in gear {gear} (N)" for gear in gears), "road load (N)"]
    columns = [plain_numbers(convert(drive.speed_kmh, "kmh", unit), 2)]
    columns += [plain_numbers(force, 1) for force in drive.forces_n]
    columns.append(plain_numbers(load if load is not None else np.full(drive.speed_kmh.size, np.nan), 1))
    yield from (list(row) for row in zip(*columns, strict=True))
    yield []
    yield [*SHIFT_COLUMNS, f"at ({label(unit)})", "force (N)", "note"]
    for shift in drive.shifts:
        row = _shift_row(shift, drive, shop)
        point = shift.point
        figures: list[Any] = [""] * 5
        if point:
            half = "" if shift.half_width_rpm is None else round(shift.half_width_rpm, 1)
            speed = round(float(convert(point.speed_kmh, "kmh", unit)), 2)
            figures = [round(point.from_rpm, 1), half, round(point.to_rpm, 1), speed, round(point.force_n, 1)]
        yield [row["gears"], *figures, row["note"]]
