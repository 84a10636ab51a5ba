"""What kind of run a file holds, in which gear and with how much grip, by its channels and its name.

The limits are rules of thumb, no published source; what is proposed is shown and can be changed.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from jobs.calc.channels import tokenise
from jobs.calc.statistics import FloatArray

SWEEP, HELD, IDLE, COAST = "sweep", "held", "idle", "coast"

# Words of file names, without accents.
KIND_WORDS: dict[str, frozenset[str]] = {
    COAST: frozenset(tokenise("coast coastdown rundown ausrollen auslauf decelere deceleration loslassen")),
    IDLE: frozenset(tokenise("idle idling leerlauf ralenti minimo stationair tomgang")),
    HELD: frozenset(tokenise("held hold steady stationary konstant constant teillast maintenu costante")),
    SWEEP: frozenset(tokenise("sweep ramp pull volllast wot fullthrottle accel beschleunigung montee")),
}
KIND_NAMES = {SWEEP: "Sweep", HELD: "Held", IDLE: "Idle", COAST: "Coast-down"}
_GEAR_IN_NAME = re.compile(
    r"\b(?:gear|gang|marcia|marcha|rapport|bieg|g) ?(\d)\b|"
    r"\b(\d) ?(?:st|nd|rd|th)? ?(?:gear|gang|marcia|marcha)\b",
    re.IGNORECASE,
)
_GRIP_IN_NAME = re.compile(
    r"\b(?:held|hold|grip|gas|teillast|steady)\D?(\d{1,3})\b|\b(\d{1,3}) ?(?:%|pct)", re.IGNORECASE
)

IDLE_MAX_RPM, IDLE_SPREAD = 2500.0, 0.35
CLOSED_PCT = 5.0
OPEN_PCT = 85.0  # many sensors of a wide open throttle show less than 100
STEADY_PCT = 3.0
RISING_SHARE = 0.35  # of its top speed, that a sweep rises by
FALLING_SHARE = 0.9
COAST_LEFT = 0.7
MIN_SAMPLES = 20
WORKING_RPM, ROLLING_KMH = 1500.0, 15.0
SAME_GEAR = 0.08  # of the ratio that is computed for a gear


@dataclass(frozen=True)
class Proposal:
    """What a file seems to be.

    Attributes
    ----------
    kind : str
        'sweep', 'held', 'idle', 'coast'; empty if nothing tells.
    gear : int or None
    grip_pct : float or None
        Opening [%] that a held run was held at.
    """

    kind: str = ""
    gear: int | None = None
    grip_pct: float | None = None


def propose(
    channels: Mapping[str, FloatArray], name: str, ratios: Mapping[int, float] | None = None
) -> Proposal:
    """Propose kind, gear and grip of a run.

    Parameters
    ----------
    channels : mapping of str to array, (n,)
        As read; may be empty.
    name : str
        Of the file.
    ratios : mapping of int to float, optional
        Gear to engine speed over road speed [1/min per km/h].

    Returns
    -------
    Proposal
        The name goes first where it says something, then the channels.
    """
    plain = " ".join(tokenise(name.rsplit(".", 1)[0]))
    words = set(plain.split())
    kind = next((kind for kind, known in KIND_WORDS.items() if words & known), "") or _kind(channels)
    grip = _number(_GRIP_IN_NAME, plain, 100) if kind == HELD else None
    if kind == HELD and grip is None:
        grip = _steady_throttle(channels)
    gear = _number(_GEAR_IN_NAME, plain, 8)
    return Proposal(kind, int(gear) if gear else _gear(channels, ratios or {}), grip)


def propose_name(proposal: Proposal, file_name: str) -> str:
    """Propose the name of a run.

    Parameters
    ----------
    proposal : Proposal
    file_name : str

    Returns
    -------
    str
        Such as 'Held, 40 % grip, gear 4: base map'; of the file's name only the words that add something.
    """
    words = [
        KIND_NAMES.get(proposal.kind, ""),
        "" if proposal.grip_pct is None else f"{proposal.grip_pct:g} % grip",
        f"gear {proposal.gear}" if proposal.gear else "",
    ]
    plain = re.sub(r"[\s_.]+", " ", file_name.rsplit(".", 1)[0])
    for known in (_GRIP_IN_NAME, _GEAR_IN_NAME):
        plain = known.sub(" ", plain)
    rest = [word for word in re.split(r"[ -]+", plain) if word and not _repeats_kind(word)]
    return ": ".join(part for part in (", ".join(filter(None, words)), " ".join(rest)) if part)


def _repeats_kind(word: str) -> bool:
    return any(set(tokenise(word)) & known for known in KIND_WORDS.values())


def _number(pattern: re.Pattern[str], plain: str, highest: int) -> float | None:
    found = pattern.search(plain)
    number = next((int(group) for group in found.groups() if group), 0) if found else 0
    return float(number) if 0 < number <= highest else None


def _measured(channels: Mapping[str, FloatArray], *names: str) -> FloatArray:
    for name in names:
        if name in channels:
            values = channels[name][np.isfinite(channels[name])]
            if values.size >= MIN_SAMPLES:
                return values
    return np.array([])


def _kind(channels: Mapping[str, FloatArray]) -> str:
    engine = _measured(channels, "engine_speed_rpm")
    throttle = _measured(channels, "grip_pct", "plate_pct")
    if _is_coasting(channels, throttle):
        return COAST
    speed = engine if engine.size else _measured(channels, "roller_speed_rpm", "roller_speed_kmh")
    if not speed.size:
        return ""
    low, high = np.quantile(speed, [0.02, 0.98])
    shut = not throttle.size or np.quantile(throttle, 0.95) < CLOSED_PCT
    if engine.size and shut and high < IDLE_MAX_RPM and high - low < IDLE_SPREAD * high:
        return IDLE
    if throttle.size and (steady := _steady_throttle(channels)) is not None and steady < OPEN_PCT:
        return HELD
    if high - low > RISING_SHARE * high:
        return SWEEP
    return HELD if engine.size else ""


def _is_coasting(channels: Mapping[str, FloatArray], throttle: FloatArray) -> bool:
    """Return True if the roller or the road speed falls from the start, with nothing that drives it."""
    speed = _measured(channels, "roller_speed_rpm", "roller_speed_kmh", "road_speed_kmh")
    if not speed.size or (throttle.size and np.median(throttle) > CLOSED_PCT):
        return False
    driven = _measured(channels, "power_kw", "torque_nm")
    if not throttle.size and driven.size and np.median(driven) > 0:
        return False
    coarse = speed[:: max(1, speed.size // 50)]
    early = int(np.argmax(coarse)) <= 0.2 * coarse.size
    falling = np.mean(np.diff(coarse) <= 0) >= FALLING_SHARE if coarse.size > 1 else False
    return bool(early and falling and coarse[-1] < COAST_LEFT * coarse.max())


def _steady_throttle(channels: Mapping[str, FloatArray]) -> float | None:
    """Return the opening [%] at which the throttle stays for most of a run, or None if it does not."""
    throttle = _measured(channels, "grip_pct", "plate_pct")
    if not throttle.size:
        return None
    middle = float(np.median(throttle))
    near = np.mean(np.abs(throttle - middle) < STEADY_PCT)
    return round(middle) if near > 0.6 and middle > CLOSED_PCT else None


def _gear(channels: Mapping[str, FloatArray], ratios: Mapping[int, float]) -> int | None:
    shown = _measured(channels, "gear")
    if shown.size:
        gear = float(np.median(shown))
        constant = np.mean(shown == gear) > 0.9
        return int(gear) if constant and gear == int(gear) and 1 <= gear <= 8 else None
    ratio = measured_ratio(channels)
    if ratio is None or not ratios:
        return None
    gear = min(ratios, key=lambda number: abs(ratios[number] / ratio - 1))
    return gear if abs(ratios[gear] / ratio - 1) < SAME_GEAR else None


def measured_ratio(channels: Mapping[str, FloatArray]) -> float | None:
    """Compute the engine speed over the road speed of a run in one gear.

    Parameters
    ----------
    channels : mapping of str to array, (n,)

    Returns
    -------
    float or None
        Median ratio [1/min per km/h]; None without both speeds, or if they do not belong to one gear.
    """
    road = channels.get("road_speed_kmh", channels.get("roller_speed_kmh"))
    if road is None or "engine_speed_rpm" not in channels:
        return None
    engine = channels["engine_speed_rpm"]
    with np.errstate(invalid="ignore"):
        moving = (engine > WORKING_RPM) & (road > ROLLING_KMH)
    if np.count_nonzero(moving) < MIN_SAMPLES:
        return None
    ratio = engine[moving] / road[moving]
    middle = float(np.median(ratio))
    return middle if np.mean(np.abs(ratio / middle - 1) < SAME_GEAR) > 0.6 else None
