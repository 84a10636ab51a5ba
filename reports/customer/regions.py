"""Where along the engine speed two sides of a comparison differ, from the facts of a sheet."""

from dataclasses import dataclass

from jobs.comparisons.facts import CurvesFacts, DifferenceFacts

MAX_GAP_RPM = 300  # stretches closer than that are one, about the smoothing of the curves


@dataclass
class Stretch:
    from_rpm: float
    to_rpm: float
    is_more: bool


def stretches(curves: CurvesFacts, difference: DifferenceFacts) -> list[Stretch]:
    """Return the stretches where the 95 % band excludes zero."""
    found: list[Stretch] = []
    for speed, low, high in zip(curves.engine_speed_rpm, difference.low, difference.high, strict=True):
        if low is None or high is None or low <= 0 <= high:
            continue
        if found and found[-1].is_more == (low > 0) and speed - found[-1].to_rpm <= MAX_GAP_RPM:
            found[-1].to_rpm = speed
        else:
            found.append(Stretch(speed, speed, low > 0))
    return found
