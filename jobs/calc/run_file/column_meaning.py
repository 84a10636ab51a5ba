"""What each column of a file is likely to be: its channel, its unit, and how sure that is."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.channels import CHANNELS, Channel, implied_unit, match_channels, mentions_correction
from jobs.calc.run_file.layout import TIME_FORMS, Column
from jobs.calc.statistics import FloatArray
from jobs.calc.units.factors import FACTORS, convert, get_unit, identify_unit

TYPICAL_AFR = 14.7  # petrol, for judging whether figures are believable; memory: usual gauge scale

_IN_BRACKETS = re.compile(r"\s*[\[({<]([^\[\](){}<>]+|[^\[\]]+)[\])}>]")
_SEPARATOR = re.compile(r"\s+in\s+|[\s_/,;:|-]+")
# Read as names or as 'minimum' and 'in' more often than as units
_NO_UNIT_AT_THE_END = frozenset(["min", "in", "max", "h", "k"])
# How large the pressure of the air is in each unit, for a column that does not name its own
AIR_PRESSURES = (("psi", 10, 20), ("inhg", 20, 35), ("kpa", 50, 115), ("hpa", 800, 1150), ("mmhg", 450, 800))
# A unit alone that is also what people call the quantity
_FROM_UNIT_ALONE = {
    "engine_speed": "engine_speed_rpm",
    "power": "power_kw",
    "torque": "torque_nm",
    "speed": "road_speed_kmh",
    "mixture": "lambda",
}


@dataclass(frozen=True, order=True)
class Suggestion:
    """What one column may be; of several the first is the likeliest."""

    channel: str
    unit: str | None
    confidence: float


def split_unit(header: str) -> tuple[str, str]:
    """A header's name and unit: ``'Leistung [kW]'``, ``'n / 1/min'``, ``'power_kw'``, ``'Speed, km/h'``."""
    header = header.strip()
    for match in reversed(list(_IN_BRACKETS.finditer(header))):
        if match.group().lstrip()[0] == "[" or identify_unit(match[1]) is not None:
            name = (header[: match.start()] + header[match.end() :]).strip()
            return (name, match[1].strip()) if name else (header, match[1].strip())
    if len(header) > 1 and identify_unit(header) is not None:
        return header, header
    for match in _SEPARATOR.finditer(header):
        tail, name = header[match.end() :].strip(), header[: match.start()].strip()
        if name and _is_unit_at_the_end(tail, match.group()):
            return header, tail
    return header, ""


def _is_unit_at_the_end(tail: str, separator: str) -> bool:
    if (
        not tail
        or tail.casefold() in _NO_UNIT_AT_THE_END
        or tail[-1] in ")]}"
        or identify_unit(tail) in (None, "one")
    ):
        return False
    # 'power_kw' and 'n / s' are written on purpose; in 'phase A V' a lone letter may be anything
    return len(tail) > 1 or not tail.isalpha() or not separator.isspace()


def suggestions(
    name: str, unit_text: str, values: FloatArray, form: str | None = None
) -> tuple[Suggestion, ...]:
    """What a column may be, the likeliest first.

    Parameters
    ----------
    name, unit_text : str
    values : array, (n,)
        Some of its figures, as they stand in the file; may be empty.
    form : str, optional
        'clock' or 'date_time' where its cells are times of that kind.
    """
    found = [
        suggestion
        for channel_id, (share, phrase) in match_channels(name).items()
        if (suggestion := _suggestion(CHANNELS[channel_id], share, phrase, name, unit_text, values, form))
        is not None
    ]
    found.sort(key=lambda suggestion: -suggestion.confidence)
    if not found and (alone := _from_unit_alone(unit_text)) is not None:
        found = [alone]
    words = {
        suggestion.channel: match_channels(name).get(suggestion.channel, (1.0, ""))[0] for suggestion in found
    }
    alike = [channel for channel, share in words.items() if share > max(words.values()) - 0.1]
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
    stated = "" if unit_text == name else unit_text  # a name that is a unit: 'RPM' over thousands of them
    given = identify_unit(stated, channel.quantity) if stated else None
    if given is not None and get_unit(given).quantity != channel.quantity:
        return None
    if given is not None:
        unit_id, sure = given, 1.0
    else:
        unit_id, sure = _likely_unit(channel, phrase, values)
        sure *= 0.8 if stated else 1.0
    if mentions_correction(name):
        sure *= 0.85
    if unit_id == "afr":  # nothing is known before the fuel is
        sure *= 0.85
    if share_believable(channel, to_channel_unit(values, channel, unit_id)) < 0.95:
        sure *= 0.5
    return Suggestion(channel.id, unit_id, round(share * sure, 3))


def _from_unit_alone(unit_text: str) -> Suggestion | None:
    given = identify_unit(unit_text) if unit_text else None
    channel = _FROM_UNIT_ALONE.get(FACTORS[given].quantity) if given else None
    return Suggestion(channel, given, 0.5) if channel else None


def _likely_unit(channel: Channel, phrase: str, values: FloatArray) -> tuple[str, float]:
    """The unit of a column that states none, by its name and the size of its figures."""
    finite = values[np.isfinite(values)]
    typical = float(np.median(np.abs(finite))) if len(finite) else 0.0
    largest = float(np.max(np.abs(finite))) if len(finite) else 0.0
    named = implied_unit(channel, phrase)
    match channel.quantity:
        case "engine_speed":
            return ("krpm", 0.6) if 0.3 < largest < 30 else ("rpm", 0.97 if named else 0.92)
        case "mixture":
            return _likely_mixture(named, typical)
        case "share":
            return ("fraction", 0.7) if 0 < largest <= 1.1 else ("pct", 0.95)
        case "time":
            return _likely_time(channel, finite)
        case "pressure":
            likely = (unit_id for unit_id, low, high in AIR_PRESSURES if low < typical < high)
            return next(((unit_id, 0.75) for unit_id in likely), (channel.unit, 0.5))
        case "none" | "angle":
            return channel.unit, 0.96
    return (named, 0.97) if named else (channel.unit, 0.6)


def _likely_mixture(named: str | None, typical: float) -> tuple[str, float]:
    looks_like = "afr" if 5 < typical < 25 else "lambda"
    if named is None:
        return looks_like, 0.7
    # A phi is as large as a lambda; the name alone tells them apart.
    if (named == "afr") == (looks_like == "afr") or typical == 0:
        return named, 0.97
    return looks_like, 0.6


def _likely_time(channel: Channel, finite: FloatArray) -> tuple[str, float]:
    if channel.unit == "ms":
        return "ms", 0.9
    steps = np.diff(finite)
    steps = steps[steps > 0]
    step = float(np.median(steps)) if len(steps) else 0.0
    if step >= 1 and bool(np.all(finite == np.round(finite))):
        return "ms", 0.7
    return "s", 0.95 if 0 < step < 1 else 0.7


def to_channel_unit(
    values: FloatArray, channel: Channel, unit_id: str | None, stoichiometric_afr: float | None = None
) -> FloatArray:
    """A column's figures in its channel's unit.

    Parameters
    ----------
    values : array, (n,)
        As in the file; clock times and dates already in seconds.
    unit_id : str or None
        None is taken as the channel's own unit.
    stoichiometric_afr : float, optional
        For air-fuel ratios; petrol where not given.
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


def share_believable(channel: Channel, values: FloatArray) -> float:
    """The share of the measured figures that lie in the channel's believable range; 1 for none measured."""
    finite = values[np.isfinite(values)]
    if channel.quantity == "time" or not len(finite):
        return 1.0
    return float(np.mean((finite >= channel.low) & (finite <= channel.high)))


def without_rivals(
    columns: Sequence[Column], alternatives: Sequence[Sequence[Suggestion]]
) -> tuple[Column, ...]:
    """Each channel for one column only: the surest. Where another is as sure, it is sure no more.

    A column that has to give way takes what else it may be, if nobody else is that.
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
            )
        elif suggestion.confidence > confidence - 0.1:
            settled[holder] = replace(settled[holder], confidence=round(0.6 * confidence, 3))
    return tuple(settled.get(column.position, column) for column in columns)
