"""The identity of power, torque and speed of rotation: P = T · 2πn/60."""

import math

import numpy as np

from jobs.calc.units.numbers import FloatOrArray, match_input_type

RAD_PER_S_PER_RPM = math.pi / 30


def power_kw(torque_nm: FloatOrArray, engine_speed_rpm: FloatOrArray) -> FloatOrArray:
    """Return the power at a torque and a speed of rotation.

    Parameters
    ----------
    torque_nm : float or array
        Torque [N·m].
    engine_speed_rpm : float or array
        Speed of rotation [rpm], of a shape that broadcasts with the torque.

    Returns
    -------
    float or array
        Power [kW]; NaN if either is NaN.

    Notes
    -----
    P = T π n / 30 000. SI definition of the watt, no further source.
    """
    return match_input_type(torque_nm, np.asarray(torque_nm) * engine_speed_rpm * RAD_PER_S_PER_RPM / 1000)


def torque_nm(power_kw: FloatOrArray, engine_speed_rpm: FloatOrArray) -> FloatOrArray:
    """Return the torque at a power and a speed of rotation.

    Parameters
    ----------
    power_kw : float or array
        Power [kW].
    engine_speed_rpm : float or array
        Speed of rotation [rpm], of a shape that broadcasts with the power.

    Returns
    -------
    float or array
        Torque [N·m]; NaN if either is NaN, and at a standstill, where power says nothing about torque.

    Notes
    -----
    T = 30 000 P / (π n). SI definition of the watt, no further source.
    """
    speed = np.where(np.asarray(engine_speed_rpm) == 0, np.nan, engine_speed_rpm)
    return match_input_type(power_kw, np.asarray(power_kw) * 1000 / (speed * RAD_PER_S_PER_RPM))
