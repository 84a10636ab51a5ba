"""Consistency of the channels of one run: power with torque, engine speed with road speed."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Flag
from jobs.calc.statistics import FloatArray, finite_or_nan
from jobs.calc.units import identities
from jobs.calc.units.factors import convert
from jobs.calc.units.numbers import format_number, require_positive
from jobs.calc.wording import gettext as _

# Rules of thumb, no published source: what rounding and smoothing explain, and how much a tyre gives under
# load without slipping as a whole.
POWER_TORQUE_LIMIT_PCT = 2.0
SLIP_LIMIT_PCT = 3.0
SLIP_BLOCKS = 20
OTHER_UNIT = "one of them is not in the unit its header says"
# What a constant ratio of power to torque says of their units: the pairs whose factor it may be.
UNIT_REASONS: dict[str, tuple[tuple[str, str], ...]] = {
    "power may be in hp or PS, or torque in lbf·ft": (("kw", "ps"), ("kw", "hp"), ("lbf_ft", "nm")),
    "power or torque may have been converted twice": (("ps", "kw"), ("hp", "kw"), ("nm", "lbf_ft")),
    "torque may be in kgf·m": (("kgf_m", "nm"),),
    OTHER_UNIT: (),
}


@dataclass(frozen=True, eq=False)
class RatioChange:
    """Engine speed over road speed along a sweep, against its firmest part.

    Attributes
    ----------
    engine_speed_rpm, change_pct : array, (blocks,)
        Engine speed [1/min] and how far the ratio is above the reference [%].
    reference : float
        Ratio without slip [1/min per km/h].
    """

    engine_speed_rpm: FloatArray
    change_pct: FloatArray
    reference: float

    @property
    def worst_pct(self) -> float:
        """Largest change [%]."""
        return float(self.change_pct.max())

    @property
    def worst_at_rpm(self) -> float:
        """Engine speed of the largest change [1/min]."""
        return float(self.engine_speed_rpm[self.change_pct.argmax()])


def ratio_change(engine_speed_rpm: npt.ArrayLike, road_speed_kmh: npt.ArrayLike) -> RatioChange | None:
    """Compute the ratio of engine to road speed along a sweep.

    Parameters
    ----------
    engine_speed_rpm, road_speed_kmh : array, (n,)
        One gear throughout [1/min], [km/h]; NaN and zero are not used.

    Returns
    -------
    RatioChange or None
        In `SLIP_BLOCKS` blocks of the sweep; None with fewer than two samples a block.

    Notes
    -----
    100·(r/r₀ - 1) with r the median of a block, so that single wild samples do not count, and r₀ the lower
    tenth of the blocks: slip of tyre or clutch raises the ratio. Kinematics; the blocks and the tenth are a
    rule of thumb, no published source.
    """
    engine, road = finite_or_nan(engine_speed_rpm), finite_or_nan(road_speed_kmh)
    turning = (engine > 0) & (road > 0)
    engine, road = engine[turning], road[turning]
    if engine.size < 2 * SLIP_BLOCKS:
        return None
    blocks = np.array_split(engine / road, SLIP_BLOCKS)
    ratio = np.array([np.median(b) for b in blocks])
    reference = float(np.quantile(ratio, 0.1))
    speeds = np.array([np.median(b) for b in np.array_split(engine, SLIP_BLOCKS)])
    return RatioChange(speeds, 100 * (ratio / reference - 1), reference)


def constant_slip_pct(measured_rpm_per_kmh: float, computed_rpm_per_kmh: float) -> float:
    """Compute how much faster the tyre turns than the roller throughout a sweep.

    Parameters
    ----------
    measured_rpm_per_kmh : float
        Engine speed over the surface speed of the roller, as in `RatioChange.reference` [1/min per km/h].
    computed_rpm_per_kmh : float
        The same from ratios and the tyre's rolling circumference [1/min per km/h].

    Returns
    -------
    float
        Slip [% of the tyre's speed]; below zero if the tyre is larger than computed.

    Raises
    ------
    ValueError
        A ratio is not above zero.

    Notes
    -----
    100·(v_tyre - v_roller) / v_tyre = 100·(1 - k_computed / k_measured), kinematics.
    """
    require_positive("measured ratio", measured_rpm_per_kmh)
    require_positive("computed ratio", computed_rpm_per_kmh)
    return 100 * (1 - computed_rpm_per_kmh / measured_rpm_per_kmh)


def slip_flag(engine_speed_rpm: npt.ArrayLike, road_speed_kmh: npt.ArrayLike) -> Flag | None:
    """Flag a sweep in which the engine runs ahead of the wheel.

    Parameters
    ----------
    engine_speed_rpm, road_speed_kmh : array, (n,)
        As for `ratio_change` [1/min], [km/h].

    Returns
    -------
    Flag or None

    Notes
    -----
    max(r/r₀ - 1) > 3 %. Rule of thumb, no published source.
    """
    change = ratio_change(engine_speed_rpm, road_speed_kmh)
    if change is None or change.worst_pct <= SLIP_LIMIT_PCT:
        return None
    text = _(
        "Engine speed runs ahead of road speed by %(share)s %% near %(speed)s rpm: the tyre or "
        "clutch slips, or a gear was changed."
    )
    values = {"share": format_number(change.worst_pct), "speed": format_number(change.worst_at_rpm)}
    return Flag("slip", text % values)


def power_torque_flag(
    power_kw: npt.ArrayLike, torque_nm: npt.ArrayLike, engine_speed_rpm: npt.ArrayLike
) -> Flag | None:
    """Flag power and torque of one file that do not belong together.

    Parameters
    ----------
    power_kw, torque_nm, engine_speed_rpm : array, (n,)
        [kW], [N·m], [1/min]. NaN is not used, nor what is below a fifth of the highest power, where small
        offsets dominate.

    Returns
    -------
    Flag or None
        With the likeliest reason; None also if nothing can be compared.

    Notes
    -----
    median |1 - T·ω/P| > 2 %, from the definition P = T·ω; the limit is a rule of thumb, no published source.
    """
    power, torque, speed = (finite_or_nan(c) for c in (power_kw, torque_nm, engine_speed_rpm))
    product = identities.power_kw(torque, speed)
    if not np.isfinite(power).any():
        return None
    used = (power > 0.2 * np.nanmax(power)) & (power > 0) & (product > 0)
    if np.count_nonzero(used) < 3:
        return None
    ratio = power[used] / product[used]
    mismatch_pct = float(100 * np.median(np.abs(1 - 1 / ratio)))
    if mismatch_pct <= POWER_TORQUE_LIMIT_PCT:
        return None
    low, middle, high = np.quantile(ratio, [0.1, 0.5, 0.9])
    reason = _mismatch_reason(float(middle), steady=bool(high - low < 0.03 * middle))
    text = _("Power and torque do not match (%(share)s %%): %(reason)s.")
    return Flag("power-torque", text % {"share": format_number(mismatch_pct, 1), "reason": reason})


def _mismatch_reason(ratio: float, steady: bool) -> str:
    """Name the likeliest reason of a ratio P / (T·ω) that is not 1."""
    if not steady:
        return _("their ratio is not constant: one of them is delayed, smoothed more, or has losses added")
    for reason, pairs in UNIT_REASONS.items():
        if any(abs(ratio / convert(1.0, *pair) - 1) < 0.01 for pair in pairs):
            return _(reason)
    if 0.85 <= ratio <= 1.15:
        return _("one of them may already be corrected")
    if ratio < 0.85:
        return _("torque may be at the roller or wheel, not at the engine")
    return _(OTHER_UNIT)
