"""Units of measurement: exact factors, and the spellings that file headers use.

Values inside the program are in SI or metric units, with the unit in the name. Only this module converts.

References
----------
.. [1] NIST Special Publication 811 (2008), Appendix B: pound, pound-force, psi, horsepower,
   conventional inch and millimetre of mercury.
.. [2] International yard and pound agreement, 1959: 1 ft = 0.3048 m, 1 lb = 0.45359237 kg.
"""

import math
import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

STANDARD_GRAVITY = Fraction("9.80665")  # m/s²
FOOT_M = Fraction("0.3048")
MILE_M = 5280 * FOOT_M
POUND_KG = Fraction("0.45359237")
POUND_FORCE_N = POUND_KG * STANDARD_GRAVITY
INCH_OF_MERCURY_PA = Fraction("3386.389")  # conventional, not the mercury column at a temperature
MILLIMETRE_OF_MERCURY_PA = Fraction("133.322387415")  # conventional


@dataclass(frozen=True)
class Unit:
    """One unit of a quantity.

    Attributes
    ----------
    quantity : str
        What it measures; units of one quantity convert into each other.
    label : str
        As people read it.
    scale, offset : Fraction
        value [base unit] = value [unit] · scale + offset.
    """

    quantity: str
    label: str
    scale: Fraction = Fraction(1)
    offset: Fraction = Fraction(0)


FACTORS: dict[str, Unit] = {
    # power, base W
    "w": Unit("power", "W"),
    "kw": Unit("power", "kW", Fraction(1000)),
    "hp": Unit("power", "hp", 550 * FOOT_M * POUND_FORCE_N),  # mechanical: 550 ft·lbf/s
    "ps": Unit("power", "PS", 75 * STANDARD_GRAVITY),  # metric: 75 kgf·m/s
    # torque, base N·m
    "nm": Unit("torque", "N·m"),
    "danm": Unit("torque", "daN·m", Fraction(10)),
    "knm": Unit("torque", "kN·m", Fraction(1000)),
    "lbf_ft": Unit("torque", "lbf·ft", FOOT_M * POUND_FORCE_N),
    "kgf_m": Unit("torque", "kgf·m", STANDARD_GRAVITY),
    # pressure from vacuum (absolute), base Pa
    "pa": Unit("pressure", "Pa"),
    "hpa": Unit("pressure", "hPa", Fraction(100)),
    "mbar": Unit("pressure", "mbar", Fraction(100)),
    "kpa": Unit("pressure", "kPa", Fraction(1000)),
    "bar": Unit("pressure", "bar", Fraction(100_000)),
    "atm": Unit("pressure", "atm", Fraction(101_325)),
    "inhg": Unit("pressure", "inHg", INCH_OF_MERCURY_PA),
    "mmhg": Unit("pressure", "mmHg", MILLIMETRE_OF_MERCURY_PA),
    "psi": Unit("pressure", "psi", POUND_FORCE_N / (FOOT_M / 12) ** 2),
    # pressure over the air outside (gauge), base Pa: no factor leads to the absolute one without a barometer
    "kpag": Unit("gauge_pressure", "kPa gauge", Fraction(1000)),
    "mbarg": Unit("gauge_pressure", "mbar gauge", Fraction(100)),
    "barg": Unit("gauge_pressure", "bar gauge", Fraction(100_000)),
    "psig": Unit("gauge_pressure", "psi gauge", POUND_FORCE_N / (FOOT_M / 12) ** 2),
    # temperature, base K
    "k": Unit("temperature", "K"),
    "c": Unit("temperature", "°C", Fraction(1), Fraction("273.15")),
    "f": Unit("temperature", "°F", Fraction(5, 9), Fraction("459.67") * Fraction(5, 9)),
    # length and distance, base m
    "mm": Unit("length", "mm", Fraction(1, 1000)),
    "m": Unit("length", "m"),
    "km": Unit("length", "km", Fraction(1000)),
    "thou": Unit("length", "thou", FOOT_M / 12_000),
    "in": Unit("length", "in", FOOT_M / 12),
    "ft": Unit("length", "ft", FOOT_M),
    "mi": Unit("length", "mi", MILE_M),
    # speed, base m/s
    "mps": Unit("speed", "m/s"),
    "kmh": Unit("speed", "km/h", Fraction(1000, 3600)),
    "mph": Unit("speed", "mph", MILE_M / 3600),
    # mass, base kg
    "kg": Unit("mass", "kg"),
    "lb": Unit("mass", "lb", POUND_KG),
    # mass flow, base g/s
    "g_per_s": Unit("mass_flow", "g/s"),
    "kg_per_h": Unit("mass_flow", "kg/h", Fraction(1000, 3600)),
    "kg_per_s": Unit("mass_flow", "kg/s", Fraction(1000)),
    "lb_per_min": Unit("mass_flow", "lb/min", 1000 * POUND_KG / 60),
    # spring rate, base N/mm
    "n_per_mm": Unit("spring_rate", "N/mm"),
    "kgf_per_mm": Unit("spring_rate", "kgf/mm", STANDARD_GRAVITY),
    "lbf_per_in": Unit("spring_rate", "lbf/in", POUND_FORCE_N / (1000 * FOOT_M / 12)),
    # speed of rotation, base 1/min
    "rpm": Unit("engine_speed", "rpm"),
    "krpm": Unit("engine_speed", "1000 rpm", Fraction(1000)),
    "rps": Unit("engine_speed", "1/s", Fraction(60)),
    "rad_per_s": Unit("engine_speed", "rad/s", Fraction(30 / math.pi)),
    # openings and other shares, base %
    "pct": Unit("share", "%"),
    "fraction": Unit("share", "0–1", Fraction(100)),
    # time, base s
    "s": Unit("time", "s"),
    "ms": Unit("time", "ms", Fraction(1, 1000)),
    "us": Unit("time", "µs", Fraction(1, 1_000_000)),
    "min": Unit("time", "min", Fraction(60)),
    "h": Unit("time", "h", Fraction(3600)),
    # angle, base degree
    "deg": Unit("angle", "°"),
    # sensor voltage, base V
    "v": Unit("voltage", "V"),
    "mv": Unit("voltage", "mV", Fraction(1, 1000)),
    # Mixture: no factor leads from one of these to another. An air-fuel ratio needs the fuel,
    # and phi is the reciprocal of lambda.
    "lambda": Unit("mixture", "λ"),
    "afr": Unit("mixture", "AFR"),
    "phi": Unit("mixture", "φ"),
    # for a header that states that there is no unit
    "one": Unit("none", "–"),
}

# Spellings in file headers, in several languages: lower case, without spaces, brackets and product marks.
# The id of a unit is understood too.
SPELLINGS: dict[str, str] = {
    "w": "watt watts",
    "kw": "kilowatt kilowatts",
    "hp": "bhp whp rwhp hp(i) hp(uk) horsepower mechanicalhp hpmechanical",
    "ps": "pk cv ch hk le hp(m) hpm metrichp hpmetric metrichorsepower л.с лс",
    "nm": "n*m newtonmeter newtonmeters newtonmetre newtonmetres",
    "danm": "dan*m",
    "knm": "kn*m kilonewtonmeter kilonewtonmetre",
    "lbf_ft": "lbft lbsft ftlb ftlbs lbfft ftlbf lbffeet footpound footpounds poundfoot poundfeet",
    "kgf_m": "kgfm kgm mkgf mkg mkp kpm",
    "pa": "pascal",
    "hpa": "hektopascal hectopascal",
    "mbar": "mb millibar",
    "kpa": "kilopascal kpaa kpaabs kpa(a) kpa(abs) kpaabsolute",
    "bar": "bara barabs bar(a) bar(abs) barabsolute",
    "inhg": '"hg inchhg inchesofmercury',
    "mmhg": "torr",
    "psi": "psia psiabs psi(a) psi(abs) psiabsolute lbf/in2 lb/in2",
    "kpag": "kpag kpa(g) kpagauge kpa(gauge) kpagage kparel kpa(rel)",
    "mbarg": "mbarg mbar(g) mbargauge mbar(gauge) mbarrel mbar(rel)",
    "barg": "barg bar(g) bargauge bar(gauge) bargage barrel bar(rel) barü bar(ü)",
    "psig": "psig psi(g) psigauge psi(gauge) psigage",
    "k": "kelvin degk",
    "c": "degc deg.c celsius degcelsius degreesc degreescelsius gradc gradcelsius",
    "f": "degf deg.f fahrenheit degfahrenheit degreesf degreesfahrenheit",
    "mm": "millimeter millimetre",
    "m": "meter meters metre metres",
    "km": "kilometer kilometre kilometers kilometres",
    "thou": "mil mils 0.001in thousandths",
    "in": 'inch inches " zoll',
    "ft": "feet foot '",
    "mi": "mile miles",
    "mps": "m/s m/sec meter/s",
    "kmh": "km/h km/hr kph kmph",
    "mph": "mi/h mile/h miles/h",
    "kg": "kilogram kilograms",
    "lb": "lbs lbm pound pounds",
    "g_per_s": "g/s g_s g/sec gram/s grams/s gps",
    "kg_per_h": "kg/h kg/hr",
    "kg_per_s": "kg/s",
    "lb_per_min": "lb/min lbs/min",
    "n_per_mm": "n/mm",
    "kgf_per_mm": "kgf/mm kg/mm kp/mm",
    "lbf_per_in": "lbf/in lb/in lbs/in lbf/inch lb/inch",
    "rpm": (
        "1/min /min u/min min-1 min^-1 tr/min t/min r/min rev/min revs/min giri/min omw/min obr/min ot/min "
        "varv/min об/мин umin upm revolutions/min rpms"
    ),
    "krpm": (
        "rpmx1000 rpm*1000 rpm(x1000) rpm(*1000) 1000rpm x1000rpm *1000rpm x1000 *1000 rpm/1000 1000/min "
        "x1000/min krev/min 1000r/min x1000r/min 1/minx1000 tr/minx1000 u/minx1000 min-1x1000"
    ),
    "rps": "1/s rev/s r/s hz",
    "rad_per_s": "rad/s rad/sec",
    "pct": "% percent prozent procent %open %(0-100) 0-100 0..100 0-100%",
    "fraction": "0-1 0..1 0to1",
    "s": "sec secs second seconds sek sekunden sekunde",
    "ms": "msec msecs millisecond milliseconds",
    "us": "μs usec microsecond microseconds",
    "min": "mins minute minutes minuten",
    "h": "hr hrs hour hours std",
    "deg": "° degree degrees degbtdc °btdc °crank degcrank °ca degca °kw",
    "v": "volt volts vdc",
    "mv": "millivolt millivolts",
    "lambda": "λ lam lambda(1)",
    "afr": "a/f airfuel air/fuel afratio air/fuelratio :1",
    "phi": "φ ϕ eqratio equivalenceratio",
    "one": "- 1 none nounit dimensionless",
}

# Spellings that mean another unit if the quantity is known.
SPELLINGS_BY_QUANTITY: dict[tuple[str, str], str] = {
    ("power", "km"): "ps",  # Polish 'koń mechaniczny', where no kilometre can be meant
    ("power", "k"): "ps",  # Czech 'koňská síla'
    ("power", "h"): "hp",
    ("temperature", "°"): "c",
    ("temperature", "deg"): "c",
    ("temperature", "grad"): "c",
    ("gauge_pressure", "kpa"): "kpag",
    ("gauge_pressure", "hpa"): "mbarg",
    ("gauge_pressure", "mbar"): "mbarg",
    ("gauge_pressure", "bar"): "barg",
    ("gauge_pressure", "psi"): "psig",
    ("share", "1"): "fraction",
    ("share", "-"): "fraction",
    ("mixture", "1"): "lambda",
    ("mixture", "-"): "lambda",
}

_ABSOLUTE = re.compile(r"(?:kpa|mbar|bar|psi)\(?(?:a|abs|absolute)\)?")

_BRACKETS = "()[]{}<>|"
_PRODUCT_MARKS = re.compile(r"[·⋅•*._\-\s]")
_LOOK_ALIKES = str.maketrans({"º": "°", "˚": "°", "−": "-", "–": "-", "×": "x", "″": '"', "′": "'"})


def get_unit(unit_id: str) -> Unit:
    """Look up a unit.

    Parameters
    ----------
    unit_id : str
        Key of `FACTORS`.

    Returns
    -------
    Unit

    Raises
    ------
    ValueError
        The id is unknown.
    """
    try:
        return FACTORS[unit_id]
    except KeyError:
        raise ValueError(f"'{unit_id}' is not a unit this program knows.") from None


@cache
def _conversion(from_unit: str, to_unit: str) -> tuple[float, float]:
    """Return slope and intercept of the conversion, each rounded once."""
    source, goal = get_unit(from_unit), get_unit(to_unit)
    if source.quantity != goal.quantity:
        raise ValueError(
            f"{source.label} measures {source.quantity.replace('_', ' ')} and {goal.label} "
            f"{goal.quantity.replace('_', ' ')}: one cannot be turned into the other."
        )
    if source.quantity == "mixture" and source != goal:
        raise ValueError(f"{source.label} to {goal.label} is no plain factor: it goes by way of the fuel.")
    return float(source.scale / goal.scale), float((source.offset - goal.offset) / goal.scale)


@overload
def convert(value: float, from_unit: str, to_unit: str) -> float: ...
@overload
def convert(value: NDArray[Any], from_unit: str, to_unit: str) -> NDArray[np.float64]: ...
def convert(value: float | NDArray[Any], from_unit: str, to_unit: str) -> float | NDArray[np.float64]:
    """Convert a value into another unit of the same quantity.

    Parameters
    ----------
    value : float or array
        In ``from_unit``, of any shape; NaN stays NaN.
    from_unit, to_unit : str
        Keys of `FACTORS`.

    Returns
    -------
    float or array
        In ``to_unit``, of the shape of ``value``. Temperatures are temperatures, not differences.

    Raises
    ------
    ValueError
        A unit is unknown, the two measure different quantities, or they are different measures of mixture.

    Notes
    -----
    (value · scale₁ + offset₁ − offset₂) / scale₂, with the exact factors of [1]_ and [2]_.
    """
    slope, intercept = _conversion(from_unit, to_unit)
    if isinstance(value, np.ndarray):
        return value.astype(np.float64) * slope + intercept
    return float(value) * slope + intercept


@cache
def _unit_by_spelling() -> dict[str, str]:
    table = {unit_id: unit_id for unit_id in FACTORS}
    for unit_id, spellings in SPELLINGS.items():
        for spelling in spellings.split():
            table[spelling] = unit_id
            table.setdefault(_PRODUCT_MARKS.sub("", spelling), unit_id)
    table.pop("", None)
    return table


def identify_unit(text: str, quantity: str | None = None) -> str | None:
    """Identify the unit that a file header names.

    Parameters
    ----------
    text : str
        As it is in the file: '[N·m]', 'lb-ft', '°C', 'rpm x1000'. Case, spaces, brackets around it and
        product marks make no difference.
    quantity : str, optional
        What is measured, if known, for spellings that depend on it: 'KM' is a metric horsepower in a Polish
        power column and a kilometre elsewhere.

    Returns
    -------
    str or None
        Key of `FACTORS`; None if it is no unit.
    """
    plain = _normalise(text)
    if quantity and (quantity, plain) in SPELLINGS_BY_QUANTITY:
        return SPELLINGS_BY_QUANTITY[quantity, plain]
    table = _unit_by_spelling()
    for key in (plain, plain.rstrip("."), plain.lstrip("°"), _PRODUCT_MARKS.sub("", plain)):
        if key in table:
            return table[key]
    return None


def _normalise(text: str) -> str:
    plain = unicodedata.normalize("NFKC", text.translate(_LOOK_ALIKES)).translate(_LOOK_ALIKES).casefold()
    # A degree sign in UTF-8 reads as 'â°' in a Windows code page.
    plain = plain.replace("â°", "°").replace("\ufffdc", "°c").replace("\ufffdf", "°f")
    plain = "".join(plain.split())
    if not _balanced(plain):
        plain = plain.strip(_BRACKETS)
    while len(plain) > 1 and plain[0] in "([{<|" and plain[-1] in ")]}>|":
        plain = plain[1:-1]
    return plain


def is_absolute_spelling(text: str) -> bool:
    """Return True if the spelling of a pressure unit says that it counts from vacuum.

    Parameters
    ----------
    text : str
        As it is in the file: 'psia', 'bar (abs)', 'kPaA'.

    Returns
    -------
    bool
        False for 'psi' alone, which leaves it open, and for gauge units.
    """
    return _ABSOLUTE.fullmatch(_normalise(text)) is not None


def _balanced(text: str) -> bool:
    return all(text.count(a) == text.count(b) for a, b in ("()", "[]", "{}"))
