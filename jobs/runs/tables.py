"""Figures of runs as rows of a table: numbers stay numbers, in the shop's units, the unit in the header."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from jobs.runs.chart_data import Measure, measure_of, plain_numbers
from jobs.runs.charts import Shown
from workshop.models import ShopProfile

Table = tuple[list[str], list[list[Any]]]  # header and rows


def figure_table(shown: Sequence[Shown], shop: ShopProfile) -> Table:
    """The table of figures with its header: numbers stay numbers, in the shop's units."""
    power, torque = measure_of("power_kw", shop), measure_of("torque_nm", shop)
    header = [
        "run", "file", "kind", "made at", "tune", "gear", "set aside",
        "air temperature (°C)", "station pressure (kPa)", "relative humidity (%)",
        "standard", "factor", f"peak power ({power.unit})", "at (1/min)",
        f"peak torque ({torque.unit})", "at (1/min)", f"observed peak power ({power.unit})",
        f"observed peak torque ({torque.unit})", "to know",
    ]  # fmt: skip
    return header, [_figure_row(each, power, torque) for each in shown]


def _figure_row(each: Shown, power: Measure, torque: Measure) -> list[Any]:
    run, figures = each.run, each.figures
    curve, observed, correction = figures.curve, figures.observed, figures.correction

    def one(value: float, measure: Measure) -> float:
        return round(float(measure.show(np.array([value]))[0]), 2)

    about = [
        each.name, run.original_name, run.get_kind_display(), run.made_at.isoformat(),
        run.tune_revision.label if run.tune_revision else "", run.gear, run.set_aside_reason,
        run.temperature_c, run.pressure_kpa, run.humidity_pct,
        correction.standard.name if correction else "", round(correction.factor, 4) if correction else None,
    ]  # fmt: skip
    if curve is None or observed is None:
        return [*about, *[None] * 6, figures.reason]
    return [
        *about,
        one(curve.peak_power_kw, power),
        round(curve.peak_power_rpm),
        one(curve.peak_torque_nm, torque),
        round(curve.peak_torque_rpm),
        one(observed.peak_power_kw, power),
        one(observed.peak_torque_nm, torque),
        " ".join(flag.sentence for flag in figures.flags),
    ]


def curve_table(shown: Sequence[Shown], shop: ShopProfile) -> Table:
    """Every run's curve, a row for each engine speed, with its header."""
    power, torque = measure_of("power_kw", shop), measure_of("torque_nm", shop)
    header = [
        "run", "file", "kind", "tune", "set aside", "factor", "engine speed (1/min)",
        f"power observed ({power.unit})", f"power ({power.unit})",
        f"torque observed ({torque.unit})", f"torque ({torque.unit})", "lambda",
    ]  # fmt: skip
    return header, [row for each in shown for row in _curve_rows(each, power, torque)]


def _curve_rows(each: Shown, power: Measure, torque: Measure) -> list[list[Any]]:
    figures, run = each.figures, each.run
    if figures.curve is None or figures.observed is None:
        return []
    about = [
        each.name, run.original_name, run.get_kind_display(),
        run.tune_revision.label if run.tune_revision else "",
        "yes" if run.set_aside else "no", round(figures.factor, 4),
    ]  # fmt: skip
    curve, observed = figures.curve, figures.observed
    nothing = np.full(curve.engine_speed_rpm.size, np.nan)
    columns = (
        plain_numbers(curve.engine_speed_rpm, 0),
        plain_numbers(power.show(observed.power_kw), 3),
        plain_numbers(power.show(curve.power_kw), 3),
        plain_numbers(torque.show(observed.torque_nm), 3),
        plain_numbers(torque.show(curve.torque_nm), 3),
        plain_numbers(nothing if figures.lambda_ is None else figures.lambda_, 4),
    )
    rows = zip(*columns, strict=True)
    return [[*about, *row] for row in rows if any(value is not None for value in row[1:])]
