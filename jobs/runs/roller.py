"""Power of runs that hold a roller's speed and no power: by the shop's roller and the job's coast-down."""

from dataclasses import dataclass, field

import numpy as np

from jobs.calc.dyno.curves import Flag
from jobs.calc.dyno.roller import WINDOW_S, Losses, coast_down, roller_power
from jobs.calc.units.factors import convert
from jobs.calc.units.numbers import format_number
from jobs.models import Job, Run
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.suspension.engine_ratio import computed_gearing
from workshop.models import ShopProfile

ROLLER_SPEEDS = ("roller_speed_rpm", "roller_speed_kmh")
SAMPLES_IN_WINDOW = 5
# Below this share of its highest speed a coast-down is over: brakes, or the wheel standing still.
COASTED_SHARE = 0.1
RAD_S_PER_RPM = np.pi / 30


@dataclass
class RollerBench:
    """The shop's roller with the losses that a job's coast-down showed, read once for many runs."""

    shop: ShopProfile
    _losses: dict[int, tuple[Losses | None, str]] = field(default_factory=dict)

    def complete(self, run: Run, channels: dict[str, FloatArray]) -> tuple[dict[str, FloatArray], list[Flag]]:
        """The channels with what the roller's speed adds: road speed, engine speed, power.

        What the file itself holds stays as it is. The flags say how each was made.

        Raises
        ------
        ValueError
            Power or engine speed would have to come from the roller, and something for it is missing.
        """
        made, flags = self.with_speeds(run, channels)
        speed = self.speed_rad_s(channels)
        if speed is not None and not {"power_kw", "torque_nm"} & made.keys():
            made["power_kw"], flag = self.power_kw(run, made, speed)
            flags.append(flag)
        return made, flags

    def with_speeds(
        self, run: Run, channels: dict[str, FloatArray]
    ) -> tuple[dict[str, FloatArray], list[Flag]]:
        """The channels with engine speed and road speed, as far as the roller's speed gives them.

        Raises
        ------
        ValueError
            Engine speed would have to come from the roller, and something for it is missing.
        """
        made, speed = dict(channels), self.speed_rad_s(channels)
        if speed is None:
            return made, []
        surface_kmh = self.surface_kmh(channels, speed)
        if "engine_speed_rpm" not in made:
            made["engine_speed_rpm"], flag = engine_speed(run, surface_kmh)
            return made, [flag]
        if surface_kmh is not None:
            made.setdefault("road_speed_kmh", surface_kmh)
        return made, []

    def speed_rad_s(self, channels: dict[str, FloatArray]) -> FloatArray | None:
        if "roller_speed_rpm" in channels:
            return channels["roller_speed_rpm"] * RAD_S_PER_RPM
        radius_m = self.shop.roller_radius_m
        if "roller_speed_kmh" in channels and radius_m:
            return np.asarray(convert(channels["roller_speed_kmh"], "kmh", "mps")) / radius_m
        return None

    def surface_kmh(self, channels: dict[str, FloatArray], speed_rad_s: FloatArray) -> FloatArray | None:
        if "roller_speed_kmh" in channels:
            return channels["roller_speed_kmh"]
        radius_m = self.shop.roller_radius_m
        return np.asarray(convert(speed_rad_s * radius_m, "mps", "kmh")) if radius_m else None

    def power_kw(
        self, run: Run, channels: dict[str, FloatArray], speed_rad_s: FloatArray
    ) -> tuple[FloatArray, Flag]:
        inertia = self.shop.roller_inertia_kgm2
        if not inertia:
            raise ValueError(
                "The file has a roller's speed and no power. Enter the roller's inertia in the shop's "
                "profile, then the power follows from it."
            )
        if "time_s" not in channels:
            raise ValueError("The file has a roller's speed and no time: no power follows from it.")
        time = channels["time_s"]
        known = np.isfinite(time) & np.isfinite(speed_rad_s)
        window_s = window_for(time[known])
        losses, told = self.losses_of(run.job)
        found = roller_power(time[known], speed_rad_s[known], inertia, losses, window_s)
        power = np.full(time.size, np.nan)
        power[known] = found.power_kw
        sentence = f"Power is that of the roller: inertia {inertia:g} kg·m², window {window_s:.2g} s. {told}"
        return power, Flag("roller", sentence)

    def losses_of(self, job: Job) -> tuple[Losses | None, str]:
        """The losses by the job's latest coast-down that counts, and what is said of them."""
        if job.pk not in self._losses:
            self._losses[job.pk] = self._coasted(job)
        return self._losses[job.pk]

    def _coasted(self, job: Job) -> tuple[Losses | None, str]:
        coasts = job.runs.filter(kind=Run.Kind.COAST, status=Run.Status.READ, set_aside=False)
        run = coasts.order_by("-made_at", "-pk").first()
        if run is None:
            return (
                None,
                "No coast-down belongs to this job: no losses are added, the true power is higher.",
            )
        try:
            losses = self.coast_losses(run)
        except ValueError as problem:
            return None, f"The losses are not added, the coast-down {run} can't be used: {problem}"
        return losses, f"Losses by the coast-down {run} are added; those under load are larger."

    def coast_losses(self, run: Run) -> Losses:
        """Loss torque over the speeds that a run coasted through.

        Raises
        ------
        ValueError
            No roller speed, time or inertia, or a run that does not slow down.
        """
        channels = load_channels(run, ("time_s", *ROLLER_SPEEDS))
        speed = self.speed_rad_s(channels)
        if speed is None or "time_s" not in channels:
            raise ValueError("It needs time and the roller's speed.")
        if not self.shop.roller_inertia_kgm2:
            raise ValueError("The roller's inertia is not entered in the shop's profile.")
        part = coasting(speed)
        time = channels["time_s"][part]
        window_s = window_for(time[np.isfinite(time)])
        return coast_down(time, speed[part], self.shop.roller_inertia_kgm2, window_s=window_s)

    def coast_in_words(self, run: Run) -> str:
        """What a coast-down shows: the power that is lost at its two ends."""
        try:
            losses = self.coast_losses(run)
        except ValueError as problem:
            return f"Coast-down: {problem}"
        ends = (losses.from_rad_s, losses.to_rad_s)
        lost = [float(losses.torque_nm(end)) * end / 1000 for end in ends]
        speeds = [end / RAD_S_PER_RPM for end in ends]
        return (
            f"Coast-down: {format_number(lost[0], 2)} kW are lost at {format_number(speeds[0])} 1/min of the "
            f"roller, {format_number(lost[1], 2)} kW at {format_number(speeds[1])}. Power from the "
            "roller's speed has them added."
        )


def window_for(time_s: FloatArray) -> float:
    """The usual window, or a wider one that holds enough samples of a slow logger."""
    steps = np.diff(time_s)
    return max(WINDOW_S, SAMPLES_IN_WINDOW * float(np.median(steps))) if steps.size else WINDOW_S


def coasting(speed_rad_s: FloatArray) -> slice:
    """From the highest speed down to where the roller has all but stopped."""
    if not np.isfinite(speed_rad_s).any():
        raise ValueError("The roller's speed is missing throughout.")
    top = int(np.nanargmax(speed_rad_s))
    slow = np.flatnonzero(speed_rad_s[top:] < COASTED_SHARE * speed_rad_s[top])
    return slice(top, top + int(slow[0]) if slow.size else speed_rad_s.size)


def engine_speed(run: Run, surface_kmh: FloatArray | None) -> tuple[FloatArray, Flag]:
    """Engine speed from the roller's by the run's gear, without slip."""
    if surface_kmh is None:
        raise ValueError(
            "The file has no engine speed. Enter the roller's radius in the shop's profile, then it follows "
            "from the roller's speed and the gear."
        )
    if run.gear is None:
        raise ValueError(
            "The file has no engine speed. Enter the run's gear, then it follows from the roller's."
        )
    ratio = computed_gearing(run.job, run.gear)
    return surface_kmh * ratio.rpm_per_kmh, Flag(
        "ratio", f"Engine speed follows from the roller's, without slip: {ratio.source}."
    )
