"""A comparison as curves and as a table in the shop's units: page, CSV and sheet say the same."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from jobs.calc.dyno import comparison as calc
from jobs.calc.dyno.repeats import RepeatSet
from jobs.calc.units.numbers import format_number
from jobs.comparisons.compare import Compared, Group
from jobs.runs.chart_data import Chart, Line, Look, Measure, chart_of, measure_of, plain_numbers
from jobs.runs.charts import mean_line, side_label
from jobs.runs.results import RunFigures
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
QUANTITY_OF_UNIT = {"kW": "power", "N·m": "torque"}
IN_THE_TABLE = ("mean_power", "peak_power", "mean_torque", "peak_torque")


def comparison_chart(compared: Compared, shop: ShopProfile) -> Chart | None:
    """Before and after as means with their bands: power, torque, and lambda where it was measured."""
    result = compared.result
    if result is None:
        return None
    sides = ((result.before, Group.BEFORE), (result.after, Group.AFTER))
    panels = [
        (measure_of(f"{name}_{unit}", shop), [_side_line(side, group, name) for side, group in sides])
        for name, unit in QUANTITIES
    ]
    mixture = lambda_lines(compared, shop)
    if mixture:
        panels.append((measure_of("lambda", shop), mixture))
    return chart_of("engine speed", "1/min", panels)


def lambda_lines(compared: Compared, shop: ShopProfile) -> list[Line]:
    """Lambda before and after on the grid of the curves, as means with their bands."""
    looks: tuple[tuple[Look, tuple[RunFigures, ...]], ...] = (
        ("before", compared.before),
        ("after", compared.after),
    )
    found = []
    for look, side in looks:
        lines = [
            Line(str(f.run), look, f.curve.engine_speed_rpm, f.lambda_)
            for f in side
            if f.curve and f.lambda_ is not None and np.isfinite(f.lambda_).any()
        ]
        if lines:
            found.append(mean_line(lines, look, shop.grid_step_rpm))
    return found


def _side_line(side: RepeatSet, group: Group, name: str) -> Line:
    interval = getattr(side, name)
    low, high = interval.mean - interval.half_width, interval.mean + interval.half_width
    look: Look = "before" if group == Group.BEFORE else "after"
    line = Line(side_label(group.label, side.runs), look, side.engine_speed_rpm, interval.mean)
    return replace(line, low=low, high=high) if side.runs > 1 else line


def difference_chart(compared: Compared, shop: ShopProfile) -> Chart | None:
    """After minus before with the 95 % interval, at each engine speed."""
    result = compared.result
    if result is None:
        return None
    panels = []
    for name, unit in QUANTITIES:
        difference = getattr(result, name)
        measure = measure_of(f"{name}_{unit}", shop)
        title = Measure(f"difference in {measure.title}", measure.unit, measure.digits + 1, measure.show)
        line = Line(
            "after minus before, 95 % interval",
            "after",
            result.engine_speed_rpm,
            np.asarray(difference.difference),
            np.asarray(difference.ci_low),
            np.asarray(difference.ci_high),
        )
        panels.append((title, [line]))
    return chart_of("engine speed", "1/min", panels)


@dataclass(frozen=True)
class ShownFigure:
    """A figure of a comparison in the shop's units, ready to be read."""

    label: str
    before: str
    after: str
    difference: str
    interval: str
    share: str
    verdict: str
    sentence: str

    @property
    def sign(self) -> str:
        """The name of its look."""
        return self.verdict.split()[0]


def difference_text(value: float, quantity: str, unit: str, *, signed: bool = False) -> str:
    """A difference in a unit, with one decimal more than its figures have: none is rounded to zero."""
    places = decimals(quantity, unit) + 1
    return format_number(convert(value, storage_unit(quantity), unit), places, signed=signed)


def shown_figure(figure: calc.ComparedValue, shop: ShopProfile) -> ShownFigure:
    """In the shop's units."""
    quantity = QUANTITY_OF_UNIT[figure.unit]
    unit = shop_unit(shop, quantity)

    def apart(value: float) -> str:
        return f"{difference_text(value, quantity, unit)}{NO_BREAK_SPACE}{label(unit)}"

    measured = figure.measured
    return ShownFigure(
        label=figure.label,
        before=format_value(figure.before, quantity, unit),
        after=format_value(figure.after, quantity, unit),
        difference=apart(figure.difference) if measured else NOT_MEASURED,
        interval=f"{apart(figure.ci_low)} to {apart(figure.ci_high)}" if measured else NOT_MEASURED,
        share=f"{format_number(figure.difference_pct, 1, signed=True)} %"
        if measured and figure.before
        else "",
        verdict=figure.verdict if measured else "not measured",
        sentence=figure.describe(apart),
    )


@dataclass(frozen=True)
class ShownBand:
    name: str
    from_rpm: float
    to_rpm: float
    figures: tuple[ShownFigure, ...]


def shown_bands(compared: Compared, shop: ShopProfile) -> list[ShownBand]:
    """The table of a comparison: of each band mean and peak of power and torque."""
    bands = compared.result.bands if compared.result else ()
    return [
        ShownBand(
            band.name,
            band.from_rpm,
            band.to_rpm,
            tuple(
                shown_figure(f, shop)
                for f in (band.mean_power, band.peak_power, band.mean_torque, band.peak_torque)
            ),
        )
        for band in bands
    ]


def comparison_table(compared: Compared, shop: ShopProfile) -> Table:
    """Every figure of a comparison, a row each: numbers stay numbers, in the shop's units."""
    header = [
        "comparison", "band", "from (1/min)", "to (1/min)", "figure", "unit", "before", "runs before",
        "after", "runs after", "difference", "95 % from", "95 % to", "difference (%)", "verdict",
        "repeatability assumed (%)",
    ]  # fmt: skip
    bands = compared.result.bands if compared.result else ()
    rows = [
        [
            compared.comparison.title,
            band.name,
            round(band.from_rpm),
            round(band.to_rpm),
            *_figure_cells(figure, shop),
        ]
        for band in bands
        for figure in (getattr(band, name) for name in IN_THE_TABLE)
    ]
    return header, rows


def _figure_cells(figure: calc.ComparedValue, shop: ShopProfile) -> list[Any]:
    measure = measure_of({"kW": "power_kw", "N·m": "torque_nm"}[figure.unit], shop)

    def one(value: float) -> float | None:
        return plain_numbers(measure.show(np.array([value])), 3)[0]

    return [
        figure.label,
        measure.unit,
        one(figure.before),
        figure.runs_before,
        one(figure.after),
        figure.runs_after,
        one(figure.difference),
        one(figure.ci_low),
        one(figure.ci_high),
        plain_numbers(np.array([figure.difference_pct]), 2)[0],
        figure.verdict if figure.measured else "not measured",
        figure.assumed_pct,
    ]
