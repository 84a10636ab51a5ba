"""Suspension and settings: what was set, what was read, and how they moved from as found to as left."""

from typing import Any

from jobs.models import SuspensionSetting

ENDS = ("front", "rear")

# What a hand sets; the sag readings follow from it.
SET_BY_HAND = (
    "front_preload",
    "front_compression",
    "front_rebound",
    "front_rate_n_per_mm",
    "front_oil",
    "front_height",
    "front_pressure_kpa",
    "rear_preload",
    "rear_compression",
    "rear_rebound",
    "rear_rate_n_per_mm",
    "rear_height",
    "rear_pressure_kpa",
    "front_sprocket",
    "rear_sprocket",
)


def name_of(field: str) -> str:
    return str(SuspensionSetting._meta.get_field(field).verbose_name)


def told(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def changed_settings(before: SuspensionSetting | None, after: SuspensionSetting) -> list[str]:
    """What was set otherwise than before, in words; a setting that nobody read before is named too."""
    changed = []
    for field in SET_BY_HAND:
        was, now = getattr(before, field, None), getattr(after, field)
        if now in ("", None) or now == was:
            continue
        came_from = "not read before" if was in ("", None) else f"{told(was)} before"
        changed.append(f"{name_of(field)} {told(now)} ({came_from})")
    return changed
