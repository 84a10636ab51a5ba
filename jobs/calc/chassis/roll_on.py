"""The drive out of a turn: time and distance between two speeds, and metres ahead of before.

m·(1 + rotating share)·dv/dt = F(v) − ½·ρ·CdA·v² − Crr·m·g, with F the engine's torque through
the gear, up to the ceiling that the rear tyre or a rising front wheel sets. The right side
depends on speed alone, so time and distance are integrals over speed.

The answer is arithmetic on a straight, level road in still air; what a rider can use of it is
another matter.

References
----------
.. [1] Rigid-body mechanics, any dynamics text; V. Cossalter, Motorcycle Dynamics (2nd ed.), for
   load transfer and the wheelie limit (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Curve
from jobs.calc.statistics import FloatArray
from jobs.calc.units import identities
from jobs.calc.units.factors import STANDARD_GRAVITY
from jobs.calc.units.numbers import format_number, require_finite, require_positive

GRAVITY_M_S2 = float(STANDARD_GRAVITY)
KMH_PER_MPS = 3.6
STEPS = 2000
TRACE_POINTS = 200


@dataclass(frozen=True)
class Vehicle:
    """Bike and rider as one mass, and what holds it back.

    Attributes
    ----------
    mass_kg : float
        Bike, rider, fuel.
    rotating_share : float
        What wheels and crank add to the mass that has to be speeded up, as a share of it.
    drag_area_m2, air_density_kgm3, rolling_coefficient : float
        CdA, ρ and Crr.
    drive_ceiling_n : float or None
        The most drive the tyre or the front wheel allows, see `grip_ceiling_n`, `wheelie_ceiling_n`.
    """

    mass_kg: float
    rotating_share: float = 0.0
    drag_area_m2: float = 0.0
    air_density_kgm3: float = 1.2
    rolling_coefficient: float = 0.0
    drive_ceiling_n: float | None = None

    def __post_init__(self) -> None:
        require_positive("mass of bike and rider", self.mass_kg, "kg")
        for what, value in (
            ("rotating share", self.rotating_share),
            ("drag area", self.drag_area_m2),
            ("air density", self.air_density_kgm3),
            ("rolling coefficient", self.rolling_coefficient),
        ):
            require_finite(what, value)
            if value < 0:
                raise ValueError(f"The {what} cannot be below zero; {value:g} was given.")
        if self.drive_ceiling_n is not None:
            require_positive("ceiling of the drive", self.drive_ceiling_n, "N")

    @property
    def inertia_kg(self) -> float:
        return self.mass_kg * (1 + self.rotating_share)

    def resistance_n(self, speed_ms: FloatArray) -> FloatArray:
        air = self.air_density_kgm3 * self.drag_area_m2 / 2 * np.square(speed_ms)
        return np.asarray(air + self.rolling_coefficient * self.mass_kg * GRAVITY_M_S2)

    def held_to_ceiling(self, force_n: FloatArray) -> FloatArray:
        return force_n if self.drive_ceiling_n is None else np.minimum(force_n, self.drive_ceiling_n)


@dataclass(frozen=True)
class GearUse:
    """Engine speed over road speed in each gear used, lowest first, and where to change up.

    Attributes
    ----------
    rpm_per_kmh : tuple of float
        One gear, or several in the order they are used.
    shift_rpm : float or None
        Change up at this engine speed; needed with more than one gear.
    shift_s : float
        Time without drive at each change.
    """

    rpm_per_kmh: tuple[float, ...]
    shift_rpm: float | None = None
    shift_s: float = 0.0

    def __post_init__(self) -> None:
        if not self.rpm_per_kmh:
            raise ValueError("Choose the gear to drive out in.")
        for ratio in self.rpm_per_kmh:
            require_positive("engine speed per km/h", ratio, "1/min")
        if len(self.rpm_per_kmh) > 1:
            if self.shift_rpm is None:
                raise ValueError("With more than one gear, say at which engine speed to change up.")
            require_positive("engine speed to change up at", self.shift_rpm, "1/min")
            if not all(a > b for a, b in zip(self.rpm_per_kmh, self.rpm_per_kmh[1:], strict=False)):
                raise ValueError("Each gear has to be longer than the one before it.")
        require_finite("time for a gear change", self.shift_s)
        if self.shift_s < 0:
            raise ValueError("The time for a gear change cannot be below zero.")


@dataclass(frozen=True, eq=False)
class DriveOut:
    """One drive out of a turn.

    Attributes
    ----------
    time_s, speed_ms, distance_m, engine_speed_rpm : array, (k,)
        The trace, from the start.
    gear : array of int, (k,)
        Index into the gearing.
    at_ceiling_s : float
        Time for which tyre or front wheel, not the engine, set the drive.
    """

    time_s: FloatArray
    speed_ms: FloatArray
    distance_m: FloatArray
    engine_speed_rpm: FloatArray
    gear: npt.NDArray[np.intp]
    at_ceiling_s: float

    @property
    def total_time_s(self) -> float:
        return float(self.time_s[-1])

    @property
    def total_distance_m(self) -> float:
        return float(self.distance_m[-1])

    def distance_at_m(self, time_s: npt.ArrayLike) -> FloatArray:
        """Distance at these instants [m]; NaN after the end of the trace."""
        return np.interp(np.asarray(time_s, dtype=float), self.time_s, self.distance_m, right=np.nan)

    def speed_at_ms(self, time_s: npt.ArrayLike) -> FloatArray:
        """Speed at these instants [m/s]; NaN after the end of the trace."""
        return np.interp(np.asarray(time_s, dtype=float), self.time_s, self.speed_ms, right=np.nan)


def wheelie_ceiling_n(mass_kg: float, rear_axle_to_mass_m: float, mass_height_m: float) -> float:
    """Drive at which the front wheel leaves the road, m·g·b/h [1]_; drag is left out [N].

    ``rear_axle_to_mass_m`` is how far ahead of the rear contact the centre of mass lies,
    ``mass_height_m`` its height.

    Raises
    ------
    ValueError
        A figure not above zero.
    """
    require_positive("mass of bike and rider", mass_kg, "kg")
    require_positive("distance from the rear wheel to the centre of mass", rear_axle_to_mass_m, "m")
    require_positive("height of the centre of mass", mass_height_m, "m")
    return mass_kg * GRAVITY_M_S2 * rear_axle_to_mass_m / mass_height_m


def grip_ceiling_n(
    mass_kg: float, friction: float, wheelbase_m: float, rear_axle_to_mass_m: float, mass_height_m: float
) -> float:
    """Drive that the rear tyre holds, with the load that the drive itself moves to the rear [1]_ [N].

    The rear wheel carries m·g·(L − b)/L + F·h/L, up to all of m·g; F is ``friction`` times that.

    Raises
    ------
    ValueError
        A figure not above zero, or a centre of mass ahead of the front wheel.
    """
    require_positive("friction of the rear tyre", friction)
    require_positive("wheelbase", wheelbase_m, "m")
    lift = wheelie_ceiling_n(mass_kg, rear_axle_to_mass_m, mass_height_m)
    if rear_axle_to_mass_m >= wheelbase_m:
        raise ValueError("The centre of mass has to lie between the wheels.")
    weight = mass_kg * GRAVITY_M_S2
    if friction * weight >= lift:  # the front wheel is up before the tyre lets go: all load is at the rear
        return friction * weight
    standing = weight * (wheelbase_m - rear_axle_to_mass_m) / wheelbase_m
    return friction * standing / (1 - friction * mass_height_m / wheelbase_m)


@dataclass(frozen=True, eq=False)
class _Torque:
    """Engine torque by engine speed, from the measured points alone."""

    engine_speed_rpm: FloatArray
    torque_nm: FloatArray

    @classmethod
    def of(cls, curve: Curve) -> "_Torque":
        known = np.isfinite(curve.torque_nm)
        return cls(curve.engine_speed_rpm[known], curve.torque_nm[known])

    def at(self, engine_speed_rpm: FloatArray, step: float) -> FloatArray:
        lowest, highest = float(engine_speed_rpm.min()), float(engine_speed_rpm.max())
        known = self.engine_speed_rpm
        if lowest < known[0] - 1e-6 or highest > known[-1] + 1e-6:
            raise ValueError(
                f"The drive-out turns the engine from {format_number(lowest)} to {format_number(highest)} "
                f"1/min, the curve was measured from {format_number(known[0])} to {format_number(known[-1])}"
                ": choose other speeds or another gear."
            )
        gap = np.diff(known)
        inside = (known[1:] > lowest) & (known[:-1] < highest)
        if np.any(gap[inside] > 1.5 * step):
            raise ValueError("The curve has a gap at engine speeds that the drive-out passes through.")
        return np.interp(engine_speed_rpm, known, self.torque_nm)


def drive_out(curve: Curve, vehicle: Vehicle, gearing: GearUse, from_kmh: float, to_kmh: float) -> DriveOut:
    """Drive from one speed to another with a measured curve.

    Parameters
    ----------
    curve : Curve
        Torque at the speeds passed through has to be measured. Power at the wheel gives the
        drive; power taken elsewhere wants its transmission loss taken off first.
    vehicle, gearing
    from_kmh, to_kmh : float

    Returns
    -------
    DriveOut
        Within 0.1 % of the closed forms in `jobs.calc.straight_line`.

    Raises
    ------
    ValueError
        End speed not above the start, engine speeds outside the curve or in a gap of it, or a
        bike that never reaches the end speed.
    """
    require_finite("speed to start from", from_kmh)
    if not 0 <= from_kmh < to_kmh:
        raise ValueError(f"The drive-out has to end faster than it starts ({from_kmh:g} to {to_kmh:g} km/h).")
    torque = _Torque.of(curve)
    legs: list[DriveOut] = []
    speed, end = from_kmh, to_kmh
    for gear, ratio in enumerate(gearing.rpm_per_kmh):
        last = gear == len(gearing.rpm_per_kmh) - 1
        leg_end = end if last or gearing.shift_rpm is None else min(end, gearing.shift_rpm / ratio)
        if leg_end > speed:
            legs.append(_in_gear(torque, curve.grid_step_rpm, vehicle, ratio, gear, speed, leg_end))
            speed = leg_end
        if speed >= end:
            break
        if legs and gearing.shift_s > 0:
            legs.append(_coast(vehicle, gearing, gear, speed))
            speed = float(legs[-1].speed_ms[-1]) * KMH_PER_MPS
    return _joined(legs)


def _in_gear(
    torque: _Torque, step: float, vehicle: Vehicle, ratio: float, gear: int, from_kmh: float, to_kmh: float
) -> DriveOut:
    """Integrals over speed by Simpson's rule: dt = m·dv/F and ds = m·v·dv/F."""
    # Twice the points: every second one is a step's middle.
    kmh = np.linspace(from_kmh, to_kmh, 2 * STEPS + 1)
    speed = kmh / KMH_PER_MPS
    engine_speed = kmh * ratio
    rad_s_per_ms = ratio * KMH_PER_MPS * identities.RAD_PER_S_PER_RPM
    drive = torque.at(engine_speed, step) * rad_s_per_ms
    held = vehicle.held_to_ceiling(drive)
    spare = held - vehicle.resistance_n(speed)
    if np.any(spare <= 0):
        stuck = float(kmh[np.argmax(spare <= 0)])
        raise ValueError(
            f"The bike does not reach {to_kmh:.0f} km/h: at {stuck:.0f} km/h nothing is left to speed it up."
        )
    slowness = vehicle.inertia_kg / spare
    time = _cumulative(slowness, speed)
    distance = _cumulative(slowness * speed, speed)
    at_ceiling = float(np.sum(np.diff(time)[(held < drive)[1::2]]))
    keep = slice(None, None, 2)
    return DriveOut(
        time, speed[keep], distance, engine_speed[keep], np.full(time.size, gear, dtype=np.intp), at_ceiling
    )


def _cumulative(values: FloatArray, at: FloatArray) -> FloatArray:
    """Running integral by Simpson's rule over pairs of steps, (STEPS + 1,)."""
    width = at[2::2] - at[:-2:2]
    parts = width / 6 * (values[:-2:2] + 4 * values[1:-1:2] + values[2::2])
    return np.concatenate(([0.0], np.cumsum(parts)))


def _coast(vehicle: Vehicle, gearing: GearUse, gear: int, from_kmh: float) -> DriveOut:
    """The time of a gear change without drive, in small steps of the mean resistance."""
    time = np.linspace(0.0, gearing.shift_s, 21)
    step = float(time[1])
    speed = [from_kmh / KMH_PER_MPS]
    for _ in time[1:]:
        half = speed[-1] - step / 2 * float(vehicle.resistance_n(np.asarray(speed[-1]))) / vehicle.inertia_kg
        slowing = float(vehicle.resistance_n(np.asarray(half))) / vehicle.inertia_kg
        speed.append(max(speed[-1] - step * slowing, 0.0))
    speeds = np.array(speed)
    distance = np.concatenate(([0.0], np.cumsum((speeds[1:] + speeds[:-1]) / 2 * step)))
    engine_speed = speeds * KMH_PER_MPS * gearing.rpm_per_kmh[gear]
    return DriveOut(time, speeds, distance, engine_speed, np.full(time.size, gear, dtype=np.intp), 0.0)


def _joined(legs: Sequence[DriveOut]) -> DriveOut:
    time, distance, parts = 0.0, 0.0, []
    for leg in legs:
        parts.append(replace(leg, time_s=leg.time_s + time, distance_m=leg.distance_m + distance))
        time, distance = parts[-1].total_time_s, parts[-1].total_distance_m
    return DriveOut(
        time_s=np.concatenate([p.time_s for p in parts]),
        speed_ms=np.concatenate([p.speed_ms for p in parts]),
        distance_m=np.concatenate([p.distance_m for p in parts]),
        engine_speed_rpm=np.concatenate([p.engine_speed_rpm for p in parts]),
        gear=np.concatenate([p.gear for p in parts]),
        at_ceiling_s=sum(p.at_ceiling_s for p in parts),
    )


def lead(before: DriveOut, after: DriveOut, points: int = TRACE_POINTS) -> tuple[FloatArray, FloatArray]:
    """Metres that ``after`` is ahead of ``before`` at the same instant, both starting together.

    Returns
    -------
    (time_s, lead_m) : arrays, (points,)
        Until the quicker of the two reaches its end speed; below zero where ``after`` is behind.
    """
    time = np.linspace(0.0, min(before.total_time_s, after.total_time_s), points)
    return time, after.distance_at_m(time) - before.distance_at_m(time)
