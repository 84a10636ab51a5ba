"""Channels of a run on disk: a compressed NumPy archive with one member per channel, no pickles."""

import io
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager

import numpy as np
import numpy.typing as npt
from django.core.files.base import ContentFile
from django.db import transaction

from jobs.models import Run

FloatArray = npt.NDArray[np.float64]


def member_name(position: int) -> str:
    """Return the name in the archive, by position because column names may be anything."""
    return f"channel_{position}"


def store_channels(run: Run, channels: Mapping[str, FloatArray]) -> None:
    """Write the channels to storage and list them on the run; the caller saves the run."""
    buffer = io.BytesIO()
    arrays = {
        member_name(position): np.asarray(values, float) for position, values in enumerate(channels.values())
    }
    np.savez_compressed(buffer, allow_pickle=False, **arrays)
    run.channels.save(f"{run.sha256[:16]}.npz", ContentFile(buffer.getvalue()), save=False)
    run.channel_names = list(channels)
    run.samples = max((len(channel) for channel in channels.values()), default=0)


@contextmanager
def stored_channels(run: Run, channels: Mapping[str, FloatArray] | None) -> Iterator[None]:
    """Write the channels before the transaction that saves the run.

    Those they replace are removed afterwards, and if the run could not be saved, the new ones.
    """
    if channels is None:
        yield
        return
    before, storage = run.channels.name, run.channels.storage
    store_channels(run, channels)
    written = run.channels.name or ""
    try:
        yield
    except BaseException:
        storage.delete(written)
        raise
    if before:
        transaction.on_commit(lambda: storage.delete(before))


def load_channels(run: Run, names: Iterable[str]) -> dict[str, FloatArray]:
    """Return those of the named channels that the run has, unpacked once and read-only.

    Raises
    ------
    ValueError
        The stored channels are missing or damaged.
    """
    wanted = [name for name in names if name in run.channel_names]
    if not wanted or not run.channels:
        return {}
    unpacked: dict[str, FloatArray] = run.__dict__.setdefault(f"_channels_of_{run.channels.name}", {})
    missing = [name for name in wanted if name not in unpacked]
    try:
        if missing:
            with run.channels.open("rb") as file, np.load(file, allow_pickle=False) as archive:
                for name in missing:
                    unpacked[name] = archive[member_name(run.channel_names.index(name))]
                    unpacked[name].flags.writeable = False
    except (OSError, KeyError, EOFError, zipfile.BadZipFile) as problem:
        raise ValueError(
            f"The stored channels of {run} cannot be opened. Import its file again under “Import settings”."
        ) from problem
    return {name: unpacked[name] for name in wanted}
