"""Channels of a run on disk: a compressed NumPy archive, one member a channel, no pickles."""

import io
from collections.abc import Iterable, Mapping

import numpy as np
import numpy.typing as npt
from django.core.files.base import ContentFile

from jobs.models import Run

FloatArray = npt.NDArray[np.float64]


def store_channels(run: Run, channels: Mapping[str, FloatArray]) -> None:
    """Put the channels into the storage and name them on the run; the caller saves the run."""
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer, allow_pickle=False, **{name: np.asarray(c, dtype=float) for name, c in channels.items()}
    )
    if run.channels:
        run.channels.delete(save=False)
    run.channels.save(f"{run.sha256[:16]}.npz", ContentFile(buffer.getvalue()), save=False)
    run.channel_names = list(channels)
    run.samples = max((len(channel) for channel in channels.values()), default=0)


def load_channels(run: Run, names: Iterable[str]) -> dict[str, FloatArray]:
    """Those of the named channels that the run has; only these are unpacked."""
    wanted = [name for name in names if name in run.channel_names]
    if not wanted or not run.channels:
        return {}
    with run.channels.open("rb") as file, np.load(file, allow_pickle=False) as archive:
        return {name: archive[name] for name in wanted}
