"""A roll-on out of a turn: time and distance between two speeds at full throttle.

The drive is the engine's torque through the gear, up to the limit that the rear tyre or a lifting front wheel
sets. Acceleration depends on speed alone, so time and distance are integrals over speed.

The answer is arithmetic on a straight, level road in still air; what a rider can use of it is another matter.

References
----------
.. [1] Rigid-body mechanics, any dynamics text; V. Cossalter, Motorcycle Dynamics (2nd ed.), for load transfer
   and the lift of the front wheel (from memory).
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


@dataclass(frozen=True)
class Vehicle:
    """Bike and rider as one mass, and what resists it.

    Attributes
    ----------
    mass_kg : float
        Bike, rider, fuel [kg].
    rotating_share : float
        What wheels and crank add to the mass that has to be accelerated, as a share of it [1].
    drag_area_m2, air_density_kgm3, rolling_coefficient : float
        CdA [m²], ρ [kg/m³] and Crr [1].
    drive_limit_n : float or None
        Largest drive that the tyre or the front wheel allows [N], see `tyre_grip_limit_n` and
        `front_lift_limit_n`.

    Raises
    ------
    ValueError
        The mass or the limit is not above zero, or another value is missing or below zero.
    """

    mass_kg: float
    rotating_share: float = 0.0
    drag_area_m2: float = 0.0
    air_density_kgm3: float = 1.2
    rolling_coefficient: float = 0.0
    drive_limit_n: float | None = None

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
        if self.drive_limit_n is not None:
            require_positive("limit of the drive force", self.drive_limit_n, "N")

    @property
    def inertia_kg(self) -> float:
        """Mass with what turns [kg]."""
        return self.mass_kg * (1 + self.rotating_share)

    def resistance_n(self, speed_ms: FloatArray) -> FloatArray:
        """Compute drag and rolling resistance [N] at speeds [m/s]: ρ·CdA·v²/2 + Crr·m·g."""
        air = self.air_density_kgm3 * self.drag_area_m2 / 2 * np.square(speed_ms)
        return np.asarray(air + self.rolling_coefficient * self.mass_kg * GRAVITY_M_S2)

    def apply_limit(self, force_n: FloatArray) -> FloatArray:
        """Limit a drive [N] to what the tyre and the front wheel allow [N]."""
        return force_n if self.drive_limit_n is None else np.minimum(force_n, self.drive_limit_n)


@dataclass(frozen=True)
class GearUse:
    """The gears used, and when to change up.

    Attributes
    ----------
    rpm_per_kmh : tuple of float
        Engine speed over road speed in each gear, lowest gear first [1/min per km/h].
    shift_rpm : float or None
        Engine speed to change up at [1/min]; required with more than one gear.
    shift_s : float
        Time without drive at each change [s].

    Raises
    ------
    ValueError
        There is no gear, a gear is not longer than the one before it, or a value is missing or below zero.
    """

    rpm_per_kmh: tuple[float, ...]
    shift_rpm: float | None = None
    shift_s: float = 0.0

    def __post_init__(self) -> None:
        if not self.rpm_per_kmh:
            raise ValueError("Choose the gear of the roll-on.")
        for ratio in self.rpm_per_kmh:
            require_positive("engine speed per km/h", ratio, "rpm")
        if len(self.rpm_per_kmh) > 1:
            if self.shift_rpm is None:
                raise ValueError("Enter the shift rpm if you use more than one gear.")
            require_positive("shift rpm", self.shift_rpm, "rpm")
            if not all(a > b for a, b in zip(self.rpm_per_kmh, self.rpm_per_kmh[1:], strict=False)):
                raise ValueError("Each gear must be taller than the one before.")
        require_finite("time for a gear change", self.shift_s)
        if self.shift_s < 0:
            raise ValueError("The time for a gear change cannot be below zero.")


@dataclass(frozen=True, eq=False)
class RollOn:
    """One roll-on as a trace from its start.

    Attributes
    ----------
    time_s, speed_ms, distance_m, engine_speed_rpm : array, (k,)
        [s], [m/s], [m], [1/min].
    gear : array of int, (k,)
        Index into ``GearUse.rpm_per_kmh``.
    at_limit_s : float
        Time for which tyre or front wheel, not the engine, set the drive [s].
    """

    time_s: FloatArray
    speed_ms: FloatArray
    distance_m: FloatArray
    engine_speed_rpm: FloatArray
    gear: npt.NDArray[np.intp]
    at_limit_s: float

    @property
    def total_time_s(self) -> float:
        """Time from start to end speed [s]."""
        return float(self.time_s[-1])

    @property
    def total_distance_m(self) -> float:
        """Distance from start to end speed [m]."""
        return float(self.distance_m[-1])

    def distance_at_m(self, time_s: npt.ArrayLike) -> FloatArray:
        """Interpolate the distance [m] at these instants [s]; NaN after the end of the trace."""
        return np.interp(np.asarray(time_s, dtype=float), self.time_s, self.distance_m, right=np.nan)


def compute_rotating_share(
    mass_kg: float,
    rpm_per_kmh: float,
    rolling_radius_m: float,
    engine_inertia_kgm2: float,
    wheels_inertia_kgm2: float,
) -> float:
    """Compute what engine and wheels add to the mass that has to be accelerated in one gear.

    Parameters
    ----------
    mass_kg : float
        Bike and rider [kg].
    rpm_per_kmh : float
        Engine speed over road speed [1/min per km/h].
    rolling_radius_m : float
        Rolling radius of the wheels [m].
    engine_inertia_kgm2, wheels_inertia_kgm2 : float
        Inertia of the engine at the crank, and of both wheels together [kg·m²].

    Returns
    -------
    float
        Share of the mass [1].

    Raises
    ------
    ValueError
        A value is not above zero.

    Notes
    -----
    (J_wheels/r² + J_engine·(ω/v)²)/m, from the kinetic energy of what turns [1]_.
    """
    require_positive("mass of bike and rider", mass_kg, "kg")
    require_positive("engine speed per km/h", rpm_per_kmh, "rpm")
    require_positive("rolling radius", rolling_radius_m, "m")
    require_positive("inertia of the engine", engine_inertia_kgm2, "kg·m²")
    require_positive("inertia of the wheels", wheels_inertia_kgm2, "kg·m²")
    rad_s_per_ms = rpm_per_kmh * KMH_PER_MPS * identities.RAD_PER_S_PER_RPM
    turning_kg = wheels_inertia_kgm2 / rolling_radius_m**2 + engine_inertia_kgm2 * rad_s_per_ms**2
    return turning_kg / mass_kg


def dry_air_density_kgm3(temperature_c: float, pressure_kpa: float) -> float:
    """Compute the density of dry air.

    Parameters
    ----------
    temperature_c, pressure_kpa : float
        Temperature [°C] and pressure [kPa].

    Returns
    -------
    float
        Density [kg/m³].

    Raises
    ------
    ValueError
        The temperature is below absolute zero, or the pressure is not above zero.

    Notes
    -----
    ρ = p/(R·T) with R = 287.05287 J/(kg·K) (ISO 2533:1975).
    """
    require_positive("temperature above absolute zero", temperature_c + 273.15, "K")
    require_positive("air pressure", pressure_kpa, "kPa")
    return 1000 * pressure_kpa / (287.05287 * (temperature_c + 273.15))


def front_lift_limit_n(mass_kg: float, rear_axle_to_mass_m: float, mass_height_m: float) -> float:
    """Compute the drive at which the front wheel lifts.

    Parameters
    ----------
    mass_kg : float
        Bike and rider [kg].
    rear_axle_to_mass_m, mass_height_m : float
        Centre of mass ahead of the rear contact and above the road [m].

    Returns
    -------
    float
        Drive [N].

    Raises
    ------
    ValueError
        A value is not above zero.

    Notes
    -----
    m·g·b/h, the moments about the rear contact; drag is not included [1]_.
    """
    require_positive("mass of bike and rider", mass_kg, "kg")
    require_positive("distance from the rear wheel to the centre of mass", rear_axle_to_mass_m, "m")
    require_positive("height of the centre of mass", mass_height_m, "m")
    return mass_kg * GRAVITY_M_S2 * rear_axle_to_mass_m / mass_height_m


def tyre_grip_limit_n(
    mass_kg: float, friction: float, wheelbase_m: float, rear_axle_to_mass_m: float, mass_height_m: float
) -> float:
    """Compute the drive at which the rear tyre slides, with the load that the drive itself transfers.

    Parameters
    ----------
    mass_kg : float
        Bike and rider [kg].
    friction : float
        Coefficient of friction of the rear tyre [1].
    wheelbase_m, rear_axle_to_mass_m, mass_height_m : float
        Wheelbase, and centre of mass ahead of the rear contact and above the road [m].

    Returns
    -------
    float
        Drive [N].

    Raises
    ------
    ValueError
        A value is not above zero, or the centre of mass is not between the wheels.

    Notes
    -----
    F = µ·(m·g·(L - b)/L + F·h/L) solved for F, with the rear load at most m·g [1]_.
    """
    require_positive("friction of the rear tyre", friction)
    require_positive("wheelbase", wheelbase_m, "m")
    lift = front_lift_limit_n(mass_kg, rear_axle_to_mass_m, mass_height_m)
    if rear_axle_to_mass_m >= wheelbase_m:
        raise ValueError("The centre of mass must be between the wheels.")
    weight = mass_kg * GRAVITY_M_S2
    if friction * weight >= lift:  # the front wheel lifts before the tyre slides: all load is at the rear
        return friction * weight
    rear_load = weight * (wheelbase_m - rear_axle_to_mass_m) / wheelbase_m
    return friction * rear_load / (1 - friction * mass_height_m / wheelbase_m)


@dataclass(frozen=True, eq=False)
class _Torque:
    """Engine torque by engine speed, measured points only."""

    engine_speed_rpm: FloatArray
    torque_nm: FloatArray

    @classmethod
    def from_curve(cls, curve: Curve) -> "_Torque":
        known = np.isfinite(curve.torque_nm)
        return cls(curve.engine_speed_rpm[known], curve.torque_nm[known])

    def interpolate(self, engine_speed_rpm: FloatArray, step: float) -> FloatArray:
        lowest, highest = float(engine_speed_rpm.min()), float(engine_speed_rpm.max())
        known = self.engine_speed_rpm
        if lowest < known[0] - 1e-6 or highest > known[-1] + 1e-6:
            raise ValueError(
                f"The roll-on turns the engine from {format_number(lowest)} to {format_number(highest)} "
                f"rpm, but the curve was measured from {format_number(known[0])} to "
                f"{format_number(known[-1])}. Choose other speeds or another gear."
            )
        gap = np.diff(known)
        inside = (known[1:] > lowest) & (known[:-1] < highest)
        if np.any(gap[inside] > 1.5 * step):
            raise ValueError("The curve has a gap at engine speeds that the roll-on passes through.")
        return np.interp(engine_speed_rpm, known, self.torque_nm)


def compute_roll_on(
    curve: Curve, vehicle: Vehicle, gearing: GearUse, from_kmh: float, to_kmh: float
) -> RollOn:
    """Compute a roll-on from one speed to another with a measured curve.

    Parameters
    ----------
    curve : Curve
        Torque measured at all engine speeds passed through. Power at the wheel gives the drive; from power
        taken elsewhere subtract the transmission loss first.
    vehicle : Vehicle
    gearing : GearUse
    from_kmh, to_kmh : float
        Road speeds [km/h].

    Returns
    -------
    RollOn
        Within 0.1 % of the closed forms in the tests.

    Raises
    ------
    ValueError
        The end speed is not above the start, an engine speed is outside the curve or in a gap of it, or the
        bike never reaches the end speed.

    Notes
    -----
    m·(1 + rotating share)·dv/dt = F(v) - ρ·CdA·v²/2 - Crr·m·g with F = T·ω/v up to the limit [1]_;
    t = ∫ m/F_net dv and s = ∫ m·v/F_net dv by Simpson's rule.
    """
    require_finite("speed to start from", from_kmh)
    require_finite("speed to end at", to_kmh)
    if not 0 <= from_kmh < to_kmh:
        raise ValueError(
            f"The end speed of the roll-on must be above its start speed ({from_kmh:g} to {to_kmh:g} km/h)."
        )
    torque = _Torque.from_curve(curve)
    legs: list[RollOn] = []
    speed, end = from_kmh, to_kmh
    for gear, ratio in enumerate(gearing.rpm_per_kmh):
        last = gear == len(gearing.rpm_per_kmh) - 1
        leg_end = end if last or gearing.shift_rpm is None else min(end, gearing.shift_rpm / ratio)
        if leg_end > speed:
            legs.append(_accelerate(torque, curve.grid_step_rpm, vehicle, ratio, gear, speed, leg_end))
            speed = leg_end
        if speed >= end:
            break
        if legs and gearing.shift_s > 0:
            legs.append(_coast(vehicle, gearing, gear, speed))
            speed = float(legs[-1].speed_ms[-1]) * KMH_PER_MPS
    return _join(legs)


def _accelerate(
    torque: _Torque, step: float, vehicle: Vehicle, ratio: float, gear: int, from_kmh: float, to_kmh: float
) -> RollOn:
    """Integrate over speed by Simpson's rule."""
    # Twice the points: every second one is a step's middle.
    kmh = np.linspace(from_kmh, to_kmh, 2 * STEPS + 1)
    speed = kmh / KMH_PER_MPS
    engine_speed = kmh * ratio
    rad_s_per_ms = ratio * KMH_PER_MPS * identities.RAD_PER_S_PER_RPM
    drive = torque.interpolate(engine_speed, step) * rad_s_per_ms
    limited = vehicle.apply_limit(drive)
    spare = limited - vehicle.resistance_n(speed)
    if np.any(spare <= 0):
        stuck = float(kmh[np.argmax(spare <= 0)])
        raise ValueError(
            f"The bike does not reach {to_kmh:.0f} km/h. At {stuck:.0f} km/h drag uses all the drive force."
        )
    slowness = vehicle.inertia_kg / spare
    time = _integrate(slowness, speed)
    distance = _integrate(slowness * speed, speed)
    at_limit = float(np.sum(np.diff(time)[(limited < drive)[1::2]]))
    keep = slice(None, None, 2)
    return RollOn(
        time, speed[keep], distance, engine_speed[keep], np.full(time.size, gear, dtype=np.intp), at_limit
    )


def _integrate(values: FloatArray, at: FloatArray) -> FloatArray:
    """Return the running integral by Simpson's rule over pairs of steps, (STEPS + 1,)."""
    width = at[2::2] - at[:-2:2]
    parts = width / 6 * (values[:-2:2] + 4 * values[1:-1:2] + values[2::2])
    return np.concatenate(([0.0], np.cumsum(parts)))


def _coast(vehicle: Vehicle, gearing: GearUse, gear: int, from_kmh: float) -> RollOn:
    """Coast for the time of a gear change, in small steps of the mean resistance."""
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
    return RollOn(time, speeds, distance, engine_speed, np.full(time.size, gear, dtype=np.intp), 0.0)


def _join(legs: Sequence[RollOn]) -> RollOn:
    time, distance, parts = 0.0, 0.0, []
    for leg in legs:
        parts.append(replace(leg, time_s=leg.time_s + time, distance_m=leg.distance_m + distance))
        time, distance = parts[-1].total_time_s, parts[-1].total_distance_m
    return RollOn(
        time_s=np.concatenate([p.time_s for p in parts]),
        speed_ms=np.concatenate([p.speed_ms for p in parts]),
        distance_m=np.concatenate([p.distance_m for p in parts]),
        engine_speed_rpm=np.concatenate([p.engine_speed_rpm for p in parts]),
        gear=np.concatenate([p.gear for p in parts]),
        at_limit_s=sum(p.at_limit_s for p in parts),
    )
