"""The likely channel and unit of each column, and how certain they are.

The confidences and ranges are rules of thumb, no published source; they decide only when a person is asked.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.channels import (
    CHANNELS,
    MAX_NAME_LENGTH,
    OTHER_REFERENCE,
    Channel,
    match_channels,
    mentions_correction,
    stated_reference,
)
from jobs.calc.run_file.layout import TIME_FORMS, Column
from jobs.calc.statistics import FloatArray
from jobs.calc.units.factors import FACTORS, convert, get_unit, identify_unit, is_absolute_spelling

# Petrol, until the fuel is stated. Rule of thumb, no published source: the usual scale of gauges.
TYPICAL_AFR = 14.7

# Whole numbers in larger steps are milliseconds; in smaller ones they may be seconds. Rule of thumb.
MIN_STEP_MS = 5
# Share of the figures that are plausible if channel and unit are right. Rule of thumb.
MIN_PLAUSIBLE = 0.95

_IN_BRACKETS = re.compile(r"\s*[\[({<]([^\[\](){}<>]+|[^\[\]]+)[\])}>]")
_SEPARATOR = re.compile(r"\s+in\s+|[\s_/,;:|-]+")
# At the end of a name these are words more often than units.
_NOT_A_TRAILING_UNIT = frozenset(["min", "in", "max", "h", "k"])
# Usual range of a pressure in each unit, for a column that states none: of the barometer its typical value,
# of the others their largest. Rules of thumb, no published source.
AIR_PRESSURES = (("psi", 10, 20), ("inhg", 20, 35), ("kpa", 50, 115), ("hpa", 800, 1150), ("mmhg", 450, 800))
MANIFOLD_PRESSURES = (("bar", 0.1, 4), ("psi", 4, 18), ("kpa", 18, 400), ("mbar", 400, 4000))
GAUGE_PRESSURES = (("barg", 0.1, 12), ("psig", 12, 150), ("kpag", 150, 1500))
# A boost that falls below the first counts from the air outside, one that stays above the second from
# vacuum [kPa]. Rule of thumb, no published source.
GAUGE_BELOW_KPA, ABSOLUTE_ABOVE_KPA = 30.0, 60.0
# Quantities that people call by their unit.
_CHANNEL_BY_UNIT = {
    "engine_speed": "engine_speed_rpm",
    "power": "power_kw",
    "torque": "torque_nm",
    "speed": "road_speed_kmh",
    "mixture": "lambda",
}


@dataclass(frozen=True, order=True)
class Suggestion:
    """A channel and unit that one column may be.

    Attributes
    ----------
    channel, unit : str
        Keys of `CHANNELS` and `FACTORS`; the unit may also be 'clock' or 'date_time'.
    confidence : float
        0 to 1 [1] that both are right.
    unit_confidence : float
        0 to 1 [1] that the unit is right if the channel is.
    """

    channel: str
    unit: str | None
    confidence: float
    unit_confidence: float = 1.0


def split_unit(header: str) -> tuple[str, str]:
    """Split a header into name and unit.

    Parameters
    ----------
    header : str
        For example 'Leistung [kW]', 'n / 1/min', 'power_kw' or 'Speed, km/h'.

    Returns
    -------
    name, unit_text : str
        The unit text is empty if there is none. Only a unit in brackets is taken off the name.
    """
    header = header.strip()
    if len(header) > MAX_NAME_LENGTH:
        return header, ""
    for match in reversed(list(_IN_BRACKETS.finditer(header))):
        if match.group().lstrip()[0] == "[" or identify_unit(match[1]) is not None:
            name = (header[: match.start()] + header[match.end() :]).strip()
            return (name, match[1].strip()) if name else (header, match[1].strip())
    if len(header) > 1 and identify_unit(header) is not None:
        return header, header
    for match in _SEPARATOR.finditer(header):
        tail, name = header[match.end() :].strip(), header[: match.start()].strip()
        if name and _is_trailing_unit(tail, match.group()):
            return header, tail
    return header, ""


def _is_trailing_unit(tail: str, separator: str) -> bool:
    if (
        not tail
        or tail.casefold() in _NOT_A_TRAILING_UNIT
        or tail[-1] in ")]}"
        or identify_unit(tail) in (None, "one")
    ):
        return False
    # 'power_kw' and 'n / s' are deliberate; in 'phase A V' a single letter may be anything.
    return len(tail) > 1 or not tail.isalpha() or not separator.isspace()


def suggest_channels(
    name: str, unit_text: str, values: FloatArray, form: str | None = None
) -> tuple[Suggestion, ...]:
    """Suggest what a column may be, most likely first.

    Parameters
    ----------
    name, unit_text : str
        From `split_unit`.
    values : array, (n,)
        Some of its figures, in the unit of the file; may be empty.
    form : str, optional
        'clock' or 'date_time' if its cells are times of that kind.

    Returns
    -------
    tuple of Suggestion
        Empty if the name and unit mean none of our channels.
    """
    shares = match_channels(name)
    found = [
        suggestion
        for channel_id, (share, phrase) in shares.items()
        if (suggestion := _suggestion(CHANNELS[channel_id], share, phrase, name, unit_text, values, form))
        is not None
    ]
    found.sort(key=lambda suggestion: -suggestion.confidence)
    if not found and (by_unit := _suggest_by_unit(unit_text)) is not None:
        found = [by_unit]
    by_name = {suggestion.channel: shares.get(suggestion.channel, (1.0, ""))[0] for suggestion in found}
    alike = [channel for channel, share in by_name.items() if share > max(by_name.values()) - 0.1]
    if len(alike) > 1:  # the name alone does not tell them apart
        found = [
            replace(s, confidence=round(0.7 * s.confidence, 3)) if s.channel in alike else s for s in found
        ]
    return tuple(found)


def _suggestion(
    channel: Channel,
    share: float,
    phrase: str,
    name: str,
    unit_text: str,
    values: FloatArray,
    form: str | None,
) -> Suggestion | None:
    if form is not None:
        return Suggestion(channel.id, form, share) if channel.quantity == "time" else None
    # A name that is a unit states none: 'RPM' may head thousands of revolutions.
    stated = "" if unit_text == name else unit_text
    channel, reference_sure = _by_reference(channel, phrase, name, stated, values)
    given = identify_unit(stated, channel.quantity) if stated else None
    if given is not None and get_unit(given).quantity != channel.quantity:
        return None
    if given is not None:
        unit_id, unit_sure = given, 1.0
    else:
        unit_id, unit_sure = _likely_unit(channel, phrase, values)
        unit_sure *= 0.8 if stated else 1.0
    sure = unit_sure * reference_sure
    if _plausible_share(channel, convert_to_channel_unit(values, channel, unit_id)) < MIN_PLAUSIBLE:
        sure *= 0.5
        unit_sure *= 0.5 if _has_plausible_unit(channel, values) else 1.0
    if mentions_correction(name):
        sure *= 0.85
    if unit_id == "afr":  # means nothing until the fuel is known
        sure *= 0.85
    return Suggestion(channel.id, unit_id, round(share * sure, 3), unit_sure)


def _has_plausible_unit(channel: Channel, values: FloatArray) -> bool:
    """Return True if the figures are plausible in another unit, so that the channel may be right."""
    return any(
        _plausible_share(channel, convert_to_channel_unit(values, channel, unit_id)) >= MIN_PLAUSIBLE
        for unit_id, unit in FACTORS.items()
        if unit.quantity == channel.quantity
    )


def _by_reference(
    channel: Channel, phrase: str, name: str, stated: str, values: FloatArray
) -> tuple[Channel, float]:
    """Tell a pressure from vacuum from one over the air outside, by unit, name and figures, in this order."""
    other = CHANNELS.get(OTHER_REFERENCE.get(channel.id, ""))
    if other is None or phrase == channel.id.replace("_", " "):
        return channel, 1.0
    given = identify_unit(stated) if stated else None
    reference = stated_reference(name)
    if given is not None and get_unit(given).quantity == "gauge_pressure":
        reference = "gauge"
    elif is_absolute_spelling(stated):
        reference = "absolute"
    if reference:
        wanted = "gauge_pressure" if reference == "gauge" else "pressure"
        return (channel if channel.quantity == wanted else other), 1.0
    plain = identify_unit(stated, channel.quantity) if stated else None
    finite = values[np.isfinite(values)]
    if plain is None or get_unit(plain).quantity != channel.quantity or not len(finite):
        return channel, 1.0
    lowest_kpa = float(np.min(convert(finite, plain, channel.unit)))
    if channel.quantity == "pressure":
        return (other, 0.75) if lowest_kpa < 0 else (channel, 1.0)
    if lowest_kpa > ABSOLUTE_ABOVE_KPA:
        return other, 0.75
    return channel, 1.0 if lowest_kpa < GAUGE_BELOW_KPA else 0.75


def _suggest_by_unit(unit_text: str) -> Suggestion | None:
    given = identify_unit(unit_text) if unit_text else None
    channel = _CHANNEL_BY_UNIT.get(FACTORS[given].quantity) if given else None
    return Suggestion(channel, given, 0.5) if channel else None


def _likely_unit(channel: Channel, phrase: str, values: FloatArray) -> tuple[str, float]:
    """Guess the unit of a column that states none from its name and the size of its figures."""
    finite = values[np.isfinite(values)]
    typical = float(np.median(np.abs(finite))) if len(finite) else 0.0
    largest = float(np.max(np.abs(finite))) if len(finite) else 0.0
    named = channel.implied.get(phrase)
    match channel.quantity:
        case "engine_speed":
            return ("krpm", 0.6) if 0.3 < largest < 30 else ("rpm", 0.97 if named else 0.92)
        case "mixture":
            return _likely_mixture(named, typical)
        case "share":
            return ("fraction", 0.7) if 0 < largest <= 1.1 else ("pct", 0.95)
        case "time":
            return _likely_time(channel, finite)
        case "pressure" | "gauge_pressure":
            return _likely_pressure(channel, typical, largest)
        case "temperature":
            return ("f" if largest > channel.high else channel.unit), 0.6
        case "none" | "angle":
            return channel.unit, 0.96
    return (named, 0.97) if named else (channel.unit, 0.6)


def _likely_pressure(channel: Channel, typical: float, largest: float) -> tuple[str, float]:
    if channel.id == "barometric_pressure_kpa":
        likely = (unit_id for unit_id, low, high in AIR_PRESSURES if low < typical < high)
        return next(((unit_id, 0.75) for unit_id in likely), (channel.unit, 0.5))
    ranges = MANIFOLD_PRESSURES if channel.quantity == "pressure" else GAUGE_PRESSURES
    return next((unit_id for unit_id, low, high in ranges if low < largest <= high), channel.unit), 0.6


def _likely_mixture(named: str | None, typical: float) -> tuple[str, float]:
    looks_like = "afr" if 5 < typical < 25 else "lambda"
    if named is None:
        return looks_like, 0.7
    # Phi is as large as lambda, so only the name tells them apart.
    if (named == "afr") == (looks_like == "afr") or typical == 0:
        return named, 0.97
    return looks_like, 0.6


def _likely_time(channel: Channel, finite: FloatArray) -> tuple[str, float]:
    if channel.unit == "ms":
        return "ms", 0.9
    steps = np.diff(finite)
    steps = steps[steps > 0]
    step = float(np.median(steps)) if len(steps) else 0.0
    if step >= MIN_STEP_MS and bool(np.all(finite == np.round(finite))):
        return "ms", 0.7
    if 0 < step < 1:
        return "s", 0.95
    return "s", 0.6 if step else 0.7


def convert_to_channel_unit(
    values: FloatArray, channel: Channel, unit_id: str | None, stoichiometric_afr: float | None = None
) -> FloatArray:
    """Convert the figures of a column into its channel's unit.

    Parameters
    ----------
    values : array, (n,)
        In the unit of the file; clock times and dates already in seconds [s]. NaN stays NaN.
    channel : Channel
    unit_id : str or None
        None means the channel's own unit.
    stoichiometric_afr : float, optional
        Air-fuel ratio of the file's lambda 1 [kg/kg]; petrol, `TYPICAL_AFR`, by default.

    Returns
    -------
    array, (n,)

    Raises
    ------
    ValueError
        The unit is unknown or of another quantity.

    Notes
    -----
    lambda = AFR / AFR_stoich and lambda = 1 / phi by definition, no further source; other units by
    `jobs.calc.units.factors.convert`. A phi of zero becomes NaN.
    """
    if unit_id is None or unit_id == channel.unit or unit_id in TIME_FORMS:
        return values
    if unit_id == "afr":
        return values / (stoichiometric_afr or TYPICAL_AFR)
    if unit_id == "phi":
        with np.errstate(divide="ignore"):
            inverse = 1.0 / values
        return np.where(np.isfinite(inverse), inverse, np.nan)
    return convert(values, unit_id, channel.unit)


def _plausible_share(channel: Channel, values: FloatArray) -> float:
    """Return the share of measured figures in the channel's plausible range; 1 if none is measured."""
    finite = values[np.isfinite(values)]
    if channel.quantity == "time" or not len(finite):
        return 1.0
    return float(np.mean((finite >= channel.low) & (finite <= channel.high)))


def assign_channels(
    columns: Sequence[Column], alternatives: Sequence[Sequence[Suggestion]]
) -> tuple[Column, ...]:
    """Give each channel to the column most certain of it.

    Parameters
    ----------
    columns : sequence of Column
        Without channels, in the order of the file.
    alternatives : sequence of sequence of Suggestion
        What each of them may be.

    Returns
    -------
    tuple of Column
        A column that loses its channel takes its next suggestion that is free. If two are about equally
        certain of a channel, the winner is no longer certain.
    """
    settled: dict[int, Column] = {}
    holders: dict[str, tuple[int, float]] = {}
    offers = sorted(
        (-suggestion.confidence, column.position, suggestion)
        for column in columns
        for suggestion in alternatives[column.position]
    )
    for _, position, suggestion in offers:
        if position in settled:
            continue
        holder, confidence = holders.setdefault(suggestion.channel, (position, suggestion.confidence))
        if holder == position:
            settled[position] = replace(
                columns[position],
                channel=suggestion.channel,
                unit=suggestion.unit,
                confidence=suggestion.confidence,
                unit_confidence=suggestion.unit_confidence,
            )
        elif suggestion.confidence > confidence - 0.1:
            settled[holder] = replace(settled[holder], confidence=round(0.6 * confidence, 3))
    return tuple(settled.get(column.position, column) for column in columns)
