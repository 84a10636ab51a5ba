"""Charts of runs in the shop's units, as js/charts.js draws them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from jobs.calc.channels import CHANNELS
from jobs.calc.dyno.sweep import Sweep
from jobs.calc.statistics import mean_interval
from jobs.calc.units import identities
from jobs.models import Run
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.runs.chart_data import (
    ChannelDisplay,
    Chart,
    CurveLine,
    Look,
    build_chart,
    channel_display,
    file_unit,
)
from jobs.runs.results import NEEDED, RunResult, align_to_grid, channel_on_curve
from jobs.runs.roller import ROLLER_SPEEDS, RollerDyno
from workshop.models import ShopProfile

POWER_AND_TORQUE = "power_torque"


AGAINST = {"engine_speed": "engine speed", "road_speed": "road speed", "time": "time"}


MAX_SAMPLES = 600  # of one run against time


@dataclass(frozen=True)
class OverlayOptions:
    """What the overlay shows."""

    quantity: str = POWER_AND_TORQUE
    against: str = "engine_speed"
    corrected: bool = True
    band: bool = False
    samples: bool = False


@dataclass(frozen=True, eq=False)
class OverlayRun:
    """A run in the overlay: its result, name and look; runs of one ``group`` share a label.

    ``short`` is its name in a list of runs that share a tune; ``hue`` from 1 tells runs of one look apart,
    such as held runs by their grip.
    """

    result: RunResult
    name: str
    look: Look
    short: str = ""
    group: str = ""
    hue: int = 0

    @property
    def run(self) -> Run:
        return self.result.run


@dataclass(frozen=True)
class Overlay:
    """A chart, the reasons for missing lines, and notes."""

    chart: Chart
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def overlay_quantities(runs: Iterable[Run]) -> dict[str, str]:
    """Return the labels of the quantities that the overlay can show, power and torque first."""
    found = dict.fromkeys(name for run in runs for name in run.channel_names)
    known = {
        channel.id: channel.label
        for channel in CHANNELS.values()
        if channel.id in found and channel.id not in ("time_s", "power_kw", "torque_nm")
    }
    own = {name: name for name in found if name not in CHANNELS}
    return {POWER_AND_TORQUE: "power and torque", **known, **own}


def overlay(runs: Sequence[OverlayRun], shop: ShopProfile, options: OverlayOptions) -> Overlay:
    """Draw the runs over each other, against engine speed, road speed or time.

    A band is the mean of the sweeps in one state of the bike; it needs one grid, so it is drawn against
    engine speed only.
    """
    if options.against == "time":
        return overlay_by_time(runs, shop, options)
    names = ["power_kw", "torque_nm"] if options.quantity == POWER_AND_TORQUE else [options.quantity]
    panels, missing = [], dict[str, None]()
    for name in names:
        lines = []
        for overlay_run in runs:
            line = build_line(overlay_run, name, shop, options)
            if line is None:
                missing[missing_reason(overlay_run, name, options)] = None
            else:
                lines.append(line)
        if options.band and options.against == "engine_speed":
            lines = merge_repeats(lines, {overlay_run.name: overlay_run for overlay_run in runs}, shop)
        elif options.samples and options.against == "engine_speed":
            dots = [sample_line(overlay_run, name, options) for overlay_run in runs]
            lines += [dot for dot in dots if dot is not None]
        panels.append((_overlay_display(name, runs, shop), lines))
    main = len(panels)
    if options.quantity == POWER_AND_TORQUE and options.against == "engine_speed":
        panels += lambda_panel(runs, shop, options)
    if options.against == "road_speed":
        notes = (
            ("Each run is a line here. A mean with its band is drawn over engine speed only.",)
            if options.band
            else ()
        )
        road = channel_display("road_speed_kmh", shop)
        return Overlay(build_chart(road.title, road.unit, panels), tuple(missing), notes)
    chart = build_chart("engine speed", "rpm", panels)
    for panel in chart["panels"][main:]:
        panel["low"] = True
    return Overlay(chart, tuple(missing))


def lambda_panel(
    runs: Sequence[OverlayRun], shop: ShopProfile, options: OverlayOptions
) -> list[tuple[ChannelDisplay, list[CurveLine]]]:
    """Return the panel of lambda under power and torque, or nothing if no run measured it."""
    lines = [line for run in runs if (line := build_line(run, "lambda", shop, options)) is not None]
    if not any(np.isfinite(line.y).any() for line in lines):
        return []
    if options.band:
        lines = merge_repeats(lines, {overlay_run.name: overlay_run for overlay_run in runs}, shop)
    return [(channel_display("lambda", shop), lines)]


def _overlay_display(name: str, runs: Sequence[OverlayRun], shop: ShopProfile) -> ChannelDisplay:
    return channel_display(name, shop, file_unit((overlay_run.run for overlay_run in runs), name))


def missing_reason(overlay_run: OverlayRun, name: str, options: OverlayOptions) -> str:
    quantity = CHANNELS[name].label if name in CHANNELS else name
    if overlay_run.result.curve is None:
        return f"{overlay_run.name}: {overlay_run.result.reason}"
    if options.against == "road_speed" and "road_speed_kmh" not in overlay_run.result.rows:
        return f"{overlay_run.name}: no road speed in the file."
    return f"{overlay_run.name}: no {quantity} in the file."


def build_line(
    overlay_run: OverlayRun, name: str, shop: ShopProfile, options: OverlayOptions
) -> CurveLine | None:
    """Build the line of one quantity of a run, or return None if it has none."""
    result = overlay_run.result
    curve = result.curve if options.corrected else result.observed
    if curve is None:
        return None
    if name in ("power_kw", "torque_nm"):
        y: FloatArray | None = getattr(curve, name)
    else:
        samples = result.channel(name)
        y = None if samples is None else channel_on_curve(result.rows["engine_speed_rpm"], samples, curve)
    if y is None:
        return None
    x = curve.engine_speed_rpm
    if options.against == "road_speed":
        if "road_speed_kmh" not in result.rows:
            return None
        rows = result.rows
        road = channel_on_curve(rows["engine_speed_rpm"], rows["road_speed_kmh"], curve)
        if road is None:
            return None
        known = np.isfinite(road) & np.isfinite(y)
        x, y = channel_display("road_speed_kmh", shop).show(road[known]), y[known]
    return CurveLine(overlay_run.name, overlay_run.look, x, y, group=overlay_run.group, hue=overlay_run.hue)


def sample_line(overlay_run: OverlayRun, name: str, options: OverlayOptions) -> CurveLine | None:
    """Return the samples that a curve was fitted to, or None if the run has no curve of that quantity."""
    result = overlay_run.result
    if result.curve is None:
        return None
    speed = result.rows["engine_speed_rpm"]
    values = result.channel(name)
    if name in ("power_kw", "torque_nm"):
        # The curve is fitted to power if the file has it.
        turning, power = np.where(speed > 0, speed, np.nan), result.rows.get("power_kw")
        if power is None:
            power = identities.power_kw(result.rows["torque_nm"], turning)
        power = power * power_scale(result, options)
        values = power if name == "power_kw" else identities.torque_nm(power, turning)
    if values is None:
        return None
    label = f"{overlay_run.name}, samples"
    return CurveLine(label, overlay_run.look, *decimate(speed, values), samples_of=overlay_run.name)


def merge_repeats(
    lines: Sequence[CurveLine], by_name: Mapping[str, OverlayRun], shop: ShopProfile
) -> list[CurveLine]:
    """Replace the sweeps of a side by their mean with its 95 % band; keep other runs.

    Runs neither before nor after were made in several states of the bike, so they stay separate.
    """
    repeats: dict[Look, list[CurveLine]] = {"before": [], "after": []}
    others: list[CurveLine] = []
    for line in lines:
        is_repeat = line.look in repeats and by_name[line.label].run.kind == Run.Kind.SWEEP
        (repeats[line.look] if is_repeat else others).append(line)
    means = [build_mean_line(group, look, shop.grid_step_rpm) for look, group in repeats.items() if group]
    return [*means, *others]


def build_mean_line(lines: Sequence[CurveLine], look: Look, step_rpm: float) -> CurveLine:
    first, last = min(line.x[0] for line in lines), max(line.x[-1] for line in lines)
    grid = np.arange(first, last + step_rpm / 2, step_rpm)
    rows = np.array([align_to_grid(line.x, line.y, grid, step_rpm) for line in lines])
    found = mean_interval(rows, axis=0)
    low, high = found.mean - found.half_width, found.mean + found.half_width
    return CurveLine(side_label(look, len(lines)), look, grid, found.mean, low, high)


def side_label(side: str, runs: int) -> str:
    return f"{side}, mean of {runs} runs" if runs > 1 else f"{side}, 1 run"


def overlay_by_time(runs: Sequence[OverlayRun], shop: ShopProfile, options: OverlayOptions) -> Overlay:
    """Draw the samples against time from the start of the sweep, thinned except for peaks."""
    names = ["power_kw", "torque_nm"] if options.quantity == POWER_AND_TORQUE else [options.quantity]
    panels: list[tuple[ChannelDisplay, list[CurveLine]]] = [
        (_overlay_display(name, runs, shop), []) for name in names
    ]
    missing = dict[str, None]()
    for overlay_run in runs:
        channels = channels_by_time(overlay_run, names, shop)
        if "time_s" not in channels:
            missing[f"{overlay_run.name}: no time in the file."] = None
            continue
        for name, (_, lines) in zip(names, panels, strict=True):
            if name not in channels:
                words = CHANNELS[name].label if name in CHANNELS else name
                missing[f"{overlay_run.name}: no {words} in the file."] = None
                continue
            y = channels[name] * (
                power_scale(overlay_run.result, options) if name in ("power_kw", "torque_nm") else 1.0
            )
            xy = decimate(channels["time_s"], y)
            line = CurveLine(overlay_run.name, overlay_run.look, *xy)
            lines.append(replace(line, group=overlay_run.group, hue=overlay_run.hue))
    note = f"At most {MAX_SAMPLES} samples of each run are drawn, always with its highest and lowest."
    return Overlay(
        build_chart("time from the start of the sweep", "s", panels, x_digits=2), tuple(missing), (note,)
    )


def channels_by_time(
    overlay_run: OverlayRun, names: Sequence[str], shop: ShopProfile
) -> dict[str, FloatArray]:
    """Return the channels of the whole run, with time from the start of the sweep."""
    try:
        channels = load_channels(overlay_run.run, ["time_s", *names])
        if {"power_kw", "torque_nm"} & set(names) - channels.keys():
            channels |= derived_channels(overlay_run.run, overlay_run.result.sweep, shop)
    except ValueError:
        return {}
    time = channels.get("time_s")
    if time is None or not np.isfinite(time).any():
        return {}
    sweep = overlay_run.result.sweep
    start = time[sweep.start] if sweep else np.nan
    channels["time_s"] = time - (start if np.isfinite(start) else time[np.isfinite(time)][0])
    return channels


def derived_channels(run: Run, sweep: Sweep | None, shop: ShopProfile) -> dict[str, FloatArray]:
    """Derive power and torque from each other, or both from the roller speed within the sweep."""
    stored, dyno = load_channels(run, NEEDED), RollerDyno(shop, run.job.bike)
    derived, _ = dyno.derive_speeds(run, stored)
    if sweep:
        rows = {name: channel[sweep.rows] for name, channel in derived.items()}
        powered = dyno.derive_power(run, rows)
        if powered.slope_width_rpm is not None:
            derived["power_kw"] = np.full(derived["engine_speed_rpm"].size, np.nan)
            derived["power_kw"][sweep.rows] = powered.rows["power_kw"]
    speed, power, torque = (derived.get(name) for name in ("engine_speed_rpm", "power_kw", "torque_nm"))
    if speed is None:
        return {}
    turning = np.where(speed > 0, speed, np.nan)
    if torque is None and power is not None:
        torque = identities.torque_nm(power, turning)
    elif power is None and torque is not None:
        power = identities.power_kw(torque, turning)
    found = {"power_kw": power, "torque_nm": torque}
    return {name: channel for name, channel in found.items() if channel is not None}


def power_scale(result: RunResult, options: OverlayOptions) -> float:
    return result.uncorrect_factor * (result.factor if options.corrected else 1.0)


def decimate(x: FloatArray, y: FloatArray, max_samples: int = MAX_SAMPLES) -> tuple[FloatArray, FloatArray]:
    """Keep the lowest and highest sample of every stretch of equal length, in their order."""
    known = np.isfinite(x) & np.isfinite(y)
    x, y = x[known], y[known]
    if x.size <= max_samples:
        return x, y
    edges = np.linspace(0, x.size, max_samples // 2 + 1).astype(int)
    indices: list[int] = []
    for start, stop in pairwise(edges):
        part = y[start:stop]
        indices += sorted({start + int(part.argmin()), start + int(part.argmax())})
    return x[indices], y[indices]


def sweep_chart(result: RunResult, shop: ShopProfile) -> Chart | None:
    """Draw engine speed over the whole run and its sweep, against time or else samples."""
    try:
        stored = load_channels(result.run, ("time_s", "engine_speed_rpm", *ROLLER_SPEEDS))
        channels, _ = RollerDyno(shop).derive_speeds(result.run, stored)
    except ValueError:
        return None
    speed, sweep = channels.get("engine_speed_rpm"), result.sweep
    if speed is None:
        return None
    time = channels.get("time_s")
    rising = time is not None and bool(np.all(np.diff(time) > 0))
    x = time if time is not None and rising else np.arange(speed.size, dtype=float)
    lines = [CurveLine("whole run", "aside", *decimate(x, speed))]
    if sweep:
        lines.append(CurveLine("sweep", "after", *decimate(x[sweep.rows], speed[sweep.rows])))
    axis, unit, digits = ("time", "s", 2) if rising else ("sample", "", 0)
    return build_chart(axis, unit, [(channel_display("engine_speed_rpm", shop), lines)], x_digits=digits)


def ratio_chart(result: RunResult) -> Chart | None:
    """Draw the change of engine over road speed along the sweep: slip of tyre and clutch."""
    ratio = result.ratio
    if ratio is None:
        return None
    line = CurveLine("change of ratio", "after", ratio.engine_speed_rpm, ratio.change_pct)
    return build_chart(
        "engine speed", "rpm", [(ChannelDisplay("change of ratio", "%", 1, min_span=2.0), [line])]
    )
