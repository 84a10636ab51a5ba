"""Gears and tyres: road speed by engine speed, and how fast a tyre may be driven.

References
----------
.. [1] Speed symbols of UN R30, UN R75 and ISO 4223-1, as reprinted in tyre dealers' tables.
.. [2] Rolling circumference of a radial tyre of about 3.05 diameters: from memory of ETRTO and UN R30. Wear,
   pressure and lean move it by several percent, so a measured ratio takes precedence.
"""

import re
from dataclasses import dataclass

from jobs.calc.units.factors import convert
from jobs.calc.units.numbers import FloatOrArray, match_input_type, require_positive

ROLLING_DIAMETERS = 3.05  # [2]_
MM_PER_MIN_PER_KMH = 1e6 / 60

SPEED_SYMBOLS_KMH = {  # [1]_; H is between U and V
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
# Z or ZR in the size means above this; the symbol behind it or the manufacturer gives the limit.
Z_SPEED_KMH = 240

_SIZE = re.compile(
    r"(?P<width>\d{2,3}(?:\.\d)?) ?/ ?(?P<aspect>\d{2,3}) ?(?P<construction>[A-Z]?[RB])?[ -]*"
    r"(?P<rim>\d{2}(?:\.\d)?)(?!\d)"
)
_SYMBOL = re.compile(r"(?P<bracket>\(?)\s*\d{2,3}\s*(?P<symbol>[A-Z])\s*\)?")


@dataclass(frozen=True)
class TyreSize:
    """A metric tyre size such as 190/50ZR17 (73W).

    Attributes
    ----------
    width_mm, aspect_pct, rim_in : float
        Width [mm], height [% of the width] and rim diameter [in].
    speed_symbol : str or None
        A letter of `SPEED_SYMBOLS_KMH` or Z.
    is_open_ended : bool
        The symbol is in brackets, or is Z: the tyre is meant for more than its speed, and its manufacturer
        says for how much [1]_.

    Raises
    ------
    ValueError
        A dimension is not above zero.
    """

    width_mm: float
    aspect_pct: float
    rim_in: float
    speed_symbol: str | None = None
    is_open_ended: bool = False

    def __post_init__(self) -> None:
        for what, value in (("width", self.width_mm), ("height", self.aspect_pct), ("rim", self.rim_in)):
            require_positive(f"{what} in the tyre size", value)

    @property
    def diameter_mm(self) -> float:
        """Diameter of the tyre as drawn, without load [mm]."""
        return convert(self.rim_in, "in", "mm") + 2 * self.width_mm * self.aspect_pct / 100

    @property
    def rolling_circumference_mm(self) -> float:
        """Distance rolled in one turn by a radial tyre [mm] [2]_."""
        return ROLLING_DIAMETERS * self.diameter_mm


def parse_tyre_size(text: str) -> TyreSize:
    """Parse a tyre size as it is written on the tyre.

    Parameters
    ----------
    text : str
        ``'190/50ZR17'``, ``'120/70 ZR 17 M/C (58W)'``, ``'130/80-18 65H'``.

    Returns
    -------
    TyreSize
        Width [mm], height [%] and rim [in].

    Raises
    ------
    ValueError
        The text is not a metric tyre size.

    Notes
    -----
    Width/height, construction and rim, then load index and speed symbol [1]_.
    """
    plain = " ".join(text.upper().replace("M/C", " ").split())
    found = _SIZE.search(plain)
    if not found:
        raise ValueError(
            f"“{text}” is not a metric tyre size. Enter it as on the tyre, for example 190/50ZR17."
        )
    width, aspect, rim = (float(found[name]) for name in ("width", "aspect", "rim"))
    index = _SYMBOL.search(plain, found.end())
    construction = found["construction"] or ""
    in_size = construction[0] if len(construction) == 2 else None  # the letter before R or B
    symbol = index["symbol"] if index else in_size
    return TyreSize(width, aspect, rim, symbol, symbol == "Z" or bool(index and index["bracket"]))


def symbol_speed_kmh(symbol: str) -> int:
    """Look up the speed of a tyre speed symbol.

    Parameters
    ----------
    symbol : str
        A letter, in brackets or not.

    Returns
    -------
    int
        Speed at the rated load and pressure [km/h].

    Raises
    ------
    ValueError
        The symbol is unknown, or is Z, which has no upper end.

    Notes
    -----
    A table, no equation [1]_.
    """
    letter = symbol.strip().strip("()").upper()
    if letter == "Z":
        raise ValueError(f"Z only means above {Z_SPEED_KMH} km/h. Ask the tyre manufacturer how far.")
    if letter not in SPEED_SYMBOLS_KMH:
        raise ValueError(f"'{symbol}' is not a tyre speed symbol.")
    return SPEED_SYMBOLS_KMH[letter]


def tyre_allows_speed(symbol: str, roller_speed_kmh: float) -> bool:
    """Check a roller speed against a tyre's speed symbol.

    Parameters
    ----------
    symbol : str
        A letter, in brackets or not.
    roller_speed_kmh : float
        Surface speed of the roller [km/h].

    Returns
    -------
    bool
        True up to the symbol's own speed.

    Raises
    ------
    ValueError
        The symbol is unknown.

    Notes
    -----
    v <= v_symbol [1]_. Z counts as 240 km/h, as no more is promised. A roller bends a tyre more than a road
    does, so True is no approval of a long run.
    """
    letter = symbol.strip().strip("()").upper()
    limit = Z_SPEED_KMH if letter == "Z" else symbol_speed_kmh(letter)
    return roller_speed_kmh <= limit + 1e-9


def overall_ratio(primary: float, gear: float, final: float) -> float:
    """Compute the turns of the crank for one of the wheel.

    Parameters
    ----------
    primary, gear, final : float
        Ratios in line, input over output speed [1].

    Returns
    -------
    float
        Overall ratio [1].

    Raises
    ------
    ValueError
        A ratio is not above zero.

    Notes
    -----
    primary · gear · final, from the definition of a ratio.
    """
    for what, ratio in (("primary", primary), ("gear", gear), ("final", final)):
        require_positive(f"{what} ratio", ratio)
    return primary * gear * final


def final_ratio(front_teeth: int, rear_teeth: int) -> float:
    """Compute the turns of the front sprocket for one of the rear.

    Parameters
    ----------
    front_teeth, rear_teeth : int
        Numbers of teeth [1].

    Returns
    -------
    float
        Final ratio [1].

    Raises
    ------
    ValueError
        A number of teeth is not above zero.

    Notes
    -----
    rear / front: a chain passes the same number of teeth of both.
    """
    require_positive("number of teeth in front", front_teeth)
    require_positive("number of teeth at the rear", rear_teeth)
    return rear_teeth / front_teeth


def road_speed_kmh(engine_speed_rpm: FloatOrArray, ratio: float, circumference_mm: float) -> FloatOrArray:
    """Compute the road speed at an engine speed, without slip and with the clutch engaged.

    Parameters
    ----------
    engine_speed_rpm : float or array
        Of any shape [1/min]; NaN stays NaN.
    ratio : float
        Overall ratio [1], see `overall_ratio`.
    circumference_mm : float
        Rolling circumference of the tyre [mm].

    Returns
    -------
    float or array
        Road speed [km/h], of the shape of ``engine_speed_rpm``.

    Raises
    ------
    ValueError
        The overall ratio or the circumference is not above zero.

    Notes
    -----
    n / i · C · 60 / 10⁶: kinematics of rolling, any mechanics text.
    """
    require_positive("circumference of the tyre", circumference_mm, "mm")
    require_positive("overall ratio", ratio)
    return match_input_type(
        engine_speed_rpm, engine_speed_rpm / ratio * circumference_mm / MM_PER_MIN_PER_KMH
    )


def engine_speed_rpm(speed_kmh: FloatOrArray, ratio: float, circumference_mm: float) -> FloatOrArray:
    """Compute the engine speed at a road speed, without slip and with the clutch engaged.

    Parameters
    ----------
    speed_kmh : float or array
        Road speed of any shape [km/h]; NaN stays NaN.
    ratio : float
        Overall ratio [1], see `overall_ratio`.
    circumference_mm : float
        Rolling circumference of the tyre [mm].

    Returns
    -------
    float or array
        Engine speed [1/min], of the shape of ``speed_kmh``.

    Raises
    ------
    ValueError
        The overall ratio or the circumference is not above zero.

    Notes
    -----
    v · 10⁶ / 60 / C · i, the inverse of `road_speed_kmh`: kinematics of rolling, any mechanics text.
    """
    require_positive("overall ratio", ratio)
    require_positive("circumference of the tyre", circumference_mm, "mm")
    return match_input_type(speed_kmh, speed_kmh * MM_PER_MIN_PER_KMH / circumference_mm * ratio)
