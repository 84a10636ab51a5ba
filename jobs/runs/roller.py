"""Derive power from the roller speed, by the inertia of the dyno and the losses of a coast-down."""

from dataclasses import dataclass, field

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.calc.dyno.curves import Flag
from jobs.calc.dyno.roller import (
    WINDOW_S,
    Losses,
    coast_down,
    inertia_at_roller_kgm2,
    roller_power,
    slope_window_s,
)
from jobs.calc.units.factors import convert
from jobs.calc.units.numbers import format_digits, format_number
from jobs.models import Job, Run
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.suspension.engine_ratio import computed_gearing
from jobs.suspension.gearing import rear_tyre
from workshop.models import Bike, ShopProfile

ROLLER_SPEEDS = ("roller_speed_rpm", "roller_speed_kmh")
SAMPLES_IN_WINDOW = 5
# The slope may take this share of the width that the curve is smoothed over, so that it adds little to it.
SLOPE_SHARE = 0.5
# A coast-down ends below this share of its highest speed, where brakes or standstill distort it.
COASTED_SHARE = 0.1
# Simulated: 0.025 kg·m² at the crank, sweeps of 125 to 2,070 1/min a second, losses of the drive with it.
LEFT_OUT = gettext_noop(
    "This is only the power that accelerates the roller. Power that accelerates the bike's rotating "
    "parts is not included, so it reads about 9 to 16 % below the crankshaft, more in quicker "
    "sweeps. You can enter their inertia in the engine spec."
)
RAD_S_PER_RPM = np.pi / 30


@dataclass(frozen=True, eq=False)
class RollerRows:
    """Rows of a sweep with power; the width of the slope is None unless it was derived from the roller."""

    rows: dict[str, FloatArray]
    flags: list[Flag] = field(default_factory=list)
    slope_width_rpm: float | None = None


@dataclass
class RollerDyno:
    """The shop's dyno with the losses of the jobs' coast-downs, read once for many runs."""

    shop: ShopProfile
    bike: Bike | None = None
    _losses: dict[int, tuple[Losses | None, str]] = field(default_factory=dict)

    def derive_speeds(
        self, run: Run, channels: dict[str, FloatArray]
    ) -> tuple[dict[str, FloatArray], list[Flag]]:
        """Add engine speed and road speed, as far as the roller speed gives them.

        Channels of the file itself are kept. The flags say how the others were derived.

        Raises
        ------
        ValueError
            Engine speed must be derived, and an input for it is missing.
        """
        derived = dict(channels)
        if not channels.keys() & set(ROLLER_SPEEDS):
            return derived, []
        surface_kmh = self.surface_kmh(channels)
        if "engine_speed_rpm" not in derived:
            derived["engine_speed_rpm"], flag = derive_engine_speed(run, surface_kmh)
            return derived, [flag]
        if surface_kmh is not None:
            derived.setdefault("road_speed_kmh", surface_kmh)
        return derived, []

    def derive_power(self, run: Run, rows: dict[str, FloatArray]) -> "RollerRows":
        """Add power from the roller speed, unless the file has power or torque.

        The rows are those of the sweep alone, so that no slope reaches into the overrun.

        Raises
        ------
        ValueError
            Power must be derived, and an input for it is missing.
        """
        if {"power_kw", "torque_nm"} & rows.keys() or not rows.keys() & set(ROLLER_SPEEDS):
            return RollerRows(rows)
        speed = self.speed_rad_s(rows)
        if speed is None:
            raise ValueError(
                "The file has roller speed in km/h but no power. Enter the roller radius and "
                "inertia under Shop "
                "so that power can be calculated."
            )
        return self.add_power(run, rows, speed)

    def speed_rad_s(self, channels: dict[str, FloatArray]) -> FloatArray | None:
        if "roller_speed_rpm" in channels:
            return channels["roller_speed_rpm"] * RAD_S_PER_RPM
        radius_m = self.shop.roller_radius_m
        if "roller_speed_kmh" in channels and radius_m:
            return np.asarray(convert(channels["roller_speed_kmh"], "kmh", "mps")) / radius_m
        return None

    def surface_kmh(self, channels: dict[str, FloatArray]) -> FloatArray | None:
        if "roller_speed_kmh" in channels:
            return channels["roller_speed_kmh"]
        speed_rad_s, radius_m = self.speed_rad_s(channels), self.shop.roller_radius_m
        if speed_rad_s is None or not radius_m:
            return None
        return np.asarray(convert(speed_rad_s * radius_m, "mps", "kmh"))

    def add_power(self, run: Run, rows: dict[str, FloatArray], speed_rad_s: FloatArray) -> "RollerRows":
        inertia = self.shop.roller_inertia_kgm2
        if not inertia:
            raise ValueError(
                "The file has roller speed but no power. Enter the roller inertia under Shop so that power "
                "can be calculated."
            )
        if "time_s" not in rows:
            raise ValueError(
                "No column of the file is read as time, so power cannot be calculated from "
                "roller speed. Set it "
                "under “Import settings”."
            )
        known = np.isfinite(rows["time_s"]) & np.isfinite(speed_rad_s)
        time, speed = rows["time_s"][known], speed_rad_s[known]
        ratio = median_ratio(rows["engine_speed_rpm"], speed_rad_s)
        window_s = slope_window_s(time, speed, SLOPE_SHARE * self.shop.smoothing_width_rpm / ratio)
        losses, note = self.coast_down_losses(run.job)
        parts, parts_note = self.rotating_parts(ratio)
        turning = inertia_at_roller_kgm2(inertia, parts)
        found = roller_power(time, speed, turning, losses, window_s)
        # Half a window from the ends the slope would be taken from one side alone.
        whole = (time >= time[0] + window_s / 2) & (time <= time[-1] - window_s / 2)
        power = np.full(known.size, np.nan)
        power[known] = np.where(whole, found.power_kw, np.nan)
        slope_width_rpm = window_s * abs(speed[-1] - speed[0]) / (time[-1] - time[0]) * ratio
        text = _(
            "Power calculated from roller speed: inertia %(inertia)s kg·m², slope over %(width)s rpm "
            "(%(time)s s of this sweep)."
        ) % {
            "inertia": format_digits(inertia),
            "width": format_number(slope_width_rpm),
            "time": format_digits(window_s, 2),
        }
        sentence = f"{text} {parts_note} {note}"
        return RollerRows({**rows, "power_kw": power}, [Flag("roller", sentence)], float(slope_width_rpm))

    def rotating_parts(self, rpm_per_rad_s: float) -> tuple[list[tuple[float, float]], str]:
        """Return inertia and turns for one of the roller of what else turns, and what is in the power."""
        spec = self.bike.engine_spec if self.bike else None
        engine = spec.engine_inertia_kgm2 if spec else None
        wheel = spec.wheel_inertia_kgm2 if spec else None
        if not engine:
            return [], _(LEFT_OUT)
        turns = rpm_per_rad_s * RAD_S_PER_RPM
        parts = [(engine, turns)]
        values = {"inertia": format_digits(engine), "turns": format_number(turns, 1)}
        named = _("engine %(inertia)s kg·m² at %(turns)s turns per roller turn") % values
        tyre = rear_tyre(self.bike) if self.bike else None
        radius_m = self.shop.roller_radius_m
        if wheel and tyre and radius_m:
            wheel_turns = 2 * np.pi * radius_m * 1000 / tyre.rolling_circumference_mm
            parts.append((wheel, wheel_turns))
            values = {"inertia": format_digits(wheel), "turns": format_number(float(wheel_turns), 1)}
            named += _(", rear wheel %(inertia)s kg·m² at %(turns)s") % values
        roller = self.shop.roller_inertia_kgm2 or 0.0
        share_pct = 100 * (1 - roller / inertia_at_roller_kgm2(roller, parts))
        text = _(
            "The bike's rotating parts are included, %(share)s %% of the total inertia (%(parts)s). "
            "This is engine power minus friction of drive and tyre."
        )
        return parts, text % {"share": format_number(share_pct, 1), "parts": named}

    def coast_down_losses(self, job: Job) -> tuple[Losses | None, str]:
        """Return the losses of the job's latest coast-down that counts, and a note about them."""
        if job.pk not in self._losses:
            self._losses[job.pk] = self._find_losses(job)
        return self._losses[job.pk]

    def _find_losses(self, job: Job) -> tuple[Losses | None, str]:
        coasts = job.runs.filter(kind=Run.Kind.COAST, status=Run.Status.READ, set_aside=False)
        run = coasts.order_by("-made_at", "-pk").first()
        if run is None:
            return (
                None,
                _("This job has no coast-down run, so no losses are added. True power is higher."),
            )
        try:
            losses = self.measure_losses(run)
        except ValueError as problem:
            text = _("The losses are not added, because the coast-down %(run)s cannot be used: %(problem)s")
            return None, text % {"run": run, "problem": problem}
        text = _("Losses from coast-down %(run)s are added. Losses under load are larger.")
        return losses, text % {"run": run}

    def measure_losses(self, run: Run) -> Losses:
        """Measure the loss torque over the speeds of a coast-down.

        Raises
        ------
        ValueError
            Roller speed, time or inertia is missing, or the run does not slow down.
        """
        channels = load_channels(run, ("time_s", *ROLLER_SPEEDS))
        speed = self.speed_rad_s(channels)
        missing = [] if "time_s" in channels else ["time"]
        missing += [] if channels.keys() & set(ROLLER_SPEEDS) else ["roller speed"]
        if missing:
            raise ValueError(
                f"No column of the file is read as {' or '.join(missing)}. Set it under “Import settings”."
            )
        if speed is None:
            raise ValueError("The file has roller speed in km/h. Enter the roller radius under Shop.")
        if not self.shop.roller_inertia_kgm2:
            raise ValueError("The roller inertia is not entered under Shop.")
        part = find_coasting(speed)
        time = channels["time_s"][part]
        window_s = power_window_s(time[np.isfinite(time)])
        return coast_down(time, speed[part], self.shop.roller_inertia_kgm2, window_s=window_s)

    def describe_coast_down(self, run: Run) -> str:
        """Describe a coast-down by the power lost at its two ends."""
        try:
            losses = self.measure_losses(run)
        except ValueError as problem:
            return f"Coast-down: {problem}"
        ends = (losses.from_rad_s, losses.to_rad_s)
        lost = [float(losses.torque_nm(end)) * end / 1000 for end in ends]
        speeds = [end / RAD_S_PER_RPM for end in ends]
        return (
            f"Coast-down losses: {format_number(lost[0], 2)} kW at {format_number(speeds[0])} roller rpm, "
            f"{format_number(lost[1], 2)} kW at {format_number(speeds[1])} rpm. They are added to power "
            "calculated from roller speed."
        )


def power_window_s(time_s: FloatArray) -> float:
    """Return the default window, or a wider one with enough samples of a slow logger [s]."""
    steps = np.diff(time_s)
    return max(WINDOW_S, SAMPLES_IN_WINDOW * float(np.median(steps))) if steps.size else WINDOW_S


def median_ratio(engine_speed_rpm: FloatArray, speed_rad_s: FloatArray) -> float:
    """Return engine speed over roller speed [1/min per rad/s].

    Raises
    ------
    ValueError
        No sample has both.
    """
    turning = (engine_speed_rpm > 0) & (speed_rad_s > 0)
    if not turning.any():
        raise ValueError("No sample of the sweep has both an engine speed and a roller speed.")
    return float(np.median(engine_speed_rpm[turning] / speed_rad_s[turning]))


def find_coasting(speed_rad_s: FloatArray) -> slice:
    """Find the part from the highest speed down to near standstill."""
    if not np.isfinite(speed_rad_s).any():
        raise ValueError("Roller speed is missing in the whole run.")
    top = int(np.nanargmax(speed_rad_s))
    slow = np.flatnonzero(speed_rad_s[top:] < COASTED_SHARE * speed_rad_s[top])
    return slice(top, top + int(slow[0]) if slow.size else speed_rad_s.size)


def derive_engine_speed(run: Run, surface_kmh: FloatArray | None) -> tuple[FloatArray, Flag]:
    """Derive engine speed from the surface speed and the gear of the run, without slip."""
    if surface_kmh is None:
        raise ValueError(
            "The file has no engine speed. Enter the roller radius under Shop so that it can be calculated "
            "from roller speed and gear."
        )
    if run.gear is None:
        raise ValueError(
            "The file has no engine speed. Enter the gear of the run so that it can be "
            "calculated from roller speed."
        )
    ratio = computed_gearing(run.job, run.gear)
    text = _("Engine speed calculated from roller speed, assuming no slip: %(source)s.")
    return surface_kmh * ratio.rpm_per_kmh, Flag("ratio", text % {"source": ratio.source})
