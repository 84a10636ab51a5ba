"""Power, torque and speed of rotation: P = T · 2πn/60."""

import math

import numpy as np

from jobs.calc.units.factors import convert
from jobs.calc.units.numbers import FloatOrArray, match_input_type

RAD_PER_S_PER_RPM = math.pi / 30


def power_kw(torque_nm: FloatOrArray, engine_speed_rpm: FloatOrArray) -> FloatOrArray:
    """Power [kW] from torque [N·m] and speed of rotation [1/min]; scalars or arrays of one shape.

    NaN in either stays NaN.
    """
    return match_input_type(torque_nm, np.asarray(torque_nm) * engine_speed_rpm * RAD_PER_S_PER_RPM / 1000)


def torque_nm(power_kw: FloatOrArray, engine_speed_rpm: FloatOrArray) -> FloatOrArray:
    """Torque [N·m] from power [kW] and speed of rotation [1/min]; scalars or arrays of one shape.

    At a standstill power says nothing about torque: the answer there is NaN.
    """
    speed = np.where(np.asarray(engine_speed_rpm) == 0, np.nan, engine_speed_rpm)
    return match_input_type(power_kw, np.asarray(power_kw) * 1000 / (speed * RAD_PER_S_PER_RPM))


def power_divisor(torque_unit: str, power_unit: str) -> float:
    """What torque times 1/min is divided by to give power in these units.

    5252.113 for lbf·ft and hp, 9549.297 for N·m and kW: the speed at which the two curves cross
    when both are drawn on one scale.

    Raises
    ------
    ValueError
        A unit is unknown or measures something else.
    """
    watts = convert(1.0, torque_unit, "nm") * RAD_PER_S_PER_RPM
    return 1 / convert(watts, "w", power_unit)
