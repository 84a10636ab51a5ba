"""Chart, table and sentences of a roll-on in the shop's units, for page and CSV alike."""

from dataclasses import dataclass
from typing import Any

from jobs.calc.chassis.roll_on_comparison import RollOnComparison
from jobs.calc.dyno.comparison import ComparedValue
from jobs.calc.dyno.curve_difference import Verdict
from jobs.calc.units.numbers import format_number
from jobs.comparisons.charts import (
    build_value_row,
    compared_cells,
    difference_formatter,
    stored_value,
)
from jobs.comparisons.roll_on import ROLLING_COEFFICIENT, RollOnResult
from jobs.runs.chart_data import ChannelDisplay, Chart, CurveLine, build_chart
from workshop.models import ShopProfile
from workshop.units.display import convert, label
from workshop.units.shop_units import shop_unit


@dataclass(frozen=True)
class RollOnRow:
    """One value of a roll-on before and after, as text."""

    label: str
    before: str
    after: str
    difference: str
    interval: str
    verdict: str


@dataclass(frozen=True)
class RollOnBand:
    """The rows for the engine alone, or those held to what front wheel or rear tyre allows."""

    name: str
    rows: list[RollOnRow]


@dataclass(frozen=True)
class RollOnSummary:
    """Summary of a roll-on: conditions, results and assumptions.

    ``bands`` holds the rows for the engine alone, then those limited by front wheel or rear tyre if the limit
    is reached. The rows have a title only if there are both.
    """

    caption: str
    lead: str
    bands: list[RollOnBand]
    limit: str
    notes: list[str]
    assumed: str


def roll_on_rows(result: RollOnComparison, shop: ShopProfile) -> list[RollOnRow]:
    """Return the rows of time, distance and distance at the same instant."""
    return [_row(value, shop) for value in (result.time, result.distance, result.lead)]


def _row(value: ComparedValue, shop: ShopProfile) -> RollOnRow:
    row = build_value_row(value, shop)
    return RollOnRow(row.label, row.before, row.after, row.difference, row.interval, row.verdict)


def describe_roll_on(roll_on: RollOnResult, shop: ShopProfile) -> RollOnSummary | None:
    """Summarise a roll-on, or return None if it has no result."""
    if roll_on.result is None or roll_on.limited is None or roll_on.limit is None or roll_on.gearing is None:
        return None
    inputs, is_limited = roll_on.inputs, max(roll_on.limited.at_limit_s) > 0
    speed_unit = shop_unit(shop, "speed")
    low, high = (
        format_number(convert(v or 0.0, "kmh", speed_unit), 1, trim=True)
        for v in (inputs.from_kmh, inputs.to_kmh)
    )
    bands = [RollOnBand("The engine alone" if is_limited else "", roll_on_rows(roll_on.result, shop))]
    if is_limited:
        title = f"Held to what {roll_on.limit.by} allows"
        bands.append(RollOnBand(title, roll_on_rows(roll_on.limited, shop)))
    return RollOnSummary(
        caption=(
            f"Gear {inputs.gear}, {low} to {high} {label(speed_unit)}, "
            f"{format_number(inputs.mass_kg or 0.0)} kg"
        ),
        lead=lead_sentence(roll_on.result, shop),
        bands=bands,
        limit=limit_sentence(roll_on, shop),
        notes=list(roll_on.notes),
        assumed=assumptions_sentence(roll_on),
    )


def lead_sentence(result: RollOnComparison, shop: ShopProfile) -> str:
    """Describe the lead of after, with its interval, when the first run reaches the end speed."""
    lead, show = stored_value(result.lead), difference_formatter("m", shop)
    low, high = show(lead.ci_low), show(lead.ci_high)
    after = f"after {format_number(float(result.time_s[-1]), 2)} s"
    if lead.verdict is Verdict.NO_DIFFERENCE:
        return (
            f"No difference shown: no lead {after} (95 % interval {low} to {high}). "
            "That does not make them equal."
        )
    way = "ahead of" if lead.difference > 0 else "behind"
    return (
        f"As left is {show(abs(lead.difference))} {way} as received {after} (95 % interval {low} to {high})."
    )


def limit_sentence(roll_on: RollOnResult, shop: ShopProfile) -> str:
    """Describe the limit set by front wheel or rear tyre."""
    assert roll_on.limited and roll_on.limit  # checked by describe_roll_on
    most = f"{format_number(roll_on.limit.drive_n)} N at the rear wheel"
    if not max(roll_on.limited.at_limit_s) > 0:
        return f"{roll_on.limit.by.capitalize()} would allow {most}: neither before nor after comes near it."
    before, after = (format_number(seconds, 2) for seconds in roll_on.limited.at_limit_s)
    by = roll_on.limit.by.capitalize()
    return (
        f"{by} allows {most}, which holds back before for {before} s and after for {after} s. "
        f"Held to it: {lead_sentence(roll_on.limited, shop)}"
    )


def assumptions_sentence(roll_on: RollOnResult) -> str:
    """Describe the assumptions of a roll-on."""
    inputs, gearing, air = roll_on.inputs, roll_on.gearing, roll_on.air
    assert gearing and air
    ahead, height, base = (
        format_number(length or 0.0)
        for length in (inputs.mass_ahead_mm, inputs.mass_height_mm, inputs.wheelbase_mm)
    )
    return (
        f"Throttle wide open, straight and level, still air. {air.sentence} "
        f"Rotating masses count as {inputs.rotating_pct or 0.0:g} % of the mass ({roll_on.rotating_source}). "
        f"{format_number(gearing.rpm_per_kmh, 1)} 1/min for each km/h, {gearing.source}. "
        f"Drag area {inputs.drag_area_m2 or 0.0:g} m², rolling resistance {ROLLING_COEFFICIENT:g} of the "
        f"weight; centre of mass {ahead} mm ahead of the rear wheel and {height} mm up, wheelbase {base} mm, "
        f"friction of the rear tyre {inputs.friction or 0.0:g}. Arithmetic, not a promise about a road."
    )


def lead_chart(result: RollOnComparison, shop: ShopProfile) -> Chart:
    unit = shop_unit(shop, "road_length")
    measure = ChannelDisplay("ahead of before", label(unit), 2, lambda metres: convert(metres, "m", unit))
    line = CurveLine(
        "after, 95 % interval",
        "after",
        result.time_s,
        result.lead_m,
        result.lead_low_m,
        result.lead_high_m,
    )
    return build_chart("time", "s", [(measure, [line])], x_digits=2)


def roll_on_csv_rows(roll_on: RollOnResult, title: str, shop: ShopProfile) -> list[list[Any]]:
    """Return the roll-on as CSV rows in the columns of its comparison."""
    result, inputs, gearing = roll_on.result, roll_on.inputs, roll_on.gearing
    if result is None or gearing is None or inputs.from_kmh is None or inputs.to_kmh is None:
        return []
    ends = [round(speed * gearing.rpm_per_kmh) for speed in (inputs.from_kmh, inputs.to_kmh)]
    rows_by_band = [(f"drive-out in gear {inputs.gear}", result)]
    if roll_on.limited and roll_on.limit and max(roll_on.limited.at_limit_s) > 0:
        rows_by_band.append((f"drive-out in gear {inputs.gear}, held by {roll_on.limit.by}", roll_on.limited))
    return [
        [title, name, *ends, *compared_cells(value, shop)]
        for name, comparison in rows_by_band
        for value in (comparison.time, comparison.distance, comparison.lead)
    ]
