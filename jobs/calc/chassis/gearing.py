"""Gears, tyres and rollers: road speed by engine speed, and how fast a tyre may be driven.

References
----------
.. [1] Speed symbols of UN R30, UN R75 and ISO 4223-1, as reprinted in tyre dealers' tables.
.. [2] Rolling circumference of a radial tyre of about 3.05 diameters: from memory of ETRTO and UN R30.
   Wear, pressure and lean move it by several percent, so a measured ratio goes before a computed one.
"""

import math
import re
from dataclasses import dataclass

from jobs.calc.units.factors import convert
from jobs.calc.units.numbers import FloatOrArray, match_input_type, require_positive

ROLLING_DIAMETERS = 3.05  # [2]_
MM_PER_MIN_PER_KMH = 1e6 / 60

SPEED_SYMBOLS_KMH = {  # [1]_; H stands between U and V
    "B": 50,
    "C": 60,
    "D": 65,
    "E": 70,
    "F": 80,
    "G": 90,
    "J": 100,
    "K": 110,
    "L": 120,
    "M": 130,
    "N": 140,
    "P": 150,
    "Q": 160,
    "R": 170,
    "S": 180,
    "T": 190,
    "U": 200,
    "H": 210,
    "V": 240,
    "W": 270,
    "Y": 300,
}
Z_SPEED_KMH = 240  # Z or ZR in the size: above this; how far, the symbol behind it or the maker says

_SIZE = re.compile(
    r"(?P<width>\d{2,3}(?:\.\d)?) ?/ ?(?P<aspect>\d{2,3}) ?(?P<construction>[A-Z]?[RB])?[ -]*"
    r"(?P<rim>\d{2}(?:\.\d)?)(?!\d)"
)
_SYMBOL = re.compile(r"\(?\s*\d{2,3}\s*(?P<symbol>[A-Z])\s*\)?")


@dataclass(frozen=True)
class TyreSize:
    """A metric tyre size such as 190/50ZR17 (73W)."""

    width_mm: float
    aspect_pct: float
    rim_in: float
    speed_symbol: str | None = None
    open_ended: bool = False  # the symbol in brackets: made for more than its speed

    def __post_init__(self) -> None:
        for what, value in (("width", self.width_mm), ("height", self.aspect_pct), ("rim", self.rim_in)):
            require_positive(f"{what} in the tyre size", value)

    @property
    def diameter_mm(self) -> float:
        return convert(self.rim_in, "in", "mm") + 2 * self.width_mm * self.aspect_pct / 100

    @property
    def circumference_mm(self) -> float:
        """Of the tyre as drawn, without load."""
        return math.pi * self.diameter_mm

    @property
    def rolling_circumference_mm(self) -> float:
        """Way of one turn on the road, of a radial tyre [2]_."""
        return ROLLING_DIAMETERS * self.diameter_mm


def parse_tyre_size(text: str) -> TyreSize:
    """Read a tyre size: ``'190/50ZR17'``, ``'120/70 ZR 17 M/C (58W)'``, ``'130/80-18 65H'``.

    Raises
    ------
    ValueError
        The text is no metric tyre size.
    """
    plain = " ".join(text.upper().replace("M/C", " ").split())
    found = _SIZE.search(plain)
    if not found:
        raise ValueError(f"'{text}' is not a metric tyre size; write it as on the tyre: 190/50ZR17.")
    width, aspect, rim = (float(found[name]) for name in ("width", "aspect", "rim"))
    index = _SYMBOL.search(plain, found.end())
    construction = found["construction"] or ""
    in_size = construction[0] if len(construction) == 2 else None  # the letter before R or B
    symbol = index["symbol"] if index else in_size
    bracketed = bool(index) and "(" in plain[found.end() :]
    return TyreSize(width, aspect, rim, symbol, bracketed)


def symbol_speed_kmh(symbol: str) -> int:
    """The speed [km/h] that a symbol stands for, at the rated load and pressure [1]_.

    Raises
    ------
    ValueError
        The symbol is unknown, or is Z, which has no upper end.
    """
    letter = symbol.strip().strip("()").upper()
    if letter == "Z":
        raise ValueError(f"Z only says above {Z_SPEED_KMH} km/h; ask the tyre's maker how far.")
    if letter not in SPEED_SYMBOLS_KMH:
        raise ValueError(f"'{symbol}' is not a tyre speed symbol.")
    return SPEED_SYMBOLS_KMH[letter]


def tyre_ok(symbol: str, drum_speed_kmh: float) -> bool:
    """Whether a roller speed [km/h] stays within a tyre's speed symbol, its own speed included.

    Z counts as 240 km/h, as no more is promised. A roller bends a tyre more than a road does.

    Raises
    ------
    ValueError
        The symbol is unknown.
    """
    letter = symbol.strip().strip("()").upper()
    limit = Z_SPEED_KMH if letter == "Z" else symbol_speed_kmh(letter)
    return drum_speed_kmh <= limit + 1e-9


def overall_ratio(primary: float, gear: float, final: float) -> float:
    """Turns of the crank for one of the wheel.

    Raises
    ------
    ValueError
        A ratio is not above zero.
    """
    for what, ratio in (("primary", primary), ("gear", gear), ("final", final)):
        require_positive(f"{what} ratio", ratio)
    return primary * gear * final


def final_ratio(front_teeth: int, rear_teeth: int) -> float:
    """Turns of the front sprocket for one of the rear.

    Raises
    ------
    ValueError
        A number of teeth is not above zero.
    """
    require_positive("number of teeth in front", front_teeth)
    require_positive("number of teeth at the rear", rear_teeth)
    return rear_teeth / front_teeth


def wheel_speed_rpm(engine_speed_rpm: FloatOrArray, ratio: float) -> FloatOrArray:
    """Speed of the wheel [1/min] from that of the crank; float or array.

    Raises
    ------
    ValueError
        The overall ratio is not above zero.
    """
    require_positive("overall ratio", ratio)
    return match_input_type(engine_speed_rpm, engine_speed_rpm / ratio)


def road_speed_kmh(engine_speed_rpm: FloatOrArray, ratio: float, circumference_mm: float) -> FloatOrArray:
    """Road speed [km/h] from engine speed [1/min], float or array; no slip, clutch shut.

    Raises
    ------
    ValueError
        The overall ratio or the circumference is not above zero.
    """
    require_positive("circumference of the tyre", circumference_mm, "mm")
    wheel = wheel_speed_rpm(engine_speed_rpm, ratio)
    return match_input_type(engine_speed_rpm, wheel * circumference_mm / MM_PER_MIN_PER_KMH)


def engine_speed_rpm(speed_kmh: FloatOrArray, ratio: float, circumference_mm: float) -> FloatOrArray:
    """Engine speed [1/min] at a road speed [km/h]: the inverse of :func:`road_speed_kmh`.

    Raises
    ------
    ValueError
        The overall ratio or the circumference is not above zero.
    """
    require_positive("overall ratio", ratio)
    require_positive("circumference of the tyre", circumference_mm, "mm")
    return match_input_type(speed_kmh, speed_kmh * MM_PER_MIN_PER_KMH / circumference_mm * ratio)


def drum_speed_kmh(drum_speed_rpm: FloatOrArray, radius_m: float) -> FloatOrArray:
    """Speed of a roller's surface [km/h] from its turns [1/min], float or array.

    Raises
    ------
    ValueError
        The radius is not above zero.
    """
    require_positive("radius of the roller", radius_m, "m")
    circumference_mm = 2 * math.pi * convert(radius_m, "m", "mm")
    return match_input_type(drum_speed_rpm, drum_speed_rpm * circumference_mm / MM_PER_MIN_PER_KMH)
