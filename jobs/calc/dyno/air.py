"""The air an engine breathed, and power and torque corrected to a standard's reference air.

The factor of a standard multiplies observed power and torque alike. It holds for a wide-open throttle and
spark ignition, and says nothing about losses between crank and roller.

References
----------
.. [1] Commission Delegated Regulation (EU) No 134/2014, Annex X, appendices 2.2 (spark ignition) and 2.3
   (compression ignition), public at legislation.gov.uk and EUR-Lex.
.. [2] UNECE, GRPE-70-02: Supplement 7 to UN Regulation No. 85: no correction for charged engines that make up
   for the air by themselves.
"""

import math
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Literal

from jobs.calc.dyno.atmosphere import (
    ISA_PRESSURE_KPA,
    ZERO_CELSIUS_K,
    isa_pressure_kpa,
    saturation_pressure_kpa,
    vapour_pressure_from_humidity_kpa,
    vapour_pressure_from_wet_bulb_kpa,
)
from jobs.calc.units.numbers import format_digits, format_number, require_finite
from jobs.calc.wording import gettext as _

# How far the weather moves a barometer either way. Rule of thumb, no published source.
WEATHER_SPREAD_KPA = 4.0

Limits = tuple[float, float]

FROM_MEMORY = "from memory; no public text was available"


class Induction(StrEnum):
    """How an engine gets its air."""

    NATURAL = "natural"
    CHARGED = "charged"
    CONSTANT_BOOST = "constant_boost"


class Ignition(StrEnum):
    """How an engine lights its mixture."""

    SPARK = "spark"
    COMPRESSION = "compression"


@dataclass(frozen=True)
class Air:
    """The air an engine breathed.

    Attributes
    ----------
    temperature_c : float
        -40 to 60 [°C].
    pressure_kpa : float
        Total pressure at the dyno, not reduced to sea level, 50 to 115 [kPa].
    humidity_pct, dew_point_c, wet_bulb_c : float or None
        Moisture as relative humidity [%], dew point or thermodynamic wet bulb [°C]: at most one of them.
        None of them means not measured: vapour and dry pressure are NaN.

    Raises
    ------
    ValueError
        A value is missing or impossible, or more than one measure of moisture is given.
    """

    temperature_c: float
    pressure_kpa: float
    humidity_pct: float | None = None
    dew_point_c: float | None = None
    wet_bulb_c: float | None = None

    def __post_init__(self) -> None:
        require_finite("air temperature", self.temperature_c)
        require_finite("air pressure", self.pressure_kpa)
        if not -40 <= self.temperature_c <= 60:
            raise ValueError(
                f"An air temperature of {self.temperature_c:g} °C is not plausible. Enter −40 to 60 °C, "
                "or check the unit."
            )
        if not 50 <= self.pressure_kpa <= 115:
            raise ValueError(
                f"An air pressure of {self.pressure_kpa:g} kPa is not plausible. Enter 50 to 115 kPa, or "
                "check the unit (1013 hPa are 101.3 kPa)."
            )
        given = [f.name for f in fields(self)[2:] if getattr(self, f.name) is not None]
        if len(given) > 1:
            raise ValueError("Enter only one of humidity, dew point and wet bulb.")
        for name in given:
            require_finite(name.rsplit("_", 1)[0].replace("_", " "), getattr(self, name))
        if self.dew_point_c is not None and self.dew_point_c > self.temperature_c:
            raise ValueError("The dew point cannot be above the air temperature.")
        _ = self.vapour_pressure_kpa  # raises if the moisture is impossible

    @property
    def vapour_pressure_kpa(self) -> float:
        """Vapour pressure [kPa]; NaN if no moisture was measured."""
        if self.humidity_pct is not None:
            return vapour_pressure_from_humidity_kpa(self.temperature_c, self.humidity_pct)
        if self.dew_point_c is not None:
            return saturation_pressure_kpa(self.dew_point_c)
        if self.wet_bulb_c is not None:
            return vapour_pressure_from_wet_bulb_kpa(self.temperature_c, self.wet_bulb_c, self.pressure_kpa)
        return math.nan

    @property
    def dry_pressure_kpa(self) -> float:
        """Total less vapour pressure [kPa]; NaN if no moisture was measured."""
        return self.pressure_kpa - self.vapour_pressure_kpa


def pressure_warning(pressure_kpa: float, elevation_m: float) -> str | None:
    """Ask about a pressure that does not fit the elevation of the workshop.

    Parameters
    ----------
    pressure_kpa : float
        Total pressure as entered [kPa].
    elevation_m : float
        Elevation of the workshop [m].

    Returns
    -------
    str or None
        A question; None if the pressure fits.

    Raises
    ------
    ValueError
        The elevation is outside -2,000 to 11,000 m.

    Notes
    -----
    Asks if |p - p_ISA(h)| > 4 kPa, with `isa_pressure_kpa` [1]_ and a spread that is a rule of thumb, no
    published source. The pressure of a weather report is reduced to sea level and does not belong in a
    correction; below about 330 m the mistake is within the spread of the weather and cannot be seen.

    References
    ----------
    .. [1] ISO 2533:1975, Standard Atmosphere.
    """
    expected = isa_pressure_kpa(elevation_m)
    if abs(pressure_kpa - expected) <= WEATHER_SPREAD_KPA:
        return None
    values = {
        "pressure": format_number(pressure_kpa, 1),
        "elevation": format_number(elevation_m),
        "usual": format_number(expected, 1),
    }
    if abs(pressure_kpa - ISA_PRESSURE_KPA) <= WEATHER_SPREAD_KPA:
        text = _(
            "%(pressure)s kPa does not match an elevation of %(elevation)s m, where about %(usual)s "
            "kPa is normal. Is it a weather-report value corrected to sea level? Use the barometer "
            "in the shop."
        )
    else:
        text = _(
            "%(pressure)s kPa does not match an elevation of %(elevation)s m, where about %(usual)s "
            "kPa is normal. Check the reading, its unit and the shop's elevation."
        )
    return text % values


@dataclass(frozen=True)
class Standard:
    """One published correction rule.

    Attributes
    ----------
    name, formula, source : str
        For people; where formula and reference air come from.
    edition, scope : str
        Which edition is meant, and which vehicles and engines it is for.
    reference_temperature_c, reference_pressure_kpa : float
        The reference air [°C], [kPa].
    pressure_kind : str
        Which pressure the formula takes, 'dry' or 'total'.
    pressure_exponent, temperature_exponent : float
        Exponents of the two ratios [1].
    gain : float
        Above 1 if only indicated power scales with the air, and friction does not [1].
    temperature_range_k, pressure_range_kpa, factor_range : (float, float) or None
        Limits of the air [K], of the pressure that the formula takes [kPa] and of the factor [1].
    temperature_source, pressure_source, factor_source : str
        Where each limit comes from.
    range_is_closed : bool
        Whether the ends of the temperature range are inside it.
    note : str
        What else a reader has to know.
    """

    name: str
    edition: str
    scope: str
    reference_temperature_c: float
    reference_pressure_kpa: float
    pressure_kind: Literal["dry", "total"]
    formula: str
    pressure_exponent: float
    temperature_exponent: float
    source: str
    gain: float = 1.0
    temperature_range_k: Limits | None = None
    pressure_range_kpa: Limits | None = None
    factor_range: Limits | None = None
    temperature_source: str = FROM_MEMORY
    pressure_source: str = FROM_MEMORY
    factor_source: str = FROM_MEMORY
    range_is_closed: bool = True
    note: str = ""

    @property
    def limits(self) -> tuple[tuple[str, str], ...]:
        """What each limit is, and where it comes from, in words."""
        found = []
        if self.temperature_range_k:
            low, high = (limit - ZERO_CELSIUS_K for limit in self.temperature_range_k)
            found.append(
                (f"air {format_number(low, 1)} to {format_number(high, 1)} °C", self.temperature_source)
            )
        if self.pressure_range_kpa:
            low, high = self.pressure_range_kpa
            found.append((f"{self.pressure_kind} pressure {low:g} to {high:g} kPa", self.pressure_source))
        if self.factor_range:
            low, high = self.factor_range
            found.append((f"factor {low:g} to {high:g}", self.factor_source))
        return tuple(found)

    def factor(self, temperature_c: float, pressure_kpa: float) -> float:
        """Compute the factor for this air, inside the ranges or not.

        Parameters
        ----------
        temperature_c, pressure_kpa : float
            Air temperature [°C] and the pressure of ``pressure_kind`` [kPa].

        Returns
        -------
        float
            What observed power and torque are multiplied by [1].

        Notes
        -----
        gain · (p_ref/p)^a · (T/T_ref)^b - (gain - 1), as published in ``source``.
        """
        reference_k = self.reference_temperature_c + ZERO_CELSIUS_K
        by_pressure = (self.reference_pressure_kpa / pressure_kpa) ** self.pressure_exponent
        by_temperature = ((temperature_c + ZERO_CELSIUS_K) / reference_k) ** self.temperature_exponent
        return self.gain * by_pressure * by_temperature - (self.gain - 1)


_EEC_FORMULA = "(99 kPa / dry pressure)^1.2 × (T / 298.15 K)^0.6"
_EEC_SOURCE = "exponents as quoted from 80/1269/EEC, ISO 1585 and UN R85 Annex 5 in secondary sources"

STANDARDS: dict[str, Standard] = {
    "eu_134_2014": Standard(
        name="EU 134/2014",
        edition="Delegated Regulation (EU) No 134/2014, Annex X, Appendix 2.2, as adopted",
        scope="Vehicles of category L, motorcycles among them; this factor for spark ignition.",
        reference_temperature_c=25.0,
        reference_pressure_kpa=99.0,
        pressure_kind="dry",
        formula=_EEC_FORMULA,
        pressure_exponent=1.2,
        temperature_exponent=0.6,
        temperature_range_k=(283.2, 318.2),
        factor_range=(0.93, 1.07),
        range_is_closed=False,
        temperature_source="the regulation, Appendix 2.2, point 3.2.3.1",
        source=f"reference air from the regulation; {_EEC_SOURCE}",
        note=(
            "It applies to power at the crankshaft. A run on a roller includes the losses of "
            "the drive and gives power at the wheel."
        ),
    ),
    "iso_1585": Standard(
        name="ISO 1585",
        edition="1992",
        scope="Road vehicles; its scope leaves motorcycles out. For them there is ISO 4106.",
        reference_temperature_c=25.0,
        reference_pressure_kpa=99.0,
        pressure_kind="dry",
        formula=_EEC_FORMULA,
        pressure_exponent=1.2,
        temperature_exponent=0.6,
        temperature_range_k=(288.0, 308.0),
        pressure_range_kpa=(80.0, 110.0),
        factor_range=(0.93, 1.07),
        source=_EEC_SOURCE,
        note="The same factor as EU 134/2014. The text of ISO 4106 was not available, so it is not offered.",
    ),
    "un_r85": Standard(
        name="UN R85",
        edition="Regulation No. 85, Annex 5, with Supplement 7",
        scope="Vehicles of categories M and N, so no motorcycles.",
        reference_temperature_c=25.0,
        reference_pressure_kpa=99.0,
        pressure_kind="dry",
        formula=_EEC_FORMULA,
        pressure_exponent=1.2,
        temperature_exponent=0.6,
        temperature_range_k=(288.0, 308.0),
        pressure_range_kpa=(90.0, 110.0),
        factor_range=(0.93, 1.07),
        source=_EEC_SOURCE,
        note="The same factor as EU 134/2014. Engines that control their boost pressure are not corrected.",
    ),
    "sae_j1349": Standard(
        name="SAE J1349",
        edition="June 1990",
        scope="Net power of spark-ignition and compression-ignition engines; this factor for spark ignition.",
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
        source="formula as quoted in public",
        note=(
            "Assumes a mechanical efficiency of 85 %. Later editions differ. SAE's notice of revision calls "
            "the factors for compression ignition no longer appropriate."
        ),
    ),
    "sae_j607": Standard(
        name="SAE J607",
        edition="withdrawn in 1988",
        scope="Small engines, by a trade page; the plain ratio, often called STD.",
        reference_temperature_c=(60 - 32) / 1.8,
        reference_pressure_kpa=29.92 * 3.386389,
        pressure_kind="dry",
        formula="(29.92 inHg / dry pressure) × √(T / 519.67 °R)",
        pressure_exponent=1.0,
        temperature_exponent=0.5,
        source="60 °F and 29.92 inHg dry, as quoted in trade discussions",
        note="Reads about 4 % above SAE J1349 in the same air. No limits are known.",
    ),
    "din_70020": Standard(
        name="DIN 70020",
        edition="square-root form, edition not known",
        scope="Motor vehicles, from memory.",
        reference_temperature_c=20.0,
        reference_pressure_kpa=101.325,
        pressure_kind="total",
        formula="(1013.25 hPa / total pressure) × √(T / 293.15 K)",
        pressure_exponent=1.0,
        temperature_exponent=0.5,
        source="as quoted in secondary sources, printed with 1013 and 293",
        note="Uses the barometer reading including water vapour. No limits are known.",
    ),
}


def correction_blocker(induction: str, ignition: str) -> str | None:
    """Say why the observed power of an engine is not corrected.

    Parameters
    ----------
    induction, ignition : str
        Values of `Induction` and `Ignition`.

    Returns
    -------
    str or None
        A sentence; None if a factor of `STANDARDS` may be used.

    Notes
    -----
    EU 134/2014 has rules of its own for compression ignition [1]_; UN R85 corrects no charged engine that
    makes up for the air by itself, because that would correct twice [2]_.
    """
    if ignition == Ignition.COMPRESSION:
        return _(
            "Compression ignition: the factors here are for spark ignition. A factor for compression "
            "ignition needs the fuel per stroke, which is not recorded. Power is uncorrected."
        )
    if induction == Induction.CONSTANT_BOOST:
        return _(
            "The engine controls its boost pressure and so already compensates for the air. Power is "
            "uncorrected, as in UN R85 with Supplement 7."
        )
    return None


@dataclass(frozen=True)
class AirCorrection:
    """A correction factor with the limits of its standard that the air passes.

    Attributes
    ----------
    factor : float
        What observed power and torque are multiplied by [1].
    standard : Standard
    passed_limits : tuple of str
        A sentence for each limit that is passed.
    """

    factor: float
    standard: Standard
    passed_limits: tuple[str, ...]


def correct(standard_id: str, air: Air) -> AirCorrection:
    """Compute the factor that takes power and torque to the reference air of a standard.

    Parameters
    ----------
    standard_id : str
        A key of `STANDARDS`.
    air : Air
        The air the engine breathed.

    Returns
    -------
    AirCorrection
        The factor [1] is never clamped to a limit; what is passed is in sentences.

    Raises
    ------
    ValueError
        The standard is unknown, or it takes dry pressure and no moisture was measured.

    Notes
    -----
    `Standard.factor`; each standard names its source.
    """
    if standard_id not in STANDARDS:
        raise ValueError(f"'{standard_id}' is not a correction standard this program knows.")
    standard = STANDARDS[standard_id]
    pressure = air.pressure_kpa if standard.pressure_kind == "total" else air.dry_pressure_kpa
    if math.isnan(pressure):
        raise ValueError(
            _("%(standard)s needs the air humidity. None was entered.") % {"standard": standard.name}
        )
    factor = standard.factor(air.temperature_c, pressure)
    return AirCorrection(factor, standard, _passed_limits(standard, air, pressure, factor))


def uncorrect(standard_id: str, air: Air) -> float:
    """Compute what removes a correction to a standard.

    Parameters
    ----------
    standard_id : str
        A key of `STANDARDS`.
    air : Air
        The air that the value was corrected for.

    Returns
    -------
    float
        What a corrected value is multiplied by to be as observed [1].

    Raises
    ------
    ValueError
        As `correct`.

    Notes
    -----
    1 / factor; each standard names its source.
    """
    return 1 / correct(standard_id, air).factor


def _passed_limits(standard: Standard, air: Air, pressure_kpa: float, factor: float) -> tuple[str, ...]:
    temperature_k = air.temperature_c + ZERO_CELSIUS_K
    sentences = []
    limits = standard.temperature_range_k
    if limits and _is_outside(temperature_k, limits, standard.range_is_closed):
        low, high = (limit - ZERO_CELSIUS_K for limit in limits)
        text = _("The air was at %(value)s °C; %(standard)s covers %(low)s to %(high)s °C.")
        value, low_c, high_c = (format_number(t, 1) for t in (air.temperature_c, low, high))
        sentences.append(text % {"value": value, "standard": standard.name, "low": low_c, "high": high_c})
    limits = standard.pressure_range_kpa
    if limits and _is_outside(pressure_kpa, limits):
        low, high = limits
        text = (
            _("The dry pressure was %(value)s kPa; %(standard)s covers %(low)s to %(high)s kPa.")
            if standard.pressure_kind == "dry"
            else _("The total pressure was %(value)s kPa; %(standard)s covers %(low)s to %(high)s kPa.")
        )
        ends = {"low": format_digits(low), "high": format_digits(high)}
        sentences.append(text % {"value": format_number(pressure_kpa, 1), "standard": standard.name, **ends})
    limits = standard.factor_range
    if limits and _is_outside(factor, limits):
        low, high = limits
        text = _(
            "The factor %(value)s is outside the %(low)s to %(high)s allowed by %(standard)s. State "
            "the test temperature and pressure with the result."
        )
        ends = {"low": format_digits(low), "high": format_digits(high)}
        sentences.append(text % {"value": format_number(factor, 3), "standard": standard.name, **ends})
    return tuple(sentences)


def _is_outside(value: float, limits: Limits, range_is_closed: bool = True) -> bool:
    # A limit met exactly must not be lost to binary rounding (20 + 273.15 is not quite 293.15).
    slack = 1e-9 if range_is_closed else -1e-9
    return not limits[0] - slack <= value <= limits[1] + slack
