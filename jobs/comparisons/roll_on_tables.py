"""A drive-out as curves and figures in the shop's units: page and CSV say the same."""

from dataclasses import dataclass
from typing import Any

from jobs.calc.chassis.roll_on_comparison import RollOnComparison
from jobs.calc.dyno.comparison import ComparedValue, Verdict
from jobs.calc.units.numbers import format_number
from jobs.comparisons.roll_on import AIR_DENSITY_KGM3, ROLLING_COEFFICIENT, Driven
from jobs.runs.chart_data import Chart, Line, Measure, chart_of
from workshop.models import ShopProfile
from workshop.units.display import NO_BREAK_SPACE, NOT_MEASURED, convert, decimals, label
from workshop.units.shop_units import shop_unit

QUANTITY_OF_UNIT = {"s": "time", "m": "road_length"}


@dataclass(frozen=True)
class DriveTold:
    """A drive-out in words and figures: its conditions, what it gives, and what was taken for granted.

    ``bands`` are the rows of the engine alone, then those held to what front wheel and tyre allow where
    that is less, each under its name; the former alone has none.
    """

    caption: str
    lead: str
    bands: list[tuple[str, list["DriveRow"]]]
    ceiling: str
    notes: list[str]
    assumed: str


@dataclass(frozen=True)
class DriveRow:
    label: str
    before: str
    after: str
    difference: str
    interval: str
    verdict: str


def _unit(figure: ComparedValue, shop: ShopProfile) -> str:
    return shop_unit(shop, QUANTITY_OF_UNIT[figure.unit])


def _shown(value: float, unit: str, storage_unit: str, more: int = 0) -> str:
    places = decimals(QUANTITY_OF_UNIT[storage_unit], unit) + more
    number = format_number(convert(value, storage_unit, unit), places)
    return f"{number}{NO_BREAK_SPACE}{label(unit)}"


def drive_rows(result: RollOnComparison, shop: ShopProfile) -> list[DriveRow]:
    """Time, distance and the distance at the same instant, before and after."""
    return [_row(figure, shop) for figure in (result.time, result.distance, result.lead)]


def _row(figure: ComparedValue, shop: ShopProfile) -> DriveRow:
    unit = _unit(figure, shop)
    low, high = (_shown(end, unit, figure.unit, 1) for end in (figure.ci_low, figure.ci_high))
    return DriveRow(
        figure.label,
        _shown(figure.before, unit, figure.unit),
        _shown(figure.after, unit, figure.unit),
        _shown(figure.difference, unit, figure.unit, 1),
        f"{low} to {high}" if figure.measured else NOT_MEASURED,
        figure.verdict,
    )


def told(driven: Driven, shop: ShopProfile) -> DriveTold | None:
    """Everything there is to say of a drive-out; None where there is no result."""
    if driven.result is None or driven.held is None or driven.ceiling is None or driven.gearing is None:
        return None
    asked, is_held = driven.asked, max(driven.held.at_limit_s) > 0
    speed_unit = shop_unit(shop, "speed")
    low, high = (
        format_number(convert(v or 0.0, "kmh", speed_unit), 1, trim=True)
        for v in (asked.from_kmh, asked.to_kmh)
    )
    bands = [("The engine alone" if is_held else "", drive_rows(driven.result, shop))]
    if is_held:
        bands.append((f"Held to what {driven.ceiling.by} allows", drive_rows(driven.held, shop)))
    return DriveTold(
        caption=(
            f"Gear {asked.gear}, {low} to {high} {label(speed_unit)}, "
            f"{format_number(asked.mass_kg or 0.0)} kg"
        ),
        lead=lead_sentence(driven.result, shop),
        bands=bands,
        ceiling=ceiling_sentence(driven, shop),
        notes=list(driven.notes),
        assumed=assumed_sentence(driven),
    )


def lead_sentence(result: RollOnComparison, shop: ShopProfile) -> str:
    """How far after is ahead when the first run reaches the end speed, and how sure that is."""
    lead, unit = result.lead, shop_unit(shop, "road_length")
    low, high = (_shown(end, unit, "m", 1) for end in (lead.ci_low, lead.ci_high))
    after = f"after {format_number(float(result.time_s[-1]), 2)} s"
    if lead.verdict is Verdict.NO_DIFFERENCE:
        return (
            f"No difference shown: no lead {after} (95 % interval {low} to {high}). "
            "That does not make them equal."
        )
    way = "ahead of" if lead.difference > 0 else "behind"
    return (
        f"As left is {_shown(abs(lead.difference), unit, 'm')} {way} as received {after} "
        f"(95 % interval {low} to {high})."
    )


def ceiling_sentence(driven: Driven, shop: ShopProfile) -> str:
    """What front wheel and rear tyre make of it."""
    assert driven.held and driven.ceiling  # told asks for them
    most = f"{format_number(driven.ceiling.drive_n)} N at the rear wheel"
    if not max(driven.held.at_limit_s) > 0:
        return f"{driven.ceiling.by.capitalize()} would allow {most}: neither before nor after comes near it."
    before, after = (format_number(seconds, 2) for seconds in driven.held.at_limit_s)
    by = driven.ceiling.by.capitalize()
    return (
        f"{by} allows {most}, which holds back before for {before} s and after for {after} s. "
        f"Held to it: {lead_sentence(driven.held, shop)}"
    )


def assumed_sentence(driven: Driven) -> str:
    """What the answer takes for granted."""
    asked, gearing = driven.asked, driven.gearing
    assert gearing
    ahead, height, base = (
        format_number(length or 0.0)
        for length in (asked.mass_ahead_mm, asked.mass_height_mm, asked.wheelbase_mm)
    )
    return (
        f"Throttle wide open, straight and level, still air of {AIR_DENSITY_KGM3:g} kg/m³. "
        f"{format_number(gearing.rpm_per_kmh, 1)} 1/min for each km/h, {gearing.source}. "
        f"Drag area {asked.drag_area_m2 or 0.0:g} m², rolling resistance {ROLLING_COEFFICIENT:g} of the "
        f"weight; centre of mass {ahead} mm ahead of the rear wheel and {height} mm up, wheelbase {base} mm, "
        f"friction of the rear tyre {asked.friction or 0.0:g}. Arithmetic, not a promise about a road."
    )


def lead_chart(result: RollOnComparison, shop: ShopProfile) -> Chart:
    unit = shop_unit(shop, "road_length")
    measure = Measure("ahead of before", label(unit), 2, lambda metres: convert(metres, "m", unit))
    line = Line(
        "after, 95 % interval",
        "after",
        result.time_s,
        result.lead_m,
        result.lead_low_m,
        result.lead_high_m,
    )
    return chart_of("time", "s", [(measure, [line])], x_digits=2)


def drive_table_rows(driven: Driven, title: str, shop: ShopProfile) -> list[list[Any]]:
    """The drive-out as rows below those of its comparison, in the same columns."""
    result, asked, gearing = driven.result, driven.asked, driven.gearing
    if result is None or gearing is None or asked.from_kmh is None or asked.to_kmh is None:
        return []
    ends = [round(speed * gearing.rpm_per_kmh) for speed in (asked.from_kmh, asked.to_kmh)]
    driven_by = [(f"drive-out in gear {asked.gear}", result)]
    if driven.held and driven.ceiling and max(driven.held.at_limit_s) > 0:
        driven_by.append((f"drive-out in gear {asked.gear}, held by {driven.ceiling.by}", driven.held))
    return [
        [title, name, *ends, *_cells(figure, shop)]
        for name, each in driven_by
        for figure in (each.time, each.distance, each.lead)
    ]


def _cells(figure: ComparedValue, shop: ShopProfile) -> list[Any]:
    unit = _unit(figure, shop)

    def one(value: float) -> float:
        return round(float(convert(value, figure.unit, unit)), 3)

    share = round(figure.difference_pct, 2) if figure.before else None
    return [
        figure.label, label(unit), one(figure.before), figure.runs_before, one(figure.after),
        figure.runs_after, one(figure.difference), one(figure.ci_low), one(figure.ci_high), share,
        figure.verdict, figure.assumed_pct,
    ]  # fmt: skip
