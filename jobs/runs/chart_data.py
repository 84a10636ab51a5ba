"""Chart data that the script of the page draws."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from jobs.calc.channels import CHANNELS
from jobs.models import Run
from jobs.runs.channel_files import FloatArray
from workshop.models import ShopProfile
from workshop.units.display import convert, decimals, label
from workshop.units.shop_units import shop_unit

Look = Literal["before", "after", "other", "aside"]


Chart = dict[str, Any]

# Beyond it an engine does not burn: overrun and air. Rule of thumb, no published source.
USUAL_LAMBDA = (0.65, 1.25)


@dataclass(frozen=True, eq=False)
class CurveLine:
    """A line of a chart with its 95 % band, in stored units.

    ``samples_of`` names the line whose samples these are, drawn as dots behind it. Lines of one ``group``
    share a label at their ends; ``hue`` from 1 tells lines of one look apart.
    """

    label: str
    look: Look
    x: FloatArray
    y: FloatArray
    low: FloatArray | None = None
    high: FloatArray | None = None
    samples_of: str = ""
    group: str = ""
    hue: int = 0


@dataclass(frozen=True)
class ChannelDisplay:
    """How a quantity is shown: title, unit, decimals and conversion from the stored values.

    An axis spans at least ``min_span``, and leaves out what lies beyond ``usual``, both in the shown unit.
    """

    title: str
    unit: str
    digits: int
    show: Callable[[FloatArray], FloatArray] = field(default=lambda values: values)
    min_span: float = 0.0
    usual: tuple[float, float] | None = None


def plain_numbers(values: FloatArray, digits: int) -> list[float | None]:
    """Return values for JSON, None if not measured."""
    return [round(float(v), digits) if np.isfinite(v) else None for v in values]


def channel_display(name: str, shop: ShopProfile, file_unit: str = "") -> ChannelDisplay:
    """Return how a channel is shown; an unknown one appears as in its file."""
    channel = CHANNELS.get(name)
    if channel is None:
        return ChannelDisplay(name, file_unit, 2)
    unit = shop_unit(shop, channel.display_quantity, stored_in=channel.unit)
    digits = _digits(channel.display_quantity, unit)
    if unit == "lambda":
        return ChannelDisplay(channel.label, "", digits, min_span=0.1, usual=USUAL_LAMBDA)
    if unit == "one":
        return ChannelDisplay(channel.label, "", digits)
    return ChannelDisplay(
        channel.label,
        label(unit),
        digits,
        lambda values: convert(values, channel.unit, unit),
    )


def _digits(quantity: str, unit: str) -> int:
    try:
        return decimals(quantity, unit)
    except ValueError:
        return 2


def file_unit(runs: Iterable[Run], name: str) -> str:
    """Return the unit that a file states for an unknown column."""
    for run in runs:
        for column in (run.report or {}).get("columns", ()):
            if column["stored_as"] == name:
                return str(column["unit"])
    return ""


def build_chart(
    x_label: str, x_unit: str, panels: Sequence[tuple[ChannelDisplay, Sequence[CurveLine]]], x_digits: int = 0
) -> Chart:
    """Build the chart that js/charts.js draws from lines in stored units."""
    return {
        "x_label": x_label,
        "x_unit": x_unit,
        "x_digits": x_digits,
        "panels": [_panel(measure, lines, x_digits) for measure, lines in panels],
    }


def _panel(measure: ChannelDisplay, lines: Sequence[CurveLine], x_digits: int) -> dict[str, Any]:
    panel: dict[str, Any] = {
        "title": measure.title[:1].upper() + measure.title[1:],
        "y_label": measure.title,
        "y_unit": measure.unit,
        "digits": measure.digits,
        "series": [_series(line, measure, x_digits) for line in lines],
    }
    if measure.min_span:
        panel["min_span"] = measure.min_span
    if measure.usual:
        panel["usual"] = measure.usual
    return panel


def _series(line: CurveLine, measure: ChannelDisplay, x_digits: int) -> dict[str, Any]:
    digits = measure.digits + 1
    series: dict[str, Any] = {
        "label": line.label,
        "state": line.look,
        "x": plain_numbers(line.x, x_digits + 1),
        "y": plain_numbers(measure.show(line.y), digits),
    }
    if line.low is not None and line.high is not None:
        series["low"] = plain_numbers(measure.show(line.low), digits)
        series["high"] = plain_numbers(measure.show(line.high), digits)
    if line.group:
        series["group"] = line.group
    if line.hue:
        series["hue"] = line.hue
    if line.samples_of:
        series |= {"points": "circle", "fine": True, "like": line.samples_of}
    return series
