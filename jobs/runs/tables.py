"""Tables of run results and curves for CSV: numbers in the shop's units, named in the header."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from jobs.runs.chart_data import ChannelDisplay, channel_display, plain_numbers
from jobs.runs.charts import OverlayRun
from workshop.models import ShopProfile

Table = tuple[list[str], list[list[Any]]]  # header and rows


def result_table(runs: Sequence[OverlayRun], shop: ShopProfile) -> Table:
    """Return the results of the runs as rows of numbers in the shop's units, with the header."""
    power, torque = channel_display("power_kw", shop), channel_display("torque_nm", shop)
    header = [
        "run", "file", "kind", "made at", "tune", "gear", "set aside",
        "air temperature (°C)", "station pressure (kPa)", "relative humidity (%)",
        "standard", "factor", f"peak power ({power.unit})", "at (1/min)",
        f"peak torque ({torque.unit})", "at (1/min)", f"observed peak power ({power.unit})",
        f"observed peak torque ({torque.unit})", "to know",
    ]  # fmt: skip
    return header, [_result_row(overlay_run, power, torque) for overlay_run in runs]


def _result_row(overlay_run: OverlayRun, power: ChannelDisplay, torque: ChannelDisplay) -> list[Any]:
    run, result = overlay_run.run, overlay_run.result
    curve, observed, correction = result.curve, result.observed, result.correction

    def convert_one(value: float, measure: ChannelDisplay) -> float:
        return round(float(measure.show(np.array([value]))[0]), 2)

    about = [
        overlay_run.name, run.original_name, run.get_kind_display(), run.made_at.isoformat(),
        run.tune_revision.label if run.tune_revision else "", run.gear, run.set_aside_reason,
        run.temperature_c, run.pressure_kpa, run.humidity_pct,
        correction.standard.name if correction else "", round(correction.factor, 4) if correction else None,
    ]  # fmt: skip
    if curve is None or observed is None:
        return [*about, *[None] * 6, result.reason]
    return [
        *about,
        convert_one(curve.peak_power_kw, power),
        round(curve.peak_power_rpm),
        convert_one(curve.peak_torque_nm, torque),
        round(curve.peak_torque_rpm),
        convert_one(observed.peak_power_kw, power),
        convert_one(observed.peak_torque_nm, torque),
        " ".join(flag.sentence for flag in result.flags),
    ]


def curve_table(runs: Sequence[OverlayRun], shop: ShopProfile) -> Table:
    """Return the curves of all runs, one row per engine speed, with the header."""
    power, torque = channel_display("power_kw", shop), channel_display("torque_nm", shop)
    header = [
        "run", "file", "kind", "tune", "set aside", "factor", "engine speed (1/min)",
        f"power observed ({power.unit})", f"power ({power.unit})",
        f"torque observed ({torque.unit})", f"torque ({torque.unit})", "lambda",
    ]  # fmt: skip
    return header, [row for overlay_run in runs for row in _curve_rows(overlay_run, power, torque)]


def _curve_rows(overlay_run: OverlayRun, power: ChannelDisplay, torque: ChannelDisplay) -> list[list[Any]]:
    result, run = overlay_run.result, overlay_run.run
    if result.curve is None or result.observed is None:
        return []
    about = [
        overlay_run.name, run.original_name, run.get_kind_display(),
        run.tune_revision.label if run.tune_revision else "",
        "yes" if run.set_aside else "no", round(result.factor, 4),
    ]  # fmt: skip
    curve, observed = result.curve, result.observed
    nothing = np.full(curve.engine_speed_rpm.size, np.nan)
    columns = (
        plain_numbers(curve.engine_speed_rpm, 0),
        plain_numbers(power.show(observed.power_kw), 3),
        plain_numbers(power.show(curve.power_kw), 3),
        plain_numbers(torque.show(observed.torque_nm), 3),
        plain_numbers(torque.show(curve.torque_nm), 3),
        plain_numbers(nothing if result.lambda_ is None else result.lambda_, 4),
    )
    rows = zip(*columns, strict=True)
    return [[*about, *row] for row in rows if any(value is not None for value in row[1:])]
