"""Charts and tables of a comparison in the shop's units, for page, CSV and sheet alike."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from jobs.calc.dyno import comparison as calc
from jobs.calc.dyno.repeats import RepeatSet
from jobs.calc.units.numbers import format_number, format_range
from jobs.comparisons.compare import ComparisonResult, Group
from jobs.job.json_values import number, rounded
from jobs.runs.chart_data import (
    ChannelDisplay,
    Chart,
    CurveLine,
    Look,
    build_chart,
    channel_display,
)
from jobs.runs.charts import build_mean_line, side_label
from jobs.runs.results import RunResult
from jobs.runs.tables import Table
from workshop.models import ShopProfile
from workshop.units.display import (
    NO_BREAK_SPACE,
    NOT_MEASURED,
    convert,
    decimals,
    format_value,
    label,
    storage_unit,
)
from workshop.units.shop_units import shop_unit

QUANTITIES = (("power", "kw"), ("torque", "nm"))
QUANTITY_OF_UNIT = {"kW": "power", "N·m": "torque", "s": "time", "m": "road_length"}
# More than any unit shows, so that rounding once more for print never gives another last digit.
STORED_PLACES = 6


def comparison_chart(compared: ComparisonResult, shop: ShopProfile) -> Chart | None:
    """Build the chart of mean power, torque and measured lambda before and after, with bands."""
    result = compared.result
    if result is None:
        return None
    sides = ((result.before, Group.BEFORE), (result.after, Group.AFTER))
    panels = [
        (channel_display(f"{name}_{unit}", shop), [_side_line(side, group, name) for side, group in sides])
        for name, unit in QUANTITIES
    ]
    mixture = lambda_lines(compared, shop)
    if mixture:
        panels.append((channel_display("lambda", shop), mixture))
    return build_chart("engine speed", "rpm", panels)


def lambda_lines(compared: ComparisonResult, shop: ShopProfile) -> list[CurveLine]:
    """Build the mean lines of lambda before and after, with bands, on the grid of the curves."""
    looks: tuple[tuple[Look, tuple[RunResult, ...]], ...] = (
        ("before", compared.before),
        ("after", compared.after),
    )
    found = []
    for look, side in looks:
        lines = [
            CurveLine(str(f.run), look, f.curve.engine_speed_rpm, f.lambda_)
            for f in side
            if f.curve and f.lambda_ is not None and np.isfinite(f.lambda_).any()
        ]
        if lines:
            found.append(build_mean_line(lines, look, shop.grid_step_rpm))
    return found


def _side_line(side: RepeatSet, group: Group, name: str) -> CurveLine:
    interval = getattr(side, name)
    low, high = interval.mean - interval.half_width, interval.mean + interval.half_width
    look: Look = "before" if group == Group.BEFORE else "after"
    line = CurveLine(side_label(group.label, side.runs), look, side.engine_speed_rpm, interval.mean)
    return replace(line, low=low, high=high) if side.runs > 1 else line


def difference_chart(compared: ComparisonResult, shop: ShopProfile) -> Chart | None:
    """Build the chart of after minus before with its 95 % band over all engine speeds."""
    result = compared.result
    if result is None:
        return None
    panels = []
    for name, unit in QUANTITIES:
        difference = getattr(result, name)
        measure = channel_display(f"{name}_{unit}", shop)
        title = ChannelDisplay(
            f"{measure.title}, after minus before", measure.unit, measure.digits + 1, measure.show
        )
        line = CurveLine(
            "after minus before",
            "after",
            result.engine_speed_rpm,
            np.asarray(difference.difference),
            np.asarray(difference.ci_low),
            np.asarray(difference.ci_high),
        )
        panels.append((title, [line]))
    return build_chart("engine speed", "rpm", panels)


@dataclass(frozen=True)
class ComparedValueRow:
    """One value before and after, as text in the shop's units."""

    label: str
    before: str
    after: str
    difference: str
    interval: str
    share: str
    verdict: calc.Verdict
    sentence: str

    @property
    def verdict_css_class(self) -> str:
        """CSS class of the verdict, by its name and not by its text."""
        return f"compared-{self.verdict.name.lower().replace('_', '-')}"


def stored_value(value: calc.ComparedValue) -> calc.ComparedValue:
    """Return a compared value rounded as sheets store it, so that screen, paper and file print one figure."""
    return replace(
        value,
        before=rounded(value.before, STORED_PLACES),
        after=rounded(value.after, STORED_PLACES),
        difference=rounded(value.difference, STORED_PLACES),
        ci_low=rounded(value.ci_low, STORED_PLACES),
        ci_high=rounded(value.ci_high, STORED_PLACES),
        smallest=rounded(value.smallest, STORED_PLACES),
    )


def format_difference(value: float, quantity: str, unit: str) -> str:
    """Format a difference with one decimal more than its values have, so that none is rounded to zero."""
    return format_number(convert(value, storage_unit(quantity), unit), decimals(quantity, unit) + 1)


def difference_formatter(unit: str, shop: ShopProfile) -> Callable[[float], str]:
    """Return what formats a difference that is stored in ``unit``, with the shop's unit."""
    quantity = QUANTITY_OF_UNIT[unit]
    shown = shop_unit(shop, quantity)
    return lambda value: f"{format_difference(value, quantity, shown)}{NO_BREAK_SPACE}{label(shown)}"


def build_value_row(value: calc.ComparedValue, shop: ShopProfile) -> ComparedValueRow:
    """Format a compared value in the shop's units."""
    quantity = QUANTITY_OF_UNIT[value.unit]
    unit, with_unit = shop_unit(shop, quantity), difference_formatter(value.unit, shop)
    value = stored_value(value)
    measured = value.measured
    interval = format_range(with_unit(value.ci_low), with_unit(value.ci_high))
    share = f"{format_number(value.difference_pct, 1, signed=True)} %"
    return ComparedValueRow(
        label=_(value.label),
        before=format_value(value.before, quantity, unit),
        after=format_value(value.after, quantity, unit),
        difference=with_unit(value.difference) if measured else NOT_MEASURED,
        interval=interval if measured else NOT_MEASURED,
        share=share if measured and value.before else "",
        verdict=value.verdict,
        sentence=value.describe(with_unit),
    )


@dataclass(frozen=True)
class BandRow:
    """A band of engine speed with its compared values, as the page shows it."""

    name: str
    from_rpm: float
    to_rpm: float
    values: tuple[ComparedValueRow, ...]


def band_rows(bands: Iterable[calc.BandComparison], shop: ShopProfile) -> list[BandRow]:
    """Return mean and peak of power and torque for every band."""
    return [
        BandRow(
            band.name,
            band.from_rpm,
            band.to_rpm,
            tuple(
                build_value_row(value, shop)
                for value in (band.mean_power, band.peak_power, band.mean_torque, band.peak_torque)
            ),
        )
        for band in bands
    ]


def describe_regions(result: calc.RunComparison) -> list[str]:
    """Say in words where power and torque differ over engine speed."""
    return [result.power.describe(_("Power")), result.torque.describe(_("Torque"))]


def describe_another_pair(compared: ComparisonResult, shop: ShopProfile) -> str:
    """Say what one more run on each side would do to the first band's mean power; empty if nothing."""
    if compared.result is None or not compared.result.bands:
        return ""
    value = compared.result.bands[0].mean_power
    half = (value.ci_high - value.ci_low) / 2
    if not value.measured or not value.another_pair < half:
        return ""
    show = difference_formatter(value.unit, shop)
    return (
        f"One more run on each side, with the same scatter, would narrow the interval of mean power from "
        f"±{show(half)} to about ±{show(value.another_pair)}."
    )


def comparison_table(
    compared: ComparisonResult, bands: Iterable[calc.BandComparison], shop: ShopProfile
) -> Table:
    """Return every compared value as a row of numbers in the shop's units, with the header."""
    header = [
        "comparison", "band", "from (rpm)", "to (rpm)", "figure", "unit", "before", "runs before",
        "after", "runs after", "difference", "95 % from", "95 % to", "difference (%)", "verdict",
        "repeatability assumed (%)", "seen in 4 of 5",
    ]  # fmt: skip
    rows = [
        [
            compared.comparison.title,
            band.name,
            round(band.from_rpm),
            round(band.to_rpm),
            *compared_cells(value, shop),
        ]
        for band in bands
        for value in (band.mean_power, band.peak_power, band.mean_torque, band.peak_torque)
    ]
    return header, rows


def compared_cells(value: calc.ComparedValue, shop: ShopProfile) -> list[Any]:
    """Return a compared value as cells of a CSV row in the shop's unit, with all stored decimals."""
    unit = shop_unit(shop, QUANTITY_OF_UNIT[value.unit])
    stored_in = storage_unit(QUANTITY_OF_UNIT[value.unit])
    value = stored_value(value)

    def convert_one(stored: float) -> float | None:
        return number(convert(stored, stored_in, unit), STORED_PLACES)

    return [
        value.label,
        label(unit),
        convert_one(value.before),
        value.runs_before,
        convert_one(value.after),
        value.runs_after,
        convert_one(value.difference),
        convert_one(value.ci_low),
        convert_one(value.ci_high),
        number(value.difference_pct, 2),
        value.verdict,
        value.assumed_pct,
        convert_one(value.smallest),
    ]
