"""What a file says about the correction of its figures for the air."""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.channels import mentions_correction
from jobs.calc.run_file.layout import FileLayoutSpec
from jobs.calc.statistics import FloatArray
from jobs.calc.units.factors import convert, get_unit, identify_unit

# A factor outside is no correction for the air of an engine. Rule of thumb, no published source.
LOWEST_FACTOR, HIGHEST_FACTOR = 0.7, 1.4
NO_CORRECTION = 0.0005  # a factor this near to 1 corrects nothing
CONSTANT_SHARE = 0.002  # a column of factors varies by less, else it is something else
MAX_LINE_LENGTH = 200
MAX_QUOTE_LENGTH = 80

_FACTOR = re.compile(r"(?<![\d.,])([01][.,]\d{2,6})(?![\d.,]*\d)")
_CORRECTION = re.compile(r"\b(?:corr\w*|korr\w*|korek\w*|gecorr\w*|cf|c\.f\.)(?!\w)")
# 'SAE' alone may be the grade of an oil.
_POWER_BY_STANDARD = re.compile(
    r"\b(?:sae|din|iso|std|ece|eec)\b.*\b(?:power|hp|ps|kw|torque|leistung|puissance|potencia|potenza)\b|"
    r"\b(?:power|hp|ps|kw|torque|leistung|puissance|potencia|potenza)\b.*\b(?:sae|din|iso|std|ece|eec)\b"
)
# Corrections of something else, and words that speak of the factor's absence.
_OTHER = re.compile(
    r"\b(?:fuel|kraftstoff|lambda|afr|speed|rpm|time|wheel|tyre|tire|reifen|inertia|loss\w*|calibrat\w*|"
    r"smooth\w*|temperature|sensor|ignition)\b"
)
_NOT_CORRECTED = re.compile(
    r"\b(?:uncorrected|not corrected|no correction|without correction|unkorrigiert|ohne korrektur|"
    r"non corrige\w*|sans correction|sin corregir|non corrett\w*|niet gecorrigeerd)\b|"
    r"\bcorrection\W+(?:none|off|no)\b|\bkorrektur\W+(?:keine|aus|nein)\b"
)
# Names of the standards that this program knows; a bare 'SAE' or 'ISO' may be several.
_STANDARDS = (
    ("sae_j1349", re.compile(r"\bj ?1349\b")),
    ("sae_j607", re.compile(r"\bj ?607\b")),
    ("din_70020", re.compile(r"\bdin ?70 ?020\b")),
    ("iso_1585", re.compile(r"\biso ?1585\b")),
    ("un_r85", re.compile(r"\b(?:ece|un)[ -]?r ?85\b")),
    ("eu_134_2014", re.compile(r"\b134/2014\b")),
)
_FACTOR_COLUMN = re.compile(
    r"\b(?:correction factor|corr factor|cf|korrekturfaktor|facteur de correction|factor de correccion|"
    r"fattore di correzione|correctiefactor)\b"
)


# The air that was measured with the run: a figure with its unit, beside a word that says whose it is.
_AIR_FIGURE = re.compile(r"(-?\d+(?:[.,]\d+)?) ?(° ?c|° ?f|deg ?c|deg ?f|hpa|mbar|kpa|inhg|mmhg|%)(?![a-z])")
_AIR_WORDS = re.compile(
    r"air|ambi|room|luft|raum|umgebung|aria|aire|lucht|powietrz|weather|wetter|baro|humid|feucht"
)
_NOT_THE_AIR = re.compile(r"oil|coolant|water|engine|exhaust|tyre|tire|boost|fuel|kuhl|motor|reifen|abgas")
_AIR_LIMITS = {
    "temperature_c": ("temperature", "c", -40.0, 60.0),
    "pressure_kpa": ("pressure", "kpa", 50.0, 115.0),
    "humidity_pct": ("share", "pct", 0.0, 100.0),
}


@dataclass(frozen=True)
class StatedCorrection:
    """What a file says about the correction of its power and torque.

    Attributes
    ----------
    standard : str
        Key of `jobs.calc.dyno.air.STANDARDS`; empty if the file names none of them.
    factor : float or None
        The factor that it states [1].
    evidence : tuple of str
        Where it says that its figures are corrected: 'line 4 says ...', 'column 3 is named ...'.
    temperature_c, pressure_kpa, humidity_pct : float or None
        The air that the lines above the header state [°C], [kPa], [%].
    """

    standard: str = ""
    factor: float | None = None
    evidence: tuple[str, ...] = ()
    temperature_c: float | None = None
    pressure_kpa: float | None = None
    humidity_pct: float | None = None


NOTHING_STATED = StatedCorrection()


def find_stated_correction(
    above: Sequence[str], layout: FileLayoutSpec, columns: Sequence[FloatArray]
) -> StatedCorrection:
    """Find a standard or factor above the header, in the names of power and torque, or in a column.

    Parameters
    ----------
    above : sequence of str
        The lines above the header, the first line first.
    layout : FileLayoutSpec
    columns : sequence of array, (n,)
        The figures of each column, by position; may be empty.

    Returns
    -------
    StatedCorrection
        Without evidence if the file says nothing, says that it is not corrected, or states a factor of 1.
    """
    standard, factor, evidence = "", None, []
    air = _stated_air(above)
    for number, line in enumerate(above, start=1):
        plain = _plain(line)
        if len(line) > MAX_LINE_LENGTH or _NOT_CORRECTED.search(plain):
            continue
        named = next((key for key, pattern in _STANDARDS if pattern.search(plain)), "")
        stated = _factor_in(plain)
        if named or _CORRECTION.search(plain) or _POWER_BY_STANDARD.search(plain):
            if _OTHER.search(plain) and not named:
                continue
            if stated is not None and abs(stated - 1) < NO_CORRECTION:
                return air
            standard, factor = standard or named, stated if factor is None else factor
            evidence.append(f"line {number} says '{_quoted(line)}'")
    for column in layout.columns:
        if column.channel in ("power_kw", "torque_nm") and mentions_correction(column.name):
            plain = _plain(column.name)
            standard = standard or next((key for key, pattern in _STANDARDS if pattern.search(plain)), "")
            evidence.append(f"column {column.position + 1} is named '{_quoted(column.name)}'")
        elif column.channel is None and _FACTOR_COLUMN.search(_plain(column.name)):
            constant = _constant(columns, column.position)
            if constant is not None and abs(constant - 1) >= NO_CORRECTION:
                factor = constant if factor is None else factor
                evidence.append(
                    f"column {column.position + 1}, '{_quoted(column.name)}', holds {constant:.4g}"
                )
    return replace(air, standard=standard, factor=factor, evidence=tuple(evidence))


def _stated_air(above: Sequence[str]) -> StatedCorrection:
    """Find the first temperature, pressure and humidity of the air in the lines above the header."""
    air: dict[str, float] = {}
    for line in above:
        plain = _plain(line)
        if len(line) > MAX_LINE_LENGTH or _NOT_THE_AIR.search(plain) or not _AIR_WORDS.search(plain):
            continue
        for found in _AIR_FIGURE.finditer(plain):
            unit_id = identify_unit(found[2])
            for name, (quantity, unit, low, high) in _AIR_LIMITS.items():
                if unit_id is None or get_unit(unit_id).quantity != quantity or name in air:
                    continue
                value = convert(float(found[1].replace(",", ".")), unit_id, unit)
                if low <= value <= high:
                    air[name] = round(value, 4)
    return StatedCorrection(
        temperature_c=air.get("temperature_c"),
        pressure_kpa=air.get("pressure_kpa"),
        humidity_pct=air.get("humidity_pct"),
    )


def _plain(text: str) -> str:
    """Return a text without case, accents and punctuation but marks of numbers; underscores part words."""
    plain = unicodedata.normalize("NFD", text.replace("_", " ").casefold())
    return " ".join("".join(sign for sign in plain if not unicodedata.combining(sign)).split())


def _quoted(text: str) -> str:
    plain = " ".join(text.replace('"', "").split()).strip(" ;,#")
    return plain if len(plain) <= MAX_QUOTE_LENGTH else plain[: MAX_QUOTE_LENGTH - 1] + "…"


def _factor_in(plain: str) -> float | None:
    patterns = (_CORRECTION, _POWER_BY_STANDARD, *(pattern for _, pattern in _STANDARDS))
    words = [word.start() for pattern in patterns if (word := pattern.search(plain))]
    for found in _FACTOR.finditer(plain, min(words, default=len(plain))):
        value = float(found[1].replace(",", "."))
        if LOWEST_FACTOR <= value <= HIGHEST_FACTOR:
            return value
    return None


def _constant(columns: Sequence[FloatArray], position: int) -> float | None:
    values = columns[position] if position < len(columns) else np.array([])
    measured = values[np.isfinite(values)]
    if not measured.size or float(np.ptp(measured)) > CONSTANT_SHARE:
        return None
    value = float(np.median(measured))
    return value if LOWEST_FACTOR <= value <= HIGHEST_FACTOR else None
