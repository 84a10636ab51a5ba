"""Whether the figures of a run's file were corrected for the air before they came here, and by what."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.core.exceptions import ValidationError

from jobs.calc.dyno.air import STANDARDS, Air
from jobs.calc.run_file import FileLayoutSpec, StatedCorrection
from jobs.calc.units.numbers import format_number
from jobs.models import Run
from jobs.runs.channel_files import load_channels
from workshop.models import ShopProfile
from workshop.units.shop_units import format_for_shop

OBSERVED, OTHER = "observed", "other"
CORRECTION_CHOICES = [
    ("", "not known"),
    (OBSERVED, "no, uncorrected"),
    *((key, f"yes, by {standard.name}") for key, standard in STANDARDS.items()),
    (OTHER, "yes, by another standard"),
]
CORRECTION_HELP = "This correction is removed first, so that no value is corrected twice."
FACTOR_HELP = "Enter it if the file states it. If not, it is calculated from the air data."
FACTOR_OF_OBSERVED = "Uncorrected values have no factor. Clear it, or choose the standard used."
FACTOR_OF_OTHER = "Enter the factor. There is no formula for other standards."
FACTOR_MISSING = "Enter the factor or the air data of the run, so that the correction can be removed."
AIR_CHANNELS = {
    "temperature_c": "ambient_temperature_c",
    "pressure_kpa": "barometric_pressure_kpa",
    "humidity_pct": "humidity_pct",
}
UNKNOWN = "not known"
SAME_FACTOR = 0.0005


@dataclass(frozen=True)
class FileCorrection:
    """What is known about the correction of a file's figures.

    ``in_doubt`` is True if the file says that it is corrected and nobody has said whether. ``state`` says it
    in a few words, ``sentence`` in full, with what to do.
    """

    state: str
    is_known: bool
    in_doubt: bool = False
    sentence: str = ""


def stated_in_report(report: dict[str, Any] | None) -> StatedCorrection | None:
    """Return what a file says about its correction, or None if it was read before that was looked for."""
    stored = (report or {}).get("stated_correction")
    if stored is None:
        return None
    return StatedCorrection(**{**stored, "evidence": tuple(stored["evidence"])})


def file_correction(run: Run) -> FileCorrection:
    """Return what is known about the correction of a run's file."""
    stated = stated_in_report(run.report)
    evidence = ", ".join(stated.evidence) if stated else ""
    if run.corrected_by == OBSERVED:
        doubt = (
            f"The run is entered as uncorrected, but {evidence}. Check which is correct." if evidence else ""
        )
        return FileCorrection("uncorrected", is_known=True, sentence=doubt)
    if run.corrected_by or run.file_factor:
        return FileCorrection(_taken_back(run), is_known=True, sentence=_other_factor(run, stated))
    if evidence:
        return FileCorrection(
            UNKNOWN,
            is_known=False,
            in_doubt=True,
            sentence=f"The values in the file may already be corrected: {evidence}. They are shown "
            "as in the file, without correction, until you edit the run and enter whether they "
            "are corrected.",
        )
    # The form of earlier versions offered "no, uncorrected" where today's says that it is not known.
    return FileCorrection("", is_known=True) if stated is None else FileCorrection(UNKNOWN, is_known=False)


def _taken_back(run: Run) -> str:
    standard = STANDARDS.get(run.corrected_by)
    by = f" by {standard.name}" if standard else ""
    factor = f", factor {run.file_factor:g}" if run.file_factor else ""
    return f"already corrected{by}{factor}; removed first"


def _other_factor(run: Run, stated: StatedCorrection | None) -> str:
    if not (run.file_factor and stated and stated.factor):
        return ""
    if abs(run.file_factor - stated.factor) < SAME_FACTOR:
        return ""
    return (
        f"The file states a factor of {stated.factor:g} ({', '.join(stated.evidence)}), and "
        f"{run.file_factor:g} was entered. Check which is correct."
    )


def factor_to_use(corrected_by: str, entered: float | None, stated: StatedCorrection | None) -> float | None:
    """Return the factor that takes the figures back: the entered one, else the one that the file states."""
    if entered is None and stated is not None and corrected_by not in ("", OBSERVED):
        return stated.factor
    return entered


def settle_correction(run: Run, layout: FileLayoutSpec | None, stated: StatedCorrection) -> None:
    """Put what is known of the correction into a run whose file was just read.

    What was said of files of this layout goes first. "As observed", filled in before the file was read, is no
    answer to a file that says otherwise: then it is asked. The factor that the file states is taken.
    """
    answered = layout.corrected_by if layout else ""
    if run.corrected_by in ("", OBSERVED):
        if answered:
            run.corrected_by = answered
        elif stated.evidence:
            run.corrected_by = ""
    run.file_factor = factor_to_use(run.corrected_by, run.file_factor, stated)


def offered_air(run: Run) -> dict[str, float]:
    """Return the air in the file of a run that has none; empty if it is not plausible."""
    if any(getattr(run, name) is not None for name in AIR_CHANNELS):
        return {}
    try:
        air = air_in_file(run)
    except ValueError:
        return {}
    found = {name: round(float(getattr(air, name)), 2) for name in AIR_CHANNELS} if air else {}
    try:
        Run(**found).clean_fields(exclude=[f.name for f in Run._meta.fields if f.name not in AIR_CHANNELS])
    except ValidationError:
        return {}
    return found


def describe_air(air: Mapping[str, float], shop: ShopProfile) -> str:
    """Write temperature, pressure and humidity of the air in the shop's units."""
    temperature = format_for_shop(air["temperature_c"], "temperature", shop)
    pressure = format_for_shop(air["pressure_kpa"], "pressure", shop)
    return f"{temperature}, {pressure}, {format_number(air['humidity_pct'])} % humidity"


def air_in_file(run: Run) -> Air | None:
    """Return the air that the file states in channels or above its header, None unless it is complete."""
    channels = load_channels(run, AIR_CHANNELS.values())
    stated = stated_in_report(run.report) or StatedCorrection()
    values: dict[str, float] = {}
    for name, channel in AIR_CHANNELS.items():
        measured = channels.get(channel, np.array([]))
        measured = measured[np.isfinite(measured)]
        value = float(np.median(measured)) if measured.size else getattr(stated, name)
        if value is None:
            return None
        values[name] = value
    return Air(**values)
