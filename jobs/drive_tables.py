"""A drive-out as curves and figures in the shop's units: page and CSV say the same."""

from dataclasses import dataclass
from typing import Any

from jobs.calc.comparison import Figure
from jobs.calc.drive_comparison import DriveComparison
from jobs.calc.figures import written
from jobs.drive_outs import Driven
from jobs.run_charts import Chart, Line, Measure, chart_of
from workshop.models import ShopProfile
from workshop.units import NO_BREAK_SPACE, NOT_MEASURED, convert, label, round_half_up

LENGTH_UNITS = {"km": "m", "mi": "ft"}
PLACES = {"s": 2, "m": 1, "ft": 0}


@dataclass(frozen=True)
class DriveRow:
    label: str
    before: str
    after: str
    difference: str
    interval: str
    verdict: str


def _unit(figure: Figure, shop: ShopProfile) -> str:
    return LENGTH_UNITS[shop.distance_unit] if figure.unit == "m" else figure.unit


def _shown(value: float, unit: str, kept_in: str, more: int = 0) -> str:
    places = PLACES[unit] + more
    amount = round_half_up(convert(value, kept_in, unit), places)
    return f"{written(amount, places)}{NO_BREAK_SPACE}{label(unit)}"


def drive_rows(result: DriveComparison, shop: ShopProfile) -> list[DriveRow]:
    """Time, distance and the distance at the same instant, before and after."""
    return [_row(figure, shop) for figure in (result.time, result.distance, result.lead)]


def _row(figure: Figure, shop: ShopProfile) -> DriveRow:
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


def lead_sentence(driven: Driven, shop: ShopProfile) -> str:
    """How far after is ahead when the first run reaches the end speed, and how sure that is."""
    if driven.result is None:
        return ""
    lead, unit = driven.result.lead, LENGTH_UNITS[shop.distance_unit]
    low, high = (_shown(end, unit, "m", 1) for end in (lead.ci_low, lead.ci_high))
    after = f"after {driven.result.time_s[-1]:.2f} s"
    if lead.verdict == "no difference shown":
        return f"No lead is shown {after} (95 % interval {low} to {high}). That does not make them equal."
    way = "ahead of" if lead.difference > 0 else "behind"
    return (
        f"As left is {_shown(abs(lead.difference), unit, 'm')} {way} as received {after} "
        f"(95 % interval {low} to {high})."
    )


def lead_chart(result: DriveComparison, shop: ShopProfile) -> Chart:
    unit = LENGTH_UNITS[shop.distance_unit]
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
    return [
        [title, f"drive-out in gear {asked.gear}", *ends, *_cells(figure, shop)]
        for figure in (result.time, result.distance, result.lead)
    ]


def _cells(figure: Figure, shop: ShopProfile) -> list[Any]:
    unit = _unit(figure, shop)

    def one(value: float) -> float:
        return round(float(convert(value, figure.unit, unit)), 3)

    share = round(figure.difference_pct, 2) if figure.before else None
    return [
        figure.label, label(unit), one(figure.before), figure.runs_before, one(figure.after),
        figure.runs_after, one(figure.difference), one(figure.ci_low), one(figure.ci_high), share,
        figure.verdict, figure.assumed_pct,
    ]  # fmt: skip
