"""The air an engine breathed, and power and torque as they would be in a standard's reference air.

The factor of a standard multiplies observed power and torque alike. It holds for a wide-open throttle
and an engine that breathes by itself, and says nothing about losses between crank and roller.

References
----------
.. [1] ASHRAE Handbook Fundamentals 2017, chapter 1.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Literal

from jobs.calc.dyno.atmosphere import (
    ISA_PRESSURE_KPA,
    ZERO_CELSIUS_K,
    humidity_ratio,
    isa_pressure_kpa,
    saturation_pressure_kpa,
    vapour_pressure_from_humidity_kpa,
    vapour_pressure_from_wet_bulb_kpa,
)
from jobs.calc.units.numbers import FloatOrArray, format_number, match_input_type, require_finite

WEATHER_SPREAD_KPA = 4.0  # how far the weather moves a barometer either way; common practice, no source
GAS_CONSTANT_DRY_AIR = 287.042  # J/(kg·K) [1]_

Limits = tuple[float, float]


@dataclass(frozen=True)
class Air:
    """The air an engine breathed: temperature, station pressure and how damp it was.

    Moisture is told in at most one of four ways. Left out altogether it is 'not measured': the vapour
    and dry pressure are then NaN.

    Raises
    ------
    ValueError
        A figure is missing or cannot be, or moisture is told in more than one way.
    """

    temperature_c: float
    pressure_kpa: float  # total pressure at the roller, not reduced to sea level
    humidity_pct: float | None = None
    dew_point_c: float | None = None
    wet_bulb_c: float | None = None
    vapour_kpa: float | None = None

    def __post_init__(self) -> None:
        require_finite("air temperature", self.temperature_c)
        require_finite("air pressure", self.pressure_kpa)
        if not -40 <= self.temperature_c <= 60:
            raise ValueError(
                f"An air temperature of {self.temperature_c:g} °C is not believable; -40 to 60 °C is. "
                "Check the unit."
            )
        if not 50 <= self.pressure_kpa <= 115:
            raise ValueError(
                f"An air pressure of {self.pressure_kpa:g} kPa is not believable; 50 to 115 kPa is. "
                "Check the unit (1013 hPa are 101.3 kPa)."
            )
        given = [f.name for f in fields(self)[2:] if getattr(self, f.name) is not None]
        if len(given) > 1:
            raise ValueError("Give the moisture once: humidity, dew point, wet bulb or vapour pressure.")
        for name in given:
            require_finite(name.rsplit("_", 1)[0].replace("_", " "), getattr(self, name))
        if self.dew_point_c is not None and self.dew_point_c > self.temperature_c:
            raise ValueError("The dew point cannot be above the air temperature.")
        if self.vapour_kpa is not None and self.vapour_kpa < 0:
            raise ValueError("The vapour pressure cannot be below zero.")
        if self.vapour_pressure_kpa >= self.pressure_kpa:
            raise ValueError("The vapour pressure cannot reach the air pressure.")

    @property
    def temperature_k(self) -> float:
        return self.temperature_c + ZERO_CELSIUS_K

    @property
    def vapour_pressure_kpa(self) -> float:
        """NaN where no moisture was measured."""
        if self.vapour_kpa is not None:
            return self.vapour_kpa
        if self.humidity_pct is not None:
            return vapour_pressure_from_humidity_kpa(self.temperature_c, self.humidity_pct)
        if self.dew_point_c is not None:
            return saturation_pressure_kpa(self.dew_point_c)
        if self.wet_bulb_c is not None:
            return vapour_pressure_from_wet_bulb_kpa(self.temperature_c, self.wet_bulb_c, self.pressure_kpa)
        return math.nan

    @property
    def dry_pressure_kpa(self) -> float:
        """NaN where no moisture was measured."""
        return self.pressure_kpa - self.vapour_pressure_kpa

    @property
    def relative_humidity_pct(self) -> float:
        """NaN where no moisture was measured."""
        return 100 * self.vapour_pressure_kpa / saturation_pressure_kpa(self.temperature_c)

    @property
    def humidity_ratio(self) -> float:
        """Vapour by dry air [kg/kg]; NaN where no moisture was measured."""
        return humidity_ratio(self.vapour_pressure_kpa, self.pressure_kpa)

    @property
    def dry_air_density_kg_m3(self) -> float:
        """Mass of dry air in a cubic metre; NaN where no moisture was measured."""
        return self.dry_pressure_kpa * 1000 / (GAS_CONSTANT_DRY_AIR * self.temperature_k)

    @property
    def density_kg_m3(self) -> float:
        """Mass of a cubic metre, vapour included; NaN where no moisture was measured."""
        return self.dry_air_density_kg_m3 * (1 + self.humidity_ratio)

    @property
    def enthalpy_kj_per_kg(self) -> float:
        """Heat content by dry air against dry air at 0 °C [1]_; NaN where no moisture was measured."""
        vapour = self.humidity_ratio * (2501 + 1.86 * self.temperature_c)
        return 1.006 * self.temperature_c + vapour


def question_pressure(pressure_kpa: float, elevation_m: float) -> str | None:
    """A question about a pressure that does not fit the shop's elevation, or None where it fits.

    A weather report's pressure is reduced to sea level and does not belong in a correction. Anything
    within 4 kPa of the standard atmosphere at this elevation can be weather and is let pass, so the
    mistake cannot be seen below some 330 m. It is a question: nothing is refused.
    """
    expected = isa_pressure_kpa(elevation_m)
    if abs(pressure_kpa - expected) <= WEATHER_SPREAD_KPA:
        return None
    said = (
        f"{pressure_kpa:.1f} kPa does not fit {elevation_m:.0f} m, where about {expected:.1f} kPa is usual."
    )
    if abs(pressure_kpa - ISA_PRESSURE_KPA) <= WEATHER_SPREAD_KPA:
        return f"{said} Is it the weather report's, reduced to sea level? The barometer in the shop counts."
    return f"{said} Is the reading, its unit or the shop's elevation wrong?"


@dataclass(frozen=True)
class Standard:
    """One published rule: ``factor = gain · (p_ref/p)^a · (T/T_ref)^b - (gain - 1)``."""

    name: str
    reference_temperature_c: float
    reference_pressure_kpa: float
    pressure_kind: Literal["dry", "total"]
    formula: str
    pressure_exponent: float
    temperature_exponent: float
    gain: float = 1.0  # above 1 where only indicated power, not friction, scales with the air
    temperature_range_k: Limits | None = None
    pressure_range_kpa: Limits | None = None  # of the pressure the formula takes
    factor_range: Limits | None = None
    ends_belong: bool = True  # whether the ends of the temperature range are inside it
    note: str = ""
    source: str = ""

    def factor(
        self, temperature_c: FloatOrArray, pressure_kpa: FloatOrArray, gain: float | None = None
    ) -> FloatOrArray:
        """The bare factor for air of this temperature [°C] and pressure [kPa], dry or total as the rule asks.

        Floats or arrays of one shape; NaN stays NaN; no range is looked at.
        """
        reference_k = self.reference_temperature_c + ZERO_CELSIUS_K
        by_pressure = (self.reference_pressure_kpa / pressure_kpa) ** self.pressure_exponent
        by_heat = ((temperature_c + ZERO_CELSIUS_K) / reference_k) ** self.temperature_exponent
        scale = self.gain if gain is None else gain
        return match_input_type(temperature_c, scale * by_pressure * by_heat - (scale - 1))


_EEC_FORMULA = "(99 kPa / dry pressure)^1.2 × (T / 298.15 K)^0.6"
_EEC_SOURCE = (
    "Exponents as quoted from 80/1269/EEC (amended 88/195/EEC), ISO 1585 and UN R85 Annex 5 in secondary "
    "sources; reference air of EU 134/2014 Annex X Appendix 2.2 point 3.2"
)

STANDARDS: dict[str, Standard] = {
    "sae_j1349": Standard(
        name="SAE J1349",
        reference_temperature_c=25.0,
        reference_pressure_kpa=99.0,
        pressure_kind="dry",
        formula="1.18 × (99 kPa / dry pressure) × √(T / 298.15 K) − 0.18",
        pressure_exponent=1.0,
        temperature_exponent=0.5,
        gain=1.18,  # as printed, for a mechanical efficiency of 0.85
        temperature_range_k=(288.15, 308.15),
        pressure_range_kpa=(90.0, 105.0),
        factor_range=(0.93, 1.07),
        note="Takes a mechanical efficiency of 85 %. Its ranges of air and factor are from memory.",
        source="SAE J1349 (June 1990), formula as publicly quoted; ranges from memory",
    ),
    "sae_j607": Standard(
        name="SAE J607",
        reference_temperature_c=(60 - 32) / 1.8,
        reference_pressure_kpa=29.92 * 3.386389,
        pressure_kind="dry",
        formula="(29.92 inHg / dry pressure) × √(T / 519.67 °R)",
        pressure_exponent=1.0,
        temperature_exponent=0.5,
        note="The plain ratio, often called STD. Reads about 4 % above SAE J1349 in the same air.",
        source="J607 plain ratio, 60 °F and 29.92 inHg dry, as quoted in trade discussions",
    ),
    "din_70020": Standard(
        name="DIN 70020",
        reference_temperature_c=20.0,
        reference_pressure_kpa=101.325,
        pressure_kind="total",
        formula="(1013.25 hPa / total pressure) × √(T / 293.15 K)",
        pressure_exponent=1.0,
        temperature_exponent=0.5,
        note="Takes the barometer as it reads, vapour included. Printed with 1013 and 293.",
        source="DIN 70020 square-root form as quoted in secondary sources",
    ),
    "iso_1585": Standard(
        name="ISO 1585",
        reference_temperature_c=25.0,
        reference_pressure_kpa=99.0,
        pressure_kind="dry",
        formula=_EEC_FORMULA,
        pressure_exponent=1.2,
        temperature_exponent=0.6,
        temperature_range_k=(288.0, 308.0),
        pressure_range_kpa=(80.0, 110.0),
        factor_range=(0.93, 1.07),
        note="The edition of 1992 leaves motorcycles out of its scope. Ranges from memory.",
        source=_EEC_SOURCE,
    ),
    "un_r85": Standard(
        name="UN R85",
        reference_temperature_c=25.0,
        reference_pressure_kpa=99.0,
        pressure_kind="dry",
        formula=_EEC_FORMULA,
        pressure_exponent=1.2,
        temperature_exponent=0.6,
        temperature_range_k=(288.0, 308.0),
        pressure_range_kpa=(90.0, 110.0),
        factor_range=(0.93, 1.07),
        note="The same factor as ISO 1585. Ranges from memory.",
        source=_EEC_SOURCE,
    ),
    "eu_134_2014": Standard(
        name="EU 134/2014",
        reference_temperature_c=25.0,
        reference_pressure_kpa=99.0,
        pressure_kind="dry",
        formula=_EEC_FORMULA,
        pressure_exponent=1.2,
        temperature_exponent=0.6,
        temperature_range_k=(283.2, 318.2),
        factor_range=(0.93, 1.07),
        ends_belong=False,
        note="For vehicles of category L, motorcycles among them. The range of the factor is from memory.",
        source=_EEC_SOURCE + "; temperature range from point 3.2.3.1",
    ),
}


@dataclass(frozen=True)
class Correction:
    """A factor with what it must admit about itself."""

    factor: float
    standard: Standard
    temperature_in_range: bool
    pressure_in_range: bool
    factor_in_range: bool
    passed_limits: tuple[str, ...]  # a sentence for each limit that is passed

    @property
    def in_limits(self) -> bool:
        return not self.passed_limits

    def apply(self, observed: FloatOrArray) -> FloatOrArray:
        """Observed power or torque, float or array, as it would be in the reference air."""
        return match_input_type(observed, observed * self.factor)


def correct(standard_id: str, air: Air, *, mech_eff: float | None = None) -> Correction:
    """The factor to take observed power and torque to a standard's reference air.

    Parameters
    ----------
    standard_id : str
        A key of :data:`STANDARDS`.
    air : Air
        The air the engine breathed.
    mech_eff : float, optional
        Mechanical efficiency, above 0 to 1, for SAE J1349 alone; 0.85 as printed where left out.

    Returns
    -------
    Correction
        The factor is never held back at a limit; what is passed is said in sentences.

    Raises
    ------
    ValueError
        The standard is unknown, it needs dry pressure and no moisture was measured, or a mechanical
        efficiency is impossible or given for a standard that has none.
    """
    standard = find_standard(standard_id)
    gain = _gain(standard, mech_eff)
    pressure = air.pressure_kpa if standard.pressure_kind == "total" else air.dry_pressure_kpa
    if math.isnan(pressure):
        raise ValueError(f"{standard.name} needs the humidity of the air, and none was measured.")
    factor = standard.factor(air.temperature_c, pressure, gain)
    heat_ok = _within(air.temperature_k, standard.temperature_range_k, standard.ends_belong)
    pressure_ok = _within(pressure, standard.pressure_range_kpa)
    factor_ok = _within(factor, standard.factor_range)
    passed = []
    if not heat_ok and standard.temperature_range_k:
        low, high = (limit - ZERO_CELSIUS_K for limit in standard.temperature_range_k)
        passed.append(
            f"The air was at {format_number(air.temperature_c, 1)} °C; "
            f"{standard.name} covers {format_number(low, 1)} to {format_number(high, 1)} °C."
        )
    if not pressure_ok and standard.pressure_range_kpa:
        low, high = standard.pressure_range_kpa
        passed.append(
            f"The {standard.pressure_kind} pressure was {pressure:.1f} kPa; "
            f"{standard.name} covers {low:g} to {high:g} kPa."
        )
    if not factor_ok and standard.factor_range:
        low, high = standard.factor_range
        passed.append(
            f"The factor {factor:.3f} is beyond the {low:g} to {high:g} of {standard.name}: "
            "state the temperature and pressure of the test beside the figure."
        )
    return Correction(factor, standard, heat_ok, pressure_ok, factor_ok, tuple(passed))


def uncorrect(standard_id: str, air: Air, *, mech_eff: float | None = None) -> float:
    """What to multiply a figure by that was corrected in this air, to have it as observed.

    Raises
    ------
    ValueError
        As :func:`correct`.
    """
    return 1 / correct(standard_id, air, mech_eff=mech_eff).factor


def find_standard(standard_id: str) -> Standard:
    """The standard of this id.

    Raises
    ------
    ValueError
        The id is not in :data:`STANDARDS`.
    """
    if standard_id not in STANDARDS:
        raise ValueError(f"'{standard_id}' is not a correction standard this program knows.")
    return STANDARDS[standard_id]


def transmission_efficiency(efficiencies: Iterable[float]) -> float:
    """Share of the crank's power that reaches the wheel through elements in line, each above 0 to 1.

    Customary shares, from memory of 95/1/EC: a pair of gears 0.98, a roller chain 0.95.

    Raises
    ------
    ValueError
        A share is not above 0 or is above 1.
    """
    shares = list(efficiencies)
    for share in shares:
        if not 0 < share <= 1:
            raise ValueError(f"An efficiency is above 0 and at most 1; {share:g} was given.")
    return math.prod(shares)


def alpha2(efficiency: float) -> float:
    """Factor from power at the wheel to power at the crank (EU 134/2014 Annex X Appendix 2.2).

    Raises
    ------
    ValueError
        The transmission's efficiency is not above 0 or is above 1.
    """
    return 1 / transmission_efficiency([efficiency])


def _gain(standard: Standard, mech_eff: float | None) -> float | None:
    """Only indicated power scales with air: CF = r/η − (1 − η)/η, that is a gain of 1/η."""
    if mech_eff is None:
        return None
    if standard is not STANDARDS["sae_j1349"]:
        raise ValueError(f"{standard.name} takes no mechanical efficiency.")
    require_finite("mechanical efficiency", mech_eff)
    if not 0 < mech_eff <= 1:
        raise ValueError(f"A mechanical efficiency is above 0 and at most 1; {mech_eff:g} was given.")
    return 1 / mech_eff


def _within(value: float, limits: Limits | None, ends_belong: bool = True) -> bool:
    if limits is None:
        return True
    # A limit met exactly must not be lost to binary rounding (20 + 273.15 is not quite 293.15).
    slack = 1e-9 if ends_belong else -1e-9
    return limits[0] - slack <= value <= limits[1] + slack
