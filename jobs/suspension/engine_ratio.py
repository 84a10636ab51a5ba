"""Engine speed per km/h in a gear, computed from sprockets and tyre."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.calc.chassis import gearing
from jobs.calc.units.numbers import format_digits
from jobs.models import Job, SuspensionSetting
from jobs.suspension.gearing import rear_tyre, sprockets_used


@dataclass(frozen=True)
class Gearing:
    """Engine speed over road speed in one gear [1/min per km/h], with its source."""

    rpm_per_kmh: float
    source: str


def computed_gearing(job: Job, gear: int, settings: Sequence[SuspensionSetting] | None = None) -> Gearing:
    """Return the ratio from primary, gear, the latest sprockets and the rear tyre.

    ``settings`` are those of the job if they are read already.

    Raises
    ------
    ValueError
        A value is not entered; the message lists what is missing and where to enter it.
    """
    spec = job.bike.engine_spec
    primary = spec.primary_ratio if spec else None
    ratio = spec.gear_ratios[gear - 1] if spec and len(spec.gear_ratios) >= gear else None
    pairs = sprockets_used(job.bike, list(job.suspension_settings.all()) if settings is None else settings)
    tyre = rear_tyre(job.bike)
    if not (primary and ratio and pairs and tyre):
        needed = {
            "the primary ratio (engine)": primary,
            f"the ratio of gear {gear} (engine)": ratio,
            "the teeth of both sprockets (bike or settings)": pairs,
            "the rear tyre's size (bike)": tyre,
        }
        missing = ", ".join(label for label, value in needed.items() if not value)
        raise ValueError(f"Missing: {missing}. Runs with road speed in this gear can be used instead.")
    overall = gearing.overall_ratio(primary, ratio, gearing.final_ratio(*pairs[-1]))
    source = _(
        "computed from primary %(primary)s, gear %(gear)s %(ratio)s, sprockets %(front)s/%(rear)s "
        "and the rear tyre size; wear, pressure and slip change it by a few percent"
    ) % {
        "primary": format_digits(primary),
        "gear": gear,
        "ratio": format_digits(ratio),
        "front": pairs[-1][0],
        "rear": pairs[-1][1],
    }
    return Gearing(gearing.engine_speed_rpm(1.0, overall, tyre.rolling_circumference_mm), source)
