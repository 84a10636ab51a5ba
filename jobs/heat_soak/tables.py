"""Sentences, table and CSV of the heat soak, in the shop's units."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from jobs.calc.channels import CHANNELS
from jobs.calc.dyno.heat_soak import CommonSlope
from jobs.calc.units.numbers import format_number
from jobs.heat_soak.compute import TEMPERATURES, HeatSoak
from workshop.models import ShopProfile
from workshop.units.display import convert, label
from workshop.units.shop_units import shop_unit

STEP = 10  # degrees of the shop's unit that a slope is stated for
TOO_FEW = "too few repeats, or too little change in temperature"


@dataclass(frozen=True)
class SlopeRow:
    """What one temperature does to the power, as text."""

    name: str
    sentence: str
    runs: str = ""
    seen: str = ""
    slope: str = ""


def slope_rows(soak: HeatSoak, shop: ShopProfile) -> list[SlopeRow]:
    return [_slope_row(CHANNELS[name].label, slope, shop) for name, slope in soak.slopes.items()]


def describe_answer(soak: HeatSoak, rows: Sequence[SlopeRow]) -> str:
    """Return the clearest influence of a temperature on the power."""
    if not rows:
        return "Heat soak: no repeated runs with temperature data"
    clear = [
        (abs(slope.slope), row)
        for slope, row in zip(soak.slopes.values(), rows, strict=True)
        if slope is not None and slope.differs_from_zero
    ]
    if not clear:
        if not any(soak.slopes.values()):
            return f"Heat soak: {TOO_FEW}"
        return "No clear influence of temperature on power"
    row = max(clear, key=lambda pair: pair[0])[1]
    return f"{row.name.capitalize()}: {row.sentence.removesuffix('.')}"


def _slope_row(name: str, slope: CommonSlope | None, shop: ShopProfile) -> SlopeRow:
    if slope is None:
        return SlopeRow(name, f"Not certain: {TOO_FEW}.")
    unit = shop_unit(shop, "temperature")
    per_step = STEP * degree_c(shop)
    low, high = (format_number(float(convert(end, "c", unit))) for end in (slope.x_low, slope.x_high))
    change, half = slope.slope * per_step, slope.half_width * per_step
    interval = (
        f"{format_number(change - half, 1, signed=True)} to {format_number(change + half, 1, signed=True)} %"
    )
    degrees = f"{STEP} {label(unit)}"
    if slope.differs_from_zero:
        way = "rises" if change > 0 else "falls"
        sentence = f"Power {way} by {format_number(abs(change), 1)} % per {degrees} more."
    else:
        sentence = f"No clear influence per {degrees}. This does not prove there is none."
    groups = "1 state" if slope.groups == 1 else f"{slope.groups} states"
    return SlopeRow(
        name,
        sentence,
        f"{slope.runs} runs in {groups} of the bike",
        f"{low} to {high} {label(unit)}",
        interval,
    )


def degree_c(shop: ShopProfile) -> float:
    """Return the size of a degree of the shop's unit [°C]."""
    unit = shop_unit(shop, "temperature")
    return 1.0 / float(convert(1.0, "c", unit) - convert(0.0, "c", unit))


def run_rows(soak: HeatSoak, shop: ShopProfile) -> list[dict[str, Any]]:
    """Return a row for each repeat: its state, power against the mean and temperatures."""
    unit = shop_unit(shop, "temperature")
    return [
        {
            "run": found.result.run,
            "group": found.group + 1,
            "power": format_number(found.power_pct, 2, signed=True),
            "is_corrected": found.result.is_corrected,
            "temperatures": [
                (
                    column,
                    format_number(float(convert(found.temperatures_c[name], "c", unit)), 1)
                    if name in found.temperatures_c
                    else "–",
                )
                for name, column in zip(soak.slopes, columns(soak, shop), strict=True)
            ],
        }
        for found in soak.runs
    ]


def columns(soak: HeatSoak, shop: ShopProfile) -> list[str]:
    unit = label(shop_unit(shop, "temperature"))
    return [f"{CHANNELS[name].label} ({unit})" for name in soak.slopes]


def csv_table(soak: HeatSoak, shop: ShopProfile) -> tuple[list[str], Iterable[list[Any]]]:
    unit = shop_unit(shop, "temperature")
    names = [CHANNELS[name].label for name in TEMPERATURES]
    header = ["run", "state of the bike", "power against the mean of its state (%)", "corrected"]
    rows = (
        [
            str(found.result.run),
            found.group + 1,
            round(found.power_pct, 3),
            "yes" if found.result.is_corrected else "no",
            *(
                round(float(convert(found.temperatures_c[name], "c", unit)), 2)
                if name in found.temperatures_c
                else ""
                for name in TEMPERATURES
            ),
        ]
        for found in soak.runs
    )
    return [*header, *(f"{name} ({label(unit)})" for name in names)], rows
