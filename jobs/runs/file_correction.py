"""Whether the figures of a run's file were corrected for the air before they came here, and by what."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from jobs.calc.dyno.air import STANDARDS, Air
from jobs.calc.run_file import FileLayoutSpec, StatedCorrection
from jobs.models import Run
from jobs.runs.channel_files import load_channels

OBSERVED, OTHER = "observed", "other"
CORRECTION_CHOICES = [
    ("", "not known"),
    (OBSERVED, "no, as observed"),
    *((key, f"yes, by {standard.name}") for key, standard in STANDARDS.items()),
    (OTHER, "yes, by another standard"),
]
CORRECTION_HELP = "A correction is taken back first, so that nothing is corrected twice."
FACTOR_HELP = "If the file states it. Otherwise it follows from the air."
FACTOR_OF_OBSERVED = "Figures as observed have no factor. Clear it, or say by what they were corrected."
FACTOR_OF_OTHER = "Enter the factor: for another standard there is no formula here."
FACTOR_MISSING = "Enter the factor or the air of the run: one of them takes it back."
AIR_CHANNELS = {
    "temperature_c": "ambient_temperature_c",
    "pressure_kpa": "barometric_pressure_kpa",
    "humidity_pct": "humidity_pct",
}
UNKNOWN = "not known whether corrected already"
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
        doubt = f"The run is entered as observed, but {evidence}. Check which is right." if evidence else ""
        return FileCorrection("as observed", is_known=True, sentence=doubt)
    if run.corrected_by or run.file_factor:
        return FileCorrection(_taken_back(run), is_known=True, sentence=_other_factor(run, stated))
    if evidence:
        return FileCorrection(
            UNKNOWN,
            is_known=False,
            in_doubt=True,
            sentence=f"The file's figures may be corrected for the air already: {evidence}. They are shown "
            "as they are in the file, and not corrected, until the run is edited to say whether they are.",
        )
    # The form of earlier versions offered "no, as observed" where today's says that it is not known.
    return FileCorrection("", is_known=True) if stated is None else FileCorrection(UNKNOWN, is_known=False)


def _taken_back(run: Run) -> str:
    standard = STANDARDS.get(run.corrected_by)
    by = f" by {standard.name}" if standard else ""
    factor = f", factor {run.file_factor:g}" if run.file_factor else ""
    return f"corrected already{by}{factor}; taken back first"


def _other_factor(run: Run, stated: StatedCorrection | None) -> str:
    if not (run.file_factor and stated and stated.factor):
        return ""
    if abs(run.file_factor - stated.factor) < SAME_FACTOR:
        return ""
    return (
        f"The file states a factor of {stated.factor:g} ({', '.join(stated.evidence)}), and "
        f"{run.file_factor:g} was entered. Check which is right."
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
