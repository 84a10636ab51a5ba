"""The charts of the customer's page and the talk-through, from the facts of a sheet."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.calc.units.numbers import format_number
from jobs.clearances.facts import ClearanceFacts
from jobs.comparisons.facts import ComparisonFacts, CurvesFacts
from jobs.job.facts import ChartFacts
from jobs.mixture.facts import MixtureFacts
from jobs.throttle.facts import ModeFacts, ThrottleTableFacts
from reports.customer.regions import stretches
from reports.customer.sentences import describe_regions, describe_valves
from reports.drawing.screen_charts import (
    Cell,
    Line,
    LineChart,
    ValveRow,
    grid_chart,
    line_chart,
    valve_chart,
)
from reports.handover.snapshot.schema import UnitFacts
from workshop.units.display import convert, label

OTHERS = ("after", "other-1", "other-2", "other-3")


@dataclass(frozen=True)
class Chart:
    """A chart as SVG, with its title."""

    title: str
    svg: str


def charts(*made: Chart) -> list[Chart]:
    """Return the charts that show anything."""
    return [chart for chart in made if chart.svg]


def in_unit(values: Sequence[float | None], stored: str, unit: str) -> list[float | None]:
    return [None if value is None else float(convert(value, stored, unit)) for value in values]


def compared_chart(curves: CurvesFacts, quantity: str, units: UnitFacts) -> Chart:
    """Draw power or torque before and after, with the stretches that differ marked."""
    stored, unit, name, difference = (
        ("kw", units.power_unit, _("Power"), curves.power_difference_kw)
        if quantity == "power"
        else ("nm", units.torque_unit, _("Torque"), curves.torque_difference_nm)
    )
    lines = []
    for side, role, words in ((curves.before, "before", _("before")), (curves.after, "after", _("after"))):
        mean, low, high = (
            (side.power_kw, side.power_kw_low, side.power_kw_high)
            if quantity == "power"
            else (side.torque_nm, side.torque_nm_low, side.torque_nm_high)
        )
        bands = (in_unit(low, stored, unit), in_unit(high, stored, unit)) if side.runs > 1 else (None, None)
        lines.append(Line(words, curves.engine_speed_rpm, in_unit(mean, stored, unit), role, *bands))
    found = stretches(curves, difference)
    same = len({stretch.is_more for stretch in found}) == 1
    marked_label = (_("more here") if found[0].is_more else _("less here")) if same else ""
    chart = LineChart(
        lines,
        _("engine speed, rpm"),
        f"{name}, {label(unit)}",
        [(stretch.from_rpm, stretch.to_rpm) for stretch in found],
        marked_label,
    )
    return Chart(name, line_chart(chart, f"{_('Before and after')}. {describe_regions(curves, quantity)}"))


def comparison_charts(comparison: ComparisonFacts, units: UnitFacts) -> list[Chart]:
    if comparison.curves is None:
        return []
    return charts(*(compared_chart(comparison.curves, name, units) for name in ("torque", "power")))


def clearance_charts(clearances: ClearanceFacts | None, unit: str) -> list[Chart]:
    if clearances is None:
        return []
    rows = [
        ValveRow(
            row.label.partition(" ")[2] or row.label,  # every label begins with the word for cylinder
            *(float(convert(limit, "mm", unit)) for limit in (row.low_mm, row.high_mm)),
            *(
                float(convert(reading.best_mm, "mm", unit))
                if reading and reading.best_mm is not None
                else None
                for reading in (row.found, row.left)
            ),
        )
        for row in clearances.rows
        if row.low_mm is not None and row.high_mm is not None
    ]
    names = (_("range"), _("before"), _("after"))
    alt = f"{_('Valve clearances')}. {describe_valves(clearances)}"
    return charts(
        Chart(_("Valve clearances"), valve_chart(rows, f"{_('clearance')}, {label(unit)}", names, alt))
    )


def plate_line(table: ThrottleTableFacts, name: str, role: str) -> Line:
    return Line(name, table.grip_pct, [row[0] for row in table.plate_pct], role)


def mode_charts(modes: Sequence[ModeFacts]) -> list[Chart]:
    """Draw each changed mode before and after."""
    made = []
    for mode in modes:
        if not mode.changed:
            continue
        lines = [
            plate_line(
                table, _("before") if table.before else _("after"), "before" if table.before else "after"
            )
            for table in mode.tables
        ]
        title = _("%(mode)s: throttle plate by grip") % {"mode": mode.mode}
        made.append(Chart(title, line_chart(plate_chart(lines), title)))
    return charts(*made)


def modes_over_each_other(modes: Sequence[ModeFacts]) -> list[Chart]:
    """Draw the modes in the bike over each other, if there are several, up to four."""
    lines = [
        plate_line(table, mode.mode, role)
        for mode, role in zip(modes, OTHERS, strict=False)
        for table in mode.tables
        if not table.before
    ]
    if len(lines) < 2:  # one mode lies over none
        return []
    title = _("Riding modes: throttle plate by grip")
    return charts(Chart(title, line_chart(plate_chart(lines), title)))


def plate_chart(lines: Sequence[Line]) -> LineChart:
    return LineChart(lines, _("grip, %"), _("throttle plate, %"), from_zero=True)


def panel_charts(chart: ChartFacts | None, title: str, x_label: str) -> list[Chart]:
    """Draw the first panel of a chart of a page."""
    if not chart or not chart.panels:
        return []
    panel = chart.panels[0]
    roles = iter(OTHERS * len(panel.series))
    lines = [
        Line(
            series.label.partition(", 95")[0],  # the band is drawn
            series.x,
            series.y,
            "before" if series.state == "before" else next(roles),
            series.low,
            series.high,
        )
        for series in panel.series
    ]
    made = LineChart(lines, x_label, f"{title}, {panel.y_unit}", from_zero=True)
    return charts(Chart(title, line_chart(made, title)))


def mixture_chart(study: MixtureFacts) -> list[Chart]:
    """Draw how far each cell was from its target."""
    if not study.result:
        return []
    cells = [
        [mixture_cell(off, few) for off, few in zip(*row, strict=True)]
        for row in zip(study.result["off"], study.result["few"], strict=True)
    ]
    alt = _("%(title)s: percent off target by engine speed and throttle") % {"title": study.title}
    svg = grid_chart(
        [format_number(speed) for speed in study.engine_speed_rpm],
        [format_number(load) for load in study.load_pct],
        cells,
        (_("engine speed, rpm"), f"{study.load}, %"),
        f"{alt}. {study.standing}",
    )
    return charts(Chart(study.title, svg))


def mixture_cell(off: float | None, few: bool) -> Cell:
    return Cell("", None) if off is None else Cell(format_number(100 * off, signed=True), off, few)
