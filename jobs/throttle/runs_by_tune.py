"""Runs by the tune they were made with, and the torque in them as observed."""

from collections.abc import Iterable

import numpy as np

from jobs.calc.units.identities import torque_nm
from jobs.models import Run, TuneRevision
from jobs.runs.channel_files import FloatArray
from jobs.runs.results import uncorrect_factor

CHANNELS = ("time_s", "engine_speed_rpm", "grip_pct", "plate_pct", "torque_nm", "power_kw")


def observed_torque(run: Run, channels: dict[str, FloatArray]) -> FloatArray | None:
    """Return the uncorrected torque, from power if the file has no torque; None without both."""
    back = uncorrect_factor(run)
    if "torque_nm" in channels:
        return np.asarray(channels["torque_nm"] * back)
    if "power_kw" in channels:
        return np.asarray(torque_nm(channels["power_kw"], channels["engine_speed_rpm"])) * back
    return None


def group_by_tune(runs: Iterable[Run]) -> dict[TuneRevision | None, list[Run]]:
    """Group the runs that count by the tune they were made with, in the order of tunes."""
    found: dict[TuneRevision | None, list[Run]] = {}
    for run in runs:
        if run.counts:
            found.setdefault(run.tune_revision, []).append(run)
    return dict(sorted(found.items(), key=lambda item: item[0].number if item[0] else -1))


def tune_label(tune: TuneRevision | None) -> str:
    return tune.label if tune else "no tune"
