"""Chart, table and CSV of the ignition sweep, in the shop's units."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from jobs.calc.units.numbers import format_number
from jobs.ignition.compute import IgnitionSweep
from jobs.runs.chart_data import Chart, CurveLine, build_chart, channel_display
from workshop.models import ShopProfile
from workshop.units.display import convert, label
from workshop.units.shop_units import shop_unit

CURVE_POINTS = 60
COLUMNS = ("at", "run", "engine speed (rpm)", "grip (%)", "advance (°)")
TOO_FEW = "needs five holds at three advances or more"


def sweep_title(sweep: IgnitionSweep) -> str:
    return f"{format_number(sweep.engine_speed_rpm)} rpm, {format_number(sweep.grip_pct)} % grip"


def describe_finding(sweep: IgnitionSweep) -> str:
    """Describe what a sweep shows, with the interval of the best advance."""
    found = sweep.result
    if found is None:
        return f"Not certain: {TOO_FEW}."
    if found.best_deg is None or found.low_deg is None or found.high_deg is None:
        return f"{found.verdict.capitalize()} within the advances that were tried."
    best, low, high = (format_number(value, 1) for value in (found.best_deg, found.low_deg, found.high_deg))
    return f"Most torque at {best}° before top dead centre (95 % interval {low} to {high}°)."


def describe_answer(sweeps: Sequence[IgnitionSweep]) -> str:
    """Return the finding of the only sweep, or how many have a best advance."""
    if not sweeps:
        return "Ignition sweep: no run with several advances"
    if len(sweeps) == 1:
        return f"{sweep_title(sweeps[0])}: {describe_finding(sweeps[0]).removesuffix('.')}"
    found = sum(sweep.result is not None and sweep.result.best_deg is not None for sweep in sweeps)
    return f"Best advance found at {found} of {len(sweeps)} points of the engine"


def sweep_rows(sweeps: Sequence[IgnitionSweep], shop: ShopProfile) -> list[dict[str, Any]]:
    """Return a row of the table for each engine speed and grip."""
    unit = shop_unit(shop, "torque")
    return [
        {
            "title": sweep_title(sweep),
            "points": len(sweep.points),
            "tried": " to ".join(
                f"{format_number(point.advance_deg, 1)}°" for point in (sweep.points[0], sweep.points[-1])
            ),
            "finding": describe_finding(sweep),
            "torque": ""
            if sweep.result is None or sweep.result.torque_nm is None
            else f"{format_number(float(convert(sweep.result.torque_nm, 'nm', unit)), 1)} {label(unit)}",
        }
        for sweep in sweeps
    ]


def sweep_chart(sweep: IgnitionSweep, shop: ShopProfile) -> Chart:
    """Return the chart of the points and the parabola through them."""
    advance = np.array([point.advance_deg for point in sweep.points])
    torque = np.array([point.torque_nm for point in sweep.points])
    lines = [CurveLine("holds", "before", advance, torque)]
    if sweep.result:
        at = np.linspace(advance[0], advance[-1], CURVE_POINTS)
        lines.append(
            CurveLine("parabola", "after", at, np.polynomial.Polynomial(sweep.result.coefficients)(at))
        )
    return build_chart("ignition advance", "°", [(channel_display("torque_nm", shop), lines)], x_digits=1)


def csv_header(shop: ShopProfile) -> list[str]:
    unit = label(shop_unit(shop, "torque"))
    return [*COLUMNS, f"uncorrected torque ({unit})", "result"]


def csv_rows(sweeps: Sequence[IgnitionSweep], shop: ShopProfile) -> Iterator[list[Any]]:
    unit = shop_unit(shop, "torque")
    for sweep in sweeps:
        finding = describe_finding(sweep)
        for point in sweep.points:
            torque = round(float(convert(point.torque_nm, "nm", unit)), 2)
            place = (round(point.engine_speed_rpm), round(point.grip_pct, 1), round(point.advance_deg, 2))
            yield [sweep_title(sweep), str(point.run), *place, torque, finding]
