"""Pictures of a sheet, drawn from its snapshot in the shop's units, with caption and description."""

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.calc.units.numbers import format_number
from jobs.clearances.facts import ClearanceFacts, ValveFacts
from jobs.comparisons.facts import ComparisonFacts, CurvesFacts, SideFacts
from jobs.job.facts import ChartFacts
from jobs.job.json_values import Curve
from jobs.mixture.facts import MixtureFacts
from jobs.throttle.facts import BrakingFacts, ModeFacts, ThrottleTableFacts, TorqueFacts
from reports.drawing.charts import (
    ChartLine,
    GridCell,
    GridChart,
    Panel,
    ValveMark,
    blank_chart,
    clearance_chart,
    grid_chart,
    line_chart,
)
from reports.handover.snapshot.schema import UnitFacts
from workshop.units.display import convert, label

MAX_MARKS = 24
X_LABEL = "engine speed (1/min)"
OFF_TARGET_SHARE = 0.15
LAMBDA_MARGIN = 0.02


@dataclass(frozen=True)
class Picture:
    """An SVG with the name that the sheet refers to, its caption and its description."""

    name: str
    svg: str
    caption: str
    alt: str

    @property
    def address(self) -> str:
        return f"sheet:{self.name}.svg"


def in_unit(values: Sequence[float | None] | None, stored_unit: str, unit: str) -> list[float | None]:
    return [None if value is None else float(convert(value, stored_unit, unit)) for value in values or ()]


def side_line(curves: CurvesFacts, side: str, runs: int, mean: Curve, low: Curve, high: Curve) -> ChartLine:
    return ChartLine(
        f"{side}, mean of {runs} runs" if runs > 1 else f"{side}, 1 run",
        curves.engine_speed_rpm,
        mean,
        before=side == "before",
        low=low if runs > 1 else None,
        high=high if runs > 1 else None,
    )


def sides(curves: CurvesFacts) -> list[tuple[str, SideFacts]]:
    return [("before", curves.before), ("after", curves.after)]


def main_panels(curves: CurvesFacts, units: UnitFacts) -> list[Panel]:
    """Return panels of power and torque before and after, with their bands."""
    power, torque = [], []
    for name, side in sides(curves):
        bands = (side.power_kw, side.power_kw_low, side.power_kw_high)
        mean, low, high = (in_unit(values, "kw", units.power_unit) for values in bands)
        power.append(side_line(curves, name, side.runs, mean, low, high))
        bands = (side.torque_nm, side.torque_nm_low, side.torque_nm_high)
        mean, low, high = (in_unit(values, "nm", units.torque_unit) for values in bands)
        torque.append(side_line(curves, name, side.runs, mean, low, high))
    return [
        Panel(f"power ({label(units.power_unit)})", power),
        Panel(f"torque ({label(units.torque_unit)})", torque),
    ]


def detail_panels(curves: CurvesFacts, units: UnitFacts) -> list[Panel]:
    unit = units.torque_unit
    difference = curves.torque_difference_nm
    bands = (difference.mean, difference.low, difference.high)
    mean, low, high = (in_unit(values, "nm", unit) for values in bands)
    speeds = curves.engine_speed_rpm
    band = "band" if curves.holds_everywhere else "interval"
    line = ChartLine(f"after less before, with 95 % {band}", speeds, mean, low=low, high=high)
    panels = [Panel(f"torque gained ({label(unit)})", [line], zero=True)]
    lines = [
        ChartLine(name, speeds, side.lambda_, before=name == "before")
        for name, side in sides(curves)
        if side.lambda_
    ]
    if lines:
        panels.append(Panel("lambda", lines, y_range=central_range(curves)))
    return panels


def central_range(curves: CurvesFacts) -> tuple[float, float]:
    """Return the range of 95 % of the lambda values, so that overrun values do not flatten the curve."""
    values = sorted(v for _, side in sides(curves) for v in side.lambda_ or () if v is not None)
    edge = len(values) // 40
    return values[edge] - LAMBDA_MARGIN, values[-1 - edge] + LAMBDA_MARGIN


def curves_picture(
    comparison: ComparisonFacts,
    curves: CurvesFacts,
    order: int,
    units: UnitFacts,
    height_in: float,
    *,
    blank: bool = False,
) -> Picture:
    """Draw power and torque before and after; if ``blank``, return an empty picture of that size."""
    groups = f"{curves.before.runs} before (grey, dashed) and {curves.after.runs} after (solid)"
    corrected = f", corrected by {comparison.standard}" if comparison.standard else ", as observed"
    repeated = max(curves.before.runs, curves.after.runs) > 1
    bands = "; bands are 95 % intervals of the means" if repeated else ""
    panels = main_panels(curves, units)
    return Picture(
        f"curves-{order}",
        blank_chart(len(panels), height_in) if blank else line_chart(panels, X_LABEL, height_in),
        f"{comparison.title}: power and torque over engine speed{corrected}{bands}.",
        f"Power and torque over engine speed, {groups}. {first_sentence(comparison)}".strip(),
    )


def details_picture(
    comparison: ComparisonFacts, curves: CurvesFacts, order: int, units: UnitFacts
) -> Picture:
    """Draw the difference in torque, and the mixture if it was measured."""
    panels = detail_panels(curves, units)
    mixture = " and lambda" if len(panels) > 1 else ""
    what = f"over engine speed{mixture}. {first_sentence(comparison)}".strip()
    return Picture(
        f"details-{order}",
        line_chart(panels, X_LABEL, 1.4),
        f"{comparison.title}: difference in torque{mixture} over engine speed.",
        f"Difference in torque, after less before, {what}",
    )


def first_sentence(comparison: ComparisonFacts) -> str:
    return next((band.figures[0].sentence for band in comparison.bands[:1] if band.figures), "")


def comparison_pictures(
    comparison: ComparisonFacts, order: int, units: UnitFacts, height_in: float
) -> list[Picture]:
    """Draw both pictures of a comparison, or none if the runs could not be compared."""
    if comparison.curves is None:
        return []
    return [
        curves_picture(comparison, comparison.curves, order, units, height_in),
        details_picture(comparison, comparison.curves, order, units),
    ]


def clearance_pictures(clearances: ClearanceFacts | None, unit: str) -> list[Picture]:
    if clearances is None:
        return []
    rows = [row for row in clearances.rows if row.low_mm is not None and row.high_mm]
    pictures = []
    for start in range(0, len(rows), MAX_MARKS):
        part = rows[start : start + MAX_MARKS]
        which = "" if len(rows) <= MAX_MARKS else f" ({start + 1} to {start + len(part)} of {len(rows)})"
        pictures.append(
            Picture(
                f"clearances-{start}",
                clearance_chart([valve_mark(row, unit) for row in part], label(unit)),
                f"Valve clearances against their ranges{which}.",
                f"Each valve's clearance against its range{which}. {clearances.summary}",
            )
        )
    return pictures


def valve_mark(row: ValveFacts, unit: str) -> ValveMark:
    found, left = (reading.best_mm if reading else None for reading in (row.found, row.left))
    low, high, target, before, after = in_unit(
        [row.low_mm, row.high_mm, row.target_mm, found, left], "mm", unit
    )
    assert low is not None and high is not None  # the caller omits rows without a range
    return ValveMark(row.label, low, high, target, before, after)


def throttle_picture(mode: ModeFacts, order: int) -> Picture | None:
    """Draw plate over grip at the lowest, a middle and the highest engine speed.

    If the table is the same at every engine speed, it is one line.
    """
    lines = []
    for table in mode.tables:
        for column in shown_columns(table):
            speed = "" if column is None else f" at {table.engine_speed_rpm[column]:g} 1/min"
            plate = [row[column or 0] for row in table.plate_pct]
            lines.append(ChartLine(f"{table.name}{speed}", table.grip_pct, plate, before=table.before))
    if not lines:
        return None
    what = "as received (grey, dashed) and in the bike (solid)" if mode.changed else mode.tables[0].name
    return Picture(
        f"throttle-{order}",
        line_chart([Panel("throttle plate (%)", lines)], "grip (%)", 1.8),
        f"{mode.mode}: throttle plate over grip.",
        f"Throttle plate over grip in the mode {mode.mode}, {what}. {' '.join(mode.sentences)}",
    )


def shown_columns(table: ThrottleTableFacts) -> list[int | None]:
    if all(len(set(row)) == 1 for row in table.plate_pct):
        return [None]
    last = len(table.engine_speed_rpm) - 1
    return [*dict.fromkeys([0, last // 2, last])]


def chart_picture(
    name: str, chart: ChartFacts | None, caption: str, alt: str, height_in: float = 1.6
) -> Picture | None:
    """Draw the first panel of a chart of a page, or return None if it has none."""
    if not chart or not chart.panels:
        return None
    shown = chart.panels[0]
    lines = [
        ChartLine(
            series.label,
            series.x,
            series.y,
            before=series.state == "before",
            low=series.low,
            high=series.high,
        )
        for series in shown.series
    ]
    levels = [y for series in shown.series for y in (*series.y, *(series.low or ())) if y is not None]
    panel = Panel(f"{shown.y_label} ({shown.y_unit})", lines, zero=min(levels) <= 0 <= max(levels))
    x_label = f"{chart.x_label[0].lower()}{chart.x_label[1:]} ({chart.x_unit})"
    return Picture(name, line_chart([panel], x_label, height_in), caption, alt)


def drive_picture(comparison: ComparisonFacts, order: int) -> Picture | None:
    """Draw the lead in metres over the time of a roll-on."""
    drive = comparison.drive_out
    if not drive:
        return None
    caption = f"{comparison.title}: how far after is ahead of before, both having started together."
    alt = f"How far after is ahead of before over time. {drive.lead}"
    return chart_picture(f"drive-{order}", drive.chart, caption, alt, 1.3)


def torque_picture(torque: TorqueFacts | None) -> Picture | None:
    if not torque:
        return None
    at = f"{format_number(torque.at_rpm)} 1/min"
    alt = f"Torque over grip at {at}: {', '.join(torque.modes)}."
    return chart_picture("torque", torque.chart, f"Torque over grip at {at}.", alt)


def braking_picture(braking: BrakingFacts | None) -> Picture | None:
    if not braking:
        return None
    alt = f"Torque at a closed throttle over engine speed: {', '.join(braking.tunes)}. {braking.change}"
    return chart_picture("braking", braking.chart, "Torque at a closed throttle over engine speed.", alt)


def mixture_picture(study: MixtureFacts, order: int) -> Picture | None:
    """Draw the measured lambda of every cell, or return None without a result."""
    result = study.result
    if not result:
        return None
    rows = zip(result["mean"], result["off"], result["few"], strict=True)
    cells = [[grid_cell(*cell) for cell in zip(*row, strict=True)] for row in rows]
    sentences = [f"Measured lambda by engine speed and {study.load}.", study.standing, *study.grave]
    chart = GridChart(
        [format_number(speed) for speed in study.engine_speed_rpm],
        [f"{load:g}" for load in study.load_pct],
        cells,
        X_LABEL,
        f"{study.load} (%)",
        OFF_TARGET_SHARE,
    )
    return Picture(
        f"mixture-{order}",
        grid_chart(chart),
        f"{study.title}: measured lambda, shaded by how far from the target; in brackets: too few visits.",
        " ".join(sentence for sentence in sentences if sentence),
    )


def grid_cell(value: float | None, off: float | None, few: bool) -> GridCell:
    return GridCell("", None) if value is None else GridCell(format_number(value, 2), off, few)
