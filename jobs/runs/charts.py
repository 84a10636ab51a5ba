"""Figures of runs as curves in the shop's units, in the form that js/charts.js draws."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from jobs.calc.channels import CHANNELS
from jobs.calc.statistics import mean_interval
from jobs.calc.units import identities
from jobs.models import Run
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.runs.chart_data import Chart, Line, Look, Measure, chart_of, measure_of, own_unit
from jobs.runs.results import NEEDED, RunFigures, channel_on_curve, placed
from jobs.runs.roller import ROLLER_SPEEDS, RollerBench
from workshop.models import ShopProfile

POWER_AND_TORQUE = "power_torque"


AGAINST = {"engine_speed": "engine speed", "road_speed": "road speed", "time": "time"}


MOST_SAMPLES = 600  # of one run against time


@dataclass(frozen=True)
class Asked:
    """What the overlay is asked to show."""

    quantity: str = POWER_AND_TORQUE
    against: str = "engine_speed"
    corrected: bool = True
    band: bool = False


@dataclass(frozen=True, eq=False)
class Shown:
    """A run in the overlay: its figures, what it is called there, and how its line looks."""

    figures: RunFigures
    name: str
    look: Look

    @property
    def run(self) -> Run:
        return self.figures.run


@dataclass(frozen=True)
class Overlay:
    """A chart, what is not in it and why, and the words beside it."""

    chart: Chart
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def channels_of(runs: Iterable[Run]) -> dict[str, str]:
    """What the overlay can show of these runs: name -> words, power with torque first."""
    found = dict.fromkeys(name for run in runs for name in run.channel_names)
    known = {
        channel.id: channel.label
        for channel in CHANNELS.values()
        if channel.id in found and channel.id not in ("time_s", "power_kw", "torque_nm")
    }
    own = {name: name for name in found if name not in CHANNELS}
    return {POWER_AND_TORQUE: "power and torque", **known, **own}


def overlay(shown: Sequence[Shown], shop: ShopProfile, asked: Asked) -> Overlay:
    """The runs over each other, against engine speed, road speed or time.

    Repeats as a band are means of sweeps in one state of the bike and lie on one grid: against engine
    speed only.
    """
    if asked.against == "time":
        return against_time(shown, shop, asked)
    names = ["power_kw", "torque_nm"] if asked.quantity == POWER_AND_TORQUE else [asked.quantity]
    panels, missing = [], dict[str, None]()
    for name in names:
        lines = []
        for each in shown:
            line = line_of(each, name, shop, asked)
            if line is None:
                missing[missing_of(each, name, asked)] = None
            else:
                lines.append(line)
        if asked.band and asked.against == "engine_speed":
            lines = with_bands(lines, {each.name: each for each in shown}, shop)
        panels.append((_measure_in(name, shown, shop), lines))
    if asked.against == "road_speed":
        notes = ("Repeats are shown as lines: a band lies over engine speed.",) if asked.band else ()
        road = measure_of("road_speed_kmh", shop)
        return Overlay(chart_of(road.title, road.unit, panels), tuple(missing), notes)
    return Overlay(chart_of("engine speed", "1/min", panels), tuple(missing))


def _measure_in(name: str, shown: Sequence[Shown], shop: ShopProfile) -> Measure:
    return measure_of(name, shop, own_unit((each.run for each in shown), name))


def missing_of(each: Shown, name: str, asked: Asked) -> str:
    words = CHANNELS[name].label if name in CHANNELS else name
    if each.figures.curve is None:
        return f"{each.name}: {each.figures.reason}"
    if asked.against == "road_speed" and "road_speed_kmh" not in each.figures.rows:
        return f"{each.name}: no road speed in the file."
    return f"{each.name}: no {words} in the file."


def line_of(each: Shown, name: str, shop: ShopProfile, asked: Asked) -> Line | None:
    """A run's curve of one quantity; None where it has none."""
    figures = each.figures
    curve = figures.curve if asked.corrected else figures.observed
    if curve is None:
        return None
    if name in ("power_kw", "torque_nm"):
        y: FloatArray | None = getattr(curve, name)
    else:
        samples = figures.channel(name)
        y = None if samples is None else channel_on_curve(figures.rows["engine_speed_rpm"], samples, curve)
    if y is None:
        return None
    x = curve.engine_speed_rpm
    if asked.against == "road_speed":
        if "road_speed_kmh" not in figures.rows:
            return None
        rows = figures.rows
        road = channel_on_curve(rows["engine_speed_rpm"], rows["road_speed_kmh"], curve)
        if road is None:
            return None
        known = np.isfinite(road) & np.isfinite(y)
        x, y = measure_of("road_speed_kmh", shop).show(road[known]), y[known]
    return Line(each.name, each.look, x, y)


def with_bands(lines: Sequence[Line], by_name: Mapping[str, Shown], shop: ShopProfile) -> list[Line]:
    """The sweeps of one side as their mean with its 95 % band; other runs as they are.

    What is neither before nor after was not all made in one state of the bike, and stays apart.
    """
    repeats: dict[Look, list[Line]] = {"before": [], "after": []}
    others: list[Line] = []
    for line in lines:
        is_repeat = line.look in repeats and by_name[line.label].run.kind == Run.Kind.SWEEP
        (repeats[line.look] if is_repeat else others).append(line)
    means = [mean_line(group, look, shop.grid_step_rpm) for look, group in repeats.items() if group]
    return [*means, *others]


def mean_line(lines: Sequence[Line], look: Look, step_rpm: float) -> Line:
    first, last = min(line.x[0] for line in lines), max(line.x[-1] for line in lines)
    grid = np.arange(first, last + step_rpm / 2, step_rpm)
    rows = np.array([placed(line.x, line.y, grid, step_rpm) for line in lines])
    found = mean_interval(rows, axis=0)
    low, high = found.mean - found.half_width, found.mean + found.half_width
    return Line(side_label(look, len(lines)), look, grid, found.mean, low, high)


def side_label(side: str, runs: int) -> str:
    return f"{side}, mean of {runs} runs" if runs > 1 else f"{side}, 1 run"


def against_time(shown: Sequence[Shown], shop: ShopProfile, asked: Asked) -> Overlay:
    """Samples as they were measured, thinned but for peaks; time runs from the start of the sweep."""
    names = ["power_kw", "torque_nm"] if asked.quantity == POWER_AND_TORQUE else [asked.quantity]
    panels: list[tuple[Measure, list[Line]]] = [(_measure_in(name, shown, shop), []) for name in names]
    missing = dict[str, None]()
    for each in shown:
        channels = timed_channels(each, names, shop)
        if "time_s" not in channels:
            missing[f"{each.name}: no time in the file."] = None
            continue
        for name, (_, lines) in zip(names, panels, strict=True):
            if name not in channels:
                words = CHANNELS[name].label if name in CHANNELS else name
                missing[f"{each.name}: no {words} in the file."] = None
                continue
            y = channels[name] * (_scale(each.figures, asked) if name in ("power_kw", "torque_nm") else 1.0)
            lines.append(Line(each.name, each.look, *thinned(channels["time_s"], y)))
    note = f"At most {MOST_SAMPLES} samples of a run are drawn, the highest and lowest among them."
    return Overlay(
        chart_of("time from the start of the sweep", "s", panels, x_digits=2), tuple(missing), (note,)
    )


def timed_channels(each: Shown, names: Sequence[str], shop: ShopProfile) -> dict[str, FloatArray]:
    """The run's channels over its whole length, time counted from the start of the sweep."""
    try:
        channels = load_channels(each.run, ["time_s", *names])
        if {"power_kw", "torque_nm"} & set(names) - channels.keys():
            channels |= made_channels(each.run, shop)
    except ValueError:
        return {}
    time = channels.get("time_s")
    if time is None or not np.isfinite(time).any():
        return {}
    sweep = each.figures.sweep
    start = time[sweep.start] if sweep else np.nan
    channels["time_s"] = time - (start if np.isfinite(start) else time[np.isfinite(time)][0])
    return channels


def made_channels(run: Run, shop: ShopProfile) -> dict[str, FloatArray]:
    """Power and torque, one from the other by the engine speed, or both from a roller's speed."""
    stored = load_channels(run, NEEDED)
    made, _ = RollerBench(shop).complete(run, stored)
    speed, power, torque = (made.get(name) for name in ("engine_speed_rpm", "power_kw", "torque_nm"))
    if speed is None:
        return {}
    turning = np.where(speed > 0, speed, np.nan)
    if torque is None and power is not None:
        torque = identities.torque_nm(power, turning)
    elif power is None and torque is not None:
        power = identities.power_kw(torque, turning)
    found = {"power_kw": power, "torque_nm": torque}
    return {name: channel for name, channel in found.items() if channel is not None}


def _scale(figures: RunFigures, asked: Asked) -> float:
    return figures.taken_back * (figures.factor if asked.corrected else 1.0)


def thinned(x: FloatArray, y: FloatArray, most: int = MOST_SAMPLES) -> tuple[FloatArray, FloatArray]:
    """The lowest and highest sample of each stretch of equal length, in their order, at most so many."""
    known = np.isfinite(x) & np.isfinite(y)
    x, y = x[known], y[known]
    if x.size <= most:
        return x, y
    edges = np.linspace(0, x.size, most // 2 + 1).astype(int)
    kept: list[int] = []
    for start, stop in pairwise(edges):
        part = y[start:stop]
        kept += sorted({start + int(part.argmin()), start + int(part.argmax())})
    return x[kept], y[kept]


def sweep_chart(figures: RunFigures, shop: ShopProfile) -> Chart | None:
    """Engine speed over the whole run with the sweep in it; over samples where the file has no time."""
    try:
        stored = load_channels(figures.run, ("time_s", "engine_speed_rpm", *ROLLER_SPEEDS))
        channels, _ = RollerBench(shop).with_speeds(figures.run, stored)
    except ValueError:
        return None
    speed, sweep = channels.get("engine_speed_rpm"), figures.sweep
    if speed is None:
        return None
    time = channels.get("time_s")
    rising = time is not None and bool(np.all(np.diff(time) > 0))
    x = time if time is not None and rising else np.arange(speed.size, dtype=float)
    lines = [Line("whole run", "aside", *thinned(x, speed))]
    if sweep:
        lines.append(Line("sweep", "after", *thinned(x[sweep.rows], speed[sweep.rows])))
    words = ("time", "s", 2) if rising else ("sample", "", 0)
    return chart_of(words[0], words[1], [(measure_of("engine_speed_rpm", shop), lines)], x_digits=words[2])


def ratio_chart(figures: RunFigures) -> Chart | None:
    """How the ratio of engine to road speed changes along the sweep: the slip of tyre and clutch."""
    ratio = figures.ratio
    if ratio is None:
        return None
    line = Line("change of ratio", "after", ratio.engine_speed_rpm, ratio.change_pct)
    return chart_of("engine speed", "1/min", [(Measure("change of ratio", "%", 1), [line])])
