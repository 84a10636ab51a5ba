"""How a roller moves under simple torques: the known answers that power from a roller is held against.

Also what an invented run is made from. Source: rigid-body mechanics, any dynamics text; each is
the closed solution of J·dω/dt = torque.
"""

import numpy as np

from jobs.calc.units.numbers import FloatOrArray, match_input_type, require_positive


def speed_under_torque(
    inertia_kgm2: float, start_rad_s: float, torque_nm: float, time_s: FloatOrArray
) -> FloatOrArray:
    """Constant torque: ω = ω₀ + (T/J)·t [rad/s]."""
    return match_input_type(time_s, start_rad_s + torque_nm / inertia_kgm2 * np.asarray(time_s))


def speed_under_power(
    inertia_kgm2: float, start_rad_s: float, power_kw: float, time_s: FloatOrArray
) -> FloatOrArray:
    """Constant power: ω = √(ω₀² + 2·P·t/J) [rad/s]."""
    gained = 2000 * power_kw / inertia_kgm2 * np.asarray(time_s)
    return match_input_type(time_s, np.sqrt(start_rad_s**2 + gained))


def speed_under_linear_loss(
    inertia_kgm2: float, start_rad_s: float, torque_nm: float, loss_nms: float, time_s: FloatOrArray
) -> FloatOrArray:
    """Constant torque against a loss b·ω: ω = T/b + (ω₀ − T/b)·e^(−b·t/J) [rad/s].

    Raises
    ------
    ValueError
        A loss coefficient not above zero.
    """
    require_positive("loss coefficient", loss_nms, "N·m·s")
    end = torque_nm / loss_nms
    return match_input_type(
        time_s, end + (start_rad_s - end) * np.exp(-loss_nms / inertia_kgm2 * np.asarray(time_s))
    )


def coasting_speed(
    inertia_kgm2: float, start_rad_s: float, constant_nm: float, square_nms2: float, time_s: FloatOrArray
) -> FloatOrArray:
    """Coasting against c₀ + c₂·ω² [rad/s], zero from the standstill on.

    Raises
    ------
    ValueError
        A loss coefficient not above zero.
    """
    rate, phase = _coast(inertia_kgm2, start_rad_s, constant_nm, square_nms2)
    left = np.maximum(phase - rate * np.asarray(time_s), 0.0)
    return match_input_type(time_s, np.sqrt(constant_nm / square_nms2) * np.tan(left))


def coasting_time_s(inertia_kgm2: float, start_rad_s: float, constant_nm: float, square_nms2: float) -> float:
    """Time to the standstill against c₀ + c₂·ω² [s]; raises as `coasting_speed`."""
    rate, phase = _coast(inertia_kgm2, start_rad_s, constant_nm, square_nms2)
    return phase / rate


def _coast(inertia: float, start: float, constant: float, square: float) -> tuple[float, float]:
    require_positive("constant loss", constant, "N·m")
    require_positive("loss with the square of speed", square, "N·m·s²")
    return float(np.sqrt(constant * square)) / inertia, float(np.arctan(start * np.sqrt(square / constant)))
