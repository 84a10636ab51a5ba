"""Humid air and the standard atmosphere.

Nomenclature: total (station) pressure is what a barometer at the dyno reads, vapour pressure is the part of
it from water vapour, and dry pressure is the rest.

References
----------
.. [1] IAPWS R7-97(2012), Industrial Formulation 1997, region 4 (saturation line), 273.15 to 647.096 K.
.. [2] WMO-No. 8, Guide to Instruments and Methods of Observation, Part I, Annex 4.B: saturation vapour
   pressure over water, -45 to 60 °C.
.. [3] ASHRAE Handbook Fundamentals 2017, chapter 1: humidity ratio, thermodynamic wet bulb.
.. [4] ISO 2533:1975, Standard Atmosphere.
"""

import numpy as np

from jobs.calc.units.numbers import FloatOrArray, match_input_type

ZERO_CELSIUS_K = 273.15
TRIPLE_POINT_C = 0.01
CRITICAL_POINT_C = 373.946
MIN_SATURATION_C = -45.0  # end of the WMO formula

MOLAR_MASS_RATIO = 0.621945  # water to dry air [3]_

ISA_PRESSURE_KPA = 101.325
ISA_TEMPERATURE_K = 288.15
ISA_LAPSE_K_PER_M = 0.0065
ISA_EXPONENT = 9.80665 / (287.05287 * ISA_LAPSE_K_PER_M)  # 5.25588
MIN_ISA_M, MAX_ISA_M = -2000.0, 11_000.0

# IAPWS R7-97 table 34; index 0 is unused so that the numbers are those of the text
_N = (
    0.0,
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def saturation_pressure_kpa(temperature_c: FloatOrArray) -> FloatOrArray:
    """Compute the saturation pressure of water vapour over water.

    Parameters
    ----------
    temperature_c : float or array
        -45 to 373.946 [°C], of any shape; NaN stays NaN.

    Returns
    -------
    float or array
        Pressure [kPa], of the shape of ``temperature_c``.

    Raises
    ------
    ValueError
        A temperature is outside that range.

    Notes
    -----
    From the triple point upwards IAPWS-IF97 region 4 [1]_,
    p = 1000·(2C / (-B + sqrt(B² - 4AC)))⁴ with A, B, C quadratics in θ = T + n₉/(T - n₁₀). Below it WMO-No. 8
    [2]_ over supercooled water, p = 0.6112·exp(17.62·t / (243.12 + t)), without the enhancement factor for
    moist air. At the triple point the two agree within 0.003 %.
    """
    celsius = np.asarray(temperature_c, dtype=np.float64)
    _require_range(celsius, MIN_SATURATION_C, CRITICAL_POINT_C, "temperature", "°C")
    warm = _if97_saturation_kpa(np.maximum(celsius, TRIPLE_POINT_C) + ZERO_CELSIUS_K)
    cold = np.minimum(celsius, TRIPLE_POINT_C)
    supercooled = 0.6112 * np.exp(17.62 * cold / (243.12 + cold))
    return match_input_type(temperature_c, np.where(celsius < TRIPLE_POINT_C, supercooled, warm))


def vapour_pressure_from_humidity_kpa(
    temperature_c: FloatOrArray, humidity_pct: FloatOrArray
) -> FloatOrArray:
    """Compute the vapour pressure of air from its relative humidity.

    Parameters
    ----------
    temperature_c, humidity_pct : float or array
        Air temperature [°C] and relative humidity, 0 to 100 [%], of one shape.

    Returns
    -------
    float or array
        Vapour pressure [kPa], of the shape of ``temperature_c``.

    Raises
    ------
    ValueError
        A humidity is outside 0 to 100 %, or a temperature is outside -45 to 373.946 °C.

    Notes
    -----
    φ/100 · p_sat(t), the definition of relative humidity [3]_.
    """
    humidity = np.asarray(humidity_pct, dtype=np.float64)
    if np.any(humidity < 0) or np.any(humidity > 100):
        raise ValueError("Enter a relative humidity from 0 to 100 %.")
    return match_input_type(temperature_c, humidity / 100 * saturation_pressure_kpa(temperature_c))


def vapour_pressure_from_wet_bulb_kpa(
    temperature_c: FloatOrArray, wet_bulb_c: FloatOrArray, pressure_kpa: FloatOrArray
) -> FloatOrArray:
    """Compute the vapour pressure of air from its wet-bulb temperature.

    Parameters
    ----------
    temperature_c, wet_bulb_c, pressure_kpa : float or array
        Dry bulb and thermodynamic wet bulb [°C] and total pressure [kPa], of one shape.

    Returns
    -------
    float or array
        Vapour pressure [kPa], of the shape of ``temperature_c``.

    Raises
    ------
    ValueError
        A wet bulb is above the dry bulb, below freezing (ice on the wick reads differently), or so far
        below the dry bulb that the air would hold less than no vapour.

    Notes
    -----
    p·W / (0.621945 + W) with the humidity ratio
    W = ((2501 - 2.326·t*)·W* - 1.006·(t - t*)) / (2501 + 1.86·t - 4.186·t*), where W* is that of air
    saturated at the wet bulb t* [3]_.
    """
    dry, wet = np.asarray(temperature_c, dtype=np.float64), np.asarray(wet_bulb_c, dtype=np.float64)
    if np.any(np.isinf(dry)):
        raise ValueError("The temperature of the air is not a number.")
    if np.any(wet > dry):
        raise ValueError("The wet-bulb temperature must not be above the air temperature.")
    if np.any(wet < 0):
        raise ValueError(
            "Below freezing, ice on the wet bulb falsifies the reading. Enter the humidity instead."
        )
    vapour = saturation_pressure_kpa(wet)
    saturated = MOLAR_MASS_RATIO * vapour / (pressure_kpa - vapour)
    ratio = ((2501 - 2.326 * wet) * saturated - 1.006 * (dry - wet)) / (2501 + 1.86 * dry - 4.186 * wet)
    if np.any(ratio <= 0):
        raise ValueError(
            "The wet-bulb temperature is too far below the air temperature. Check both thermometers."
        )
    return match_input_type(temperature_c, pressure_kpa * ratio / (MOLAR_MASS_RATIO + ratio))


def isa_pressure_kpa(elevation_m: FloatOrArray) -> FloatOrArray:
    """Compute the pressure of the standard atmosphere.

    Parameters
    ----------
    elevation_m : float or array
        Above mean sea level, -2,000 to 11,000 [m], of any shape.

    Returns
    -------
    float or array
        Pressure [kPa], of the shape of ``elevation_m``.

    Raises
    ------
    ValueError
        An elevation is outside that range.

    Notes
    -----
    101.325·(1 - 0.0065·h / 288.15)^5.25588 [4]_.
    """
    height = np.asarray(elevation_m, dtype=np.float64)
    _require_range(height, MIN_ISA_M, MAX_ISA_M, "elevation", "m")
    share = 1 - ISA_LAPSE_K_PER_M * height / ISA_TEMPERATURE_K
    return match_input_type(elevation_m, ISA_PRESSURE_KPA * share**ISA_EXPONENT)


def _if97_saturation_kpa(temperature_k: np.ndarray) -> np.ndarray:
    theta = temperature_k + _N[9] / (temperature_k - _N[10])
    a = theta**2 + _N[1] * theta + _N[2]
    b = _N[3] * theta**2 + _N[4] * theta + _N[5]
    c = _N[6] * theta**2 + _N[7] * theta + _N[8]
    return 1000 * (2 * c / (-b + np.sqrt(b**2 - 4 * a * c))) ** 4


def _require_range(values: np.ndarray, low: float, high: float, what: str, unit_label: str) -> None:
    """Refuse values outside the range a formula is valid for; NaN passes, as it stays NaN."""
    if np.any(values < low) or np.any(values > high):
        raise ValueError(
            f"A {what} outside {low:g} to {high:g} {unit_label} cannot be used in the calculation."
        )
