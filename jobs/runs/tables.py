"""Tables of run results and curves for CSV: numbers in the shop's units, named in the header."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from jobs.calc.channels import CHANNELS
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.runs.chart_data import ChannelDisplay, channel_display, file_unit, plain_numbers
from jobs.runs.charts import OverlayRun
from jobs.runs.results import RunResult, channel_on_curve
from workshop.models import ShopProfile

IN_THE_CURVE = ("time_s", "engine_speed_rpm", "power_kw", "torque_nm", "lambda")  # columns of their own

Table = tuple[list[str], list[list[Any]]]  # header and rows


def result_table(runs: Sequence[OverlayRun], shop: ShopProfile) -> Table:
    """Return the results of the runs as rows of numbers in the shop's units, with the header."""
    power, torque = channel_display("power_kw", shop), channel_display("torque_nm", shop)
    header = [
        "run", "file", "kind", "made at", "tune", "gear", "excluded",
        "air temperature (°C)", "barometer, absolute (kPa)", "relative humidity (%)",
        "standard", "factor", f"peak power ({power.unit})", "at (rpm)",
        f"peak torque ({torque.unit})", "at (rpm)", f"uncorrected peak power ({power.unit})",
        f"uncorrected peak torque ({torque.unit})", "smoothed over (rpm)",
        "slope of the roller over (rpm)", "sweep rate (rpm/s)", "slip throughout (%)", "notes",
    ]  # fmt: skip
    return header, [_result_row(overlay_run, power, torque) for overlay_run in runs]


def _result_row(overlay_run: OverlayRun, power: ChannelDisplay, torque: ChannelDisplay) -> list[Any]:
    run, result = overlay_run.run, overlay_run.result
    curve, observed, correction = result.curve, result.observed, result.correction

    def convert_one(value: float, measure: ChannelDisplay) -> float:
        return round(float(measure.show(np.array([value]))[0]), 2)

    about = [
        overlay_run.name, run.file_title, run.get_kind_display(), run.made_at.isoformat(),
        run.tune_revision.label if run.tune_revision else "", run.gear, run.set_aside_reason,
        run.temperature_c, run.pressure_kpa, run.humidity_pct,
        correction.standard.name if correction else "", round(correction.factor, 4) if correction else None,
    ]  # fmt: skip
    if curve is None or observed is None:
        return [*about, *[None] * 10, result.reason]
    return [
        *about,
        convert_one(curve.peak_power_kw, power),
        round(curve.peak_power_rpm),
        convert_one(curve.peak_torque_nm, torque),
        round(curve.peak_torque_rpm),
        convert_one(observed.peak_power_kw, power),
        convert_one(observed.peak_torque_nm, torque),
        round(curve.width_rpm),
        None if result.slope_width_rpm is None else round(result.slope_width_rpm),
        None if result.sweep_rate_rpm_s is None else round(result.sweep_rate_rpm_s),
        None if result.slip_pct is None else round(result.slip_pct, 1),
        " ".join(result.remarks),
    ]


def curve_table(runs: Sequence[OverlayRun], shop: ShopProfile) -> Table:
    """Return the curves of all runs with every other channel, one row per engine speed, with the header."""
    power, torque = channel_display("power_kw", shop), channel_display("torque_nm", shop)
    others = _other_channels(runs, shop)
    header = [
        "run", "file", "kind", "tune", "excluded", "factor", "smoothed over (rpm)", "engine speed (rpm)",
        f"power uncorrected ({power.unit})", f"power ({power.unit})",
        f"torque uncorrected ({torque.unit})", f"torque ({torque.unit})", "lambda",
        *map(column_title, others.values()),
    ]  # fmt: skip
    return header, [row for overlay_run in runs for row in _curve_rows(overlay_run, power, torque, others)]


def column_title(measure: ChannelDisplay) -> str:
    return f"{measure.title} ({measure.unit})" if measure.unit else measure.title


def _other_channels(runs: Sequence[OverlayRun], shop: ShopProfile) -> dict[str, ChannelDisplay]:
    """Return how the channels without a column of their own are shown, known ones first."""
    drawn = [overlay_run.run for overlay_run in runs]
    found = dict.fromkeys(name for run in drawn for name in run.channel_names if name not in IN_THE_CURVE)
    names = [name for name in CHANNELS if name in found] + [name for name in found if name not in CHANNELS]
    return {name: channel_display(name, shop, file_unit(drawn, name)) for name in names}


def _curve_rows(
    overlay_run: OverlayRun,
    power: ChannelDisplay,
    torque: ChannelDisplay,
    others: dict[str, ChannelDisplay],
) -> list[list[Any]]:
    result, run = overlay_run.result, overlay_run.run
    if result.curve is None or result.observed is None:
        return []
    about = [
        overlay_run.name, run.file_title, run.get_kind_display(),
        run.tune_revision.label if run.tune_revision else "",
        "yes" if run.set_aside else "no", round(result.factor, 4), round(result.curve.width_rpm),
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
        *(
            plain_numbers(measure.show(_on_curve(result, name, nothing)), measure.digits + 2)
            for name, measure in others.items()
        ),
    )
    rows = zip(*columns, strict=True)
    return [[*about, *row] for row in rows if any(value is not None for value in row[1:])]


def _on_curve(result: RunResult, name: str, nothing: FloatArray) -> FloatArray:
    """Return a channel at the engine speeds of the curve, NaN if the run has none."""
    samples = result.channel(name)
    if samples is None or result.curve is None:
        return nothing
    fitted = channel_on_curve(result.rows["engine_speed_rpm"], samples, result.curve)
    return nothing if fitted is None else fitted


def sample_table(result: RunResult, shop: ShopProfile) -> Table:
    """Return every sample of every channel of a run in the shop's units, with the header.

    Raises
    ------
    ValueError
        The stored channels are missing or damaged.
    """
    run = result.run
    channels = load_channels(run, run.channel_names)
    shown = {name: channel_display(name, shop, file_unit([run], name)) for name in channels}
    header = ["sample", "in the sweep", *map(column_title, shown.values())]
    rows = result.sweep.rows if result.sweep else slice(0, 0)
    count = run.samples or 0
    in_sweep = ["yes" if rows.start <= i < rows.stop else "no" for i in range(count)]
    values = (
        plain_numbers(measure.show(channels[name]), measure.digits + 3) for name, measure in shown.items()
    )
    return header, [list(row) for row in zip(range(1, count + 1), in_sweep, *values, strict=True)]
