"""Humid air and the standard atmosphere.

Nomenclature: total (station) pressure is what a barometer at the roller reads; vapour pressure is the
part of it that water vapour makes; dry pressure is the rest.

References
----------
.. [1] IAPWS R7-97(2012), Industrial Formulation 1997, region 4 (saturation line), 273.15 to 647.096 K.
.. [2] WMO-No. 8, Guide to Instruments and Methods of Observation, Part I, Annex 4.B: saturation vapour
   pressure over water, -45 to 60 °C.
.. [3] ASHRAE Handbook Fundamentals 2017, chapter 1: humidity ratio, thermodynamic wet bulb, enthalpy.
.. [4] ISO 2533:1975, Standard Atmosphere.
.. [5] ICAO Doc 7488, Manual of the ICAO Standard Atmosphere; altimeter setting (QNH).
"""

import numpy as np

from jobs.calc.units.numbers import FloatOrArray, match_input_type

ZERO_CELSIUS_K = 273.15
TRIPLE_POINT_C = 0.01
CRITICAL_POINT_C = 373.946
COLDEST_SATURATION_C = -45.0  # end of the WMO formula

MOLAR_MASS_RATIO = 0.621945  # water to dry air, ASHRAE 2017

ISA_PRESSURE_KPA = 101.325
ISA_TEMPERATURE_K = 288.15
ISA_LAPSE_K_PER_M = 0.0065
ISA_EXPONENT = 9.80665 / (287.05287 * ISA_LAPSE_K_PER_M)  # 5.25588
ISA_LOWEST_M, ISA_HIGHEST_M = -2000.0, 11_000.0

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
    """Pressure of water vapour over water at saturation.

    Parameters
    ----------
    temperature_c : float or array of any shape
        -45 to 373.946 °C; NaN stays NaN.

    Returns
    -------
    float or array of the same shape, in kPa
        IAPWS-IF97 region 4 [1]_ from the triple point upwards, WMO-No. 8 [2]_ (over supercooled water)
        below it; the two meet there within 0.003 %.

    Raises
    ------
    ValueError
        A temperature is outside that range.
    """
    celsius = np.asarray(temperature_c, dtype=np.float64)
    _require_range(celsius, COLDEST_SATURATION_C, CRITICAL_POINT_C, "temperature", "°C")
    warm = _if97_saturation_kpa(np.maximum(celsius, TRIPLE_POINT_C) + ZERO_CELSIUS_K)
    cold = wmo_saturation_pressure_kpa(np.minimum(celsius, TRIPLE_POINT_C))
    return match_input_type(temperature_c, np.where(celsius < TRIPLE_POINT_C, cold, warm))


def wmo_saturation_pressure_kpa(temperature_c: FloatOrArray) -> FloatOrArray:
    """Pressure of water vapour over water at saturation [kPa] by the short formula of WMO-No. 8 [2]_.

    -45 to 60 °C, float or array of any shape; up to 0.31 % below IF97 at 25 to 30 °C.
    Without the enhancement factor for moist air.

    Raises
    ------
    ValueError
        A temperature is outside that range.
    """
    celsius = np.asarray(temperature_c, dtype=np.float64)
    _require_range(celsius, COLDEST_SATURATION_C, 60.0, "temperature", "°C")
    return match_input_type(temperature_c, 0.6112 * np.exp(17.62 * celsius / (243.12 + celsius)))


def dew_point_c(vapour_pressure_kpa: FloatOrArray) -> FloatOrArray:
    """Temperature [°C] at which this vapour pressure [kPa] saturates: the inverse of the saturation pressure.

    Float or array of any shape; NaN stays NaN.

    Raises
    ------
    ValueError
        A pressure is not above zero, or belongs to a temperature outside -45 to 373.946 °C.
    """
    pressure = np.asarray(vapour_pressure_kpa, dtype=np.float64)
    if np.any(pressure <= 0):
        raise ValueError("Perfectly dry air has no dew point: the vapour pressure must be above zero.")
    ends_kpa = saturation_pressure_kpa(np.array([COLDEST_SATURATION_C, TRIPLE_POINT_C, CRITICAL_POINT_C]))
    _require_range(pressure, float(ends_kpa[0]), float(ends_kpa[2]), "vapour pressure", "kPa")
    warm = _if97_boiling_k(np.maximum(pressure, ends_kpa[1])) - ZERO_CELSIUS_K
    log = np.log(np.minimum(pressure, ends_kpa[1]) / 0.6112)
    return match_input_type(
        vapour_pressure_kpa, np.where(pressure < ends_kpa[1], 243.12 * log / (17.62 - log), warm)
    )


def vapour_pressure_from_humidity_kpa(
    temperature_c: FloatOrArray, humidity_pct: FloatOrArray
) -> FloatOrArray:
    """Vapour pressure [kPa] from air temperature [°C] and relative humidity [%].

    Raises
    ------
    ValueError
        A humidity is not above 0 or is above 100 %.
    """
    humidity = np.asarray(humidity_pct, dtype=np.float64)
    if np.any(humidity <= 0) or np.any(humidity > 100):
        raise ValueError("Relative humidity must be above 0 and at most 100 %.")
    return match_input_type(temperature_c, humidity / 100 * saturation_pressure_kpa(temperature_c))


def vapour_pressure_from_wet_bulb_kpa(
    temperature_c: FloatOrArray, wet_bulb_c: FloatOrArray, pressure_kpa: FloatOrArray
) -> FloatOrArray:
    """Vapour pressure [kPa] from dry bulb [°C], thermodynamic wet bulb [°C] and total pressure [kPa] [3]_.

    Raises
    ------
    ValueError
        A wet bulb is above the dry bulb, below freezing (ice on the wick reads differently), or so far
        below the dry bulb that the air would hold less than no vapour.
    """
    dry, wet = np.asarray(temperature_c, dtype=np.float64), np.asarray(wet_bulb_c, dtype=np.float64)
    if np.any(wet > dry):
        raise ValueError("The wet bulb cannot be warmer than the air.")
    if np.any(wet < 0):
        raise ValueError("Below freezing the wet bulb carries ice and misleads; enter the humidity instead.")
    saturated = humidity_ratio(saturation_pressure_kpa(wet), np.asarray(pressure_kpa, dtype=np.float64))
    ratio = ((2501 - 2.326 * wet) * saturated - 1.006 * (dry - wet)) / (2501 + 1.86 * dry - 4.186 * wet)
    if np.any(ratio <= 0):
        raise ValueError("The wet bulb is too far below the air temperature; check both thermometers.")
    return match_input_type(temperature_c, pressure_kpa * ratio / (MOLAR_MASS_RATIO + ratio))


def humidity_ratio(vapour_pressure_kpa: FloatOrArray, pressure_kpa: FloatOrArray) -> FloatOrArray:
    """Mass of vapour by mass of dry air [kg/kg] from vapour and total pressure [kPa] [3]_."""
    vapour = np.asarray(vapour_pressure_kpa, dtype=np.float64)
    return match_input_type(vapour_pressure_kpa, MOLAR_MASS_RATIO * vapour / (pressure_kpa - vapour))


def isa_pressure_kpa(elevation_m: FloatOrArray) -> FloatOrArray:
    """Pressure of the standard atmosphere [kPa] at an elevation [m], -2,000 to 11,000 m [4]_.

    Raises
    ------
    ValueError
        An elevation is outside that range.
    """
    height = np.asarray(elevation_m, dtype=np.float64)
    _require_range(height, ISA_LOWEST_M, ISA_HIGHEST_M, "elevation", "m")
    share = 1 - ISA_LAPSE_K_PER_M * height / ISA_TEMPERATURE_K
    return match_input_type(elevation_m, ISA_PRESSURE_KPA * share**ISA_EXPONENT)


def pressure_altitude_m(pressure_kpa: FloatOrArray) -> FloatOrArray:
    """Height [m] at which the standard atmosphere has this pressure [kPa]: the inverse of the above [4]_.

    Raises
    ------
    ValueError
        A pressure belongs to a height outside -2,000 to 11,000 m.
    """
    pressure = np.asarray(pressure_kpa, dtype=np.float64)
    highest, lowest = isa_pressure_kpa(ISA_HIGHEST_M), isa_pressure_kpa(ISA_LOWEST_M)
    _require_range(pressure, highest, lowest, "pressure", "kPa")
    share = (pressure / ISA_PRESSURE_KPA) ** (1 / ISA_EXPONENT)
    return match_input_type(pressure_kpa, ISA_TEMPERATURE_K / ISA_LAPSE_K_PER_M * (1 - share))


def station_pressure_kpa(sea_level_pressure_kpa: FloatOrArray, elevation_m: FloatOrArray) -> FloatOrArray:
    """What a barometer in the shop reads [kPa], from the reported pressure reduced to sea level (QNH) [5]_.

    Raises
    ------
    ValueError
        An elevation is outside -2,000 to 11,000 m.
    """
    height = np.asarray(elevation_m, dtype=np.float64)
    _require_range(height, ISA_LOWEST_M, ISA_HIGHEST_M, "elevation", "m")
    exponent = 1 / ISA_EXPONENT
    at_sea_level = np.asarray(sea_level_pressure_kpa, dtype=np.float64) ** exponent
    fall = ISA_PRESSURE_KPA**exponent * ISA_LAPSE_K_PER_M * height / ISA_TEMPERATURE_K
    return match_input_type(sea_level_pressure_kpa, (at_sea_level - fall) ** ISA_EXPONENT)


def _if97_saturation_kpa(temperature_k: np.ndarray) -> np.ndarray:
    theta = temperature_k + _N[9] / (temperature_k - _N[10])
    a = theta**2 + _N[1] * theta + _N[2]
    b = _N[3] * theta**2 + _N[4] * theta + _N[5]
    c = _N[6] * theta**2 + _N[7] * theta + _N[8]
    return 1000 * (2 * c / (-b + np.sqrt(b**2 - 4 * a * c))) ** 4


def _if97_boiling_k(pressure_kpa: np.ndarray) -> np.ndarray:
    beta = (pressure_kpa / 1000) ** 0.25
    e = beta**2 + _N[3] * beta + _N[6]
    f = _N[1] * beta**2 + _N[4] * beta + _N[7]
    g = _N[2] * beta**2 + _N[5] * beta + _N[8]
    d = 2 * g / (-f - np.sqrt(f**2 - 4 * e * g))
    return (_N[10] + d - np.sqrt((_N[10] + d) ** 2 - 4 * (_N[9] + _N[10] * d))) / 2


def _require_range(values: np.ndarray, low: float, high: float, what: str, unit_label: str) -> None:
    """Refuse values outside the range a formula is valid for; NaN passes, as it stays NaN."""
    slack = 1e-12 * abs(high)  # the end of a range may come back from an inverse a rounding off
    if np.any(values < low - slack) or np.any(values > high + slack):
        raise ValueError(f"A {what} outside {low:g} to {high:g} {unit_label} cannot be reckoned with.")
