"""Whether the channels of one run belong together: power with torque, engine speed with road speed."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Flag
from jobs.calc.statistics import FloatArray
from jobs.calc.units import identities
from jobs.calc.units.factors import convert
from jobs.calc.units.numbers import format_number

POWER_TORQUE_LIMIT_PCT = 2.0
# A tyre gives about this much under load without slipping as a whole; common practice, no source.
SLIP_LIMIT_PCT = 3.0
SLIP_BLOCKS = 20


@dataclass(frozen=True, eq=False)
class RatioChange:
    """Engine speed over road speed along a sweep, against its firmest stretch.

    ``change_pct`` (blocks,) at ``engine_speed_rpm`` (blocks,); ``reference`` in 1/min per km/h.
    """

    engine_speed_rpm: FloatArray
    change_pct: FloatArray
    reference: float

    @property
    def worst_pct(self) -> float:
        return float(self.change_pct.max())

    @property
    def worst_at_rpm(self) -> float:
        return float(self.engine_speed_rpm[self.change_pct.argmax()])


@dataclass(frozen=True)
class PowerTorqueCheck:
    """How far power and torque of one file are apart: ``ratio`` is P / (T·ω), and why that may be."""

    mismatch_pct: float
    ratio: float
    reason: str | None


def ratio_change(engine_speed_rpm: npt.ArrayLike, road_speed_kmh: npt.ArrayLike) -> RatioChange | None:
    """Ratio of engine to road speed along a sweep: slip of tyre or clutch makes it rise.

    Parameters
    ----------
    engine_speed_rpm, road_speed_kmh : array, (n,)
        One gear throughout; NaN and zero are left out.

    Returns
    -------
    RatioChange or None
        In blocks of the sweep (medians, so single wild samples do not count), against the lower
        tenth of the blocks. None with fewer than two samples a block.
    """
    engine, road = np.asarray(engine_speed_rpm, dtype=float), np.asarray(road_speed_kmh, dtype=float)
    turning = (engine > 0) & (road > 0)
    engine, road = engine[turning], road[turning]
    if engine.size < 2 * SLIP_BLOCKS:
        return None
    blocks = np.array_split(engine / road, SLIP_BLOCKS)
    ratio = np.array([np.median(b) for b in blocks])
    reference = float(np.quantile(ratio, 0.1))
    speeds = np.array([np.median(b) for b in np.array_split(engine, SLIP_BLOCKS)])
    return RatioChange(speeds, 100 * (ratio / reference - 1), reference)


def slip_flag(engine_speed_rpm: npt.ArrayLike, road_speed_kmh: npt.ArrayLike) -> Flag | None:
    """Say so where the ratio of a sweep rises by more than `SLIP_LIMIT_PCT`."""
    change = ratio_change(engine_speed_rpm, road_speed_kmh)
    if change is None or change.worst_pct <= SLIP_LIMIT_PCT:
        return None
    return Flag(
        "slip",
        f"Engine speed runs ahead of road speed by {change.worst_pct:.0f} % near"
        f" {format_number(change.worst_at_rpm)} 1/min: the tyre or the clutch slips, or a gear was changed.",
    )


def check_power_torque(
    power_kw: npt.ArrayLike, torque_nm: npt.ArrayLike, engine_speed_rpm: npt.ArrayLike
) -> PowerTorqueCheck | None:
    """Whether power, torque and engine speed of one file belong together: |P − T·ω| / P.

    Parameters
    ----------
    power_kw, torque_nm, engine_speed_rpm : array, (n,)
        NaN is left out, and what lies below a fifth of the highest power, where small offsets rule.

    Returns
    -------
    PowerTorqueCheck or None
        Medians; ``reason`` is None up to `POWER_TORQUE_LIMIT_PCT`. None where nothing can be compared.
    """
    power, torque, speed = (np.asarray(c, dtype=float) for c in (power_kw, torque_nm, engine_speed_rpm))
    product = identities.power_kw(torque, speed)
    if not np.isfinite(power).any():
        return None
    used = (power > 0.2 * np.nanmax(power)) & (power > 0) & (product > 0)
    if np.count_nonzero(used) < 3:
        return None
    ratio = power[used] / product[used]
    low, middle, high = np.quantile(ratio, [0.1, 0.5, 0.9])
    mismatch = float(100 * np.median(np.abs(1 - 1 / ratio)))
    reason = None
    if mismatch > POWER_TORQUE_LIMIT_PCT:
        reason = _mismatch_reason(float(middle), steady=bool(high - low < 0.03 * middle))
    return PowerTorqueCheck(mismatch, float(middle), reason)


def _mismatch_reason(ratio: float, steady: bool) -> str:
    """The likeliest reason of a ratio P / (T·ω) that is not 1."""
    if not steady:
        return "the two do not keep one ratio: one is delayed, smoothed more, or has losses added"
    units = {
        "power may be in hp or PS, or torque in lbf·ft": (("kw", "ps"), ("kw", "hp"), ("lbf_ft", "nm")),
        "power or torque may have been converted twice": (("ps", "kw"), ("hp", "kw"), ("nm", "lbf_ft")),
        "torque may be in kgf·m": (("kgf_m", "nm"),),
    }
    for reason, pairs in units.items():
        if any(abs(ratio / convert(1.0, *pair) - 1) < 0.01 for pair in pairs):
            return reason
    if 0.85 <= ratio <= 1.15:
        return "one of the two may be corrected for the air already"
    if ratio < 0.85:
        return "torque may be that at the roller or the wheel, not at the engine"
    return "one of the two is in another unit than its heading says"


def power_torque_flag(
    power_kw: npt.ArrayLike, torque_nm: npt.ArrayLike, engine_speed_rpm: npt.ArrayLike
) -> Flag | None:
    """Say so where power and torque of a file are more than `POWER_TORQUE_LIMIT_PCT` apart."""
    check = check_power_torque(power_kw, torque_nm, engine_speed_rpm)
    if check is None or check.reason is None:
        return None
    return Flag("power-torque", f"Power and torque disagree by {check.mismatch_pct:.1f} %: {check.reason}.")
