"""Rows of a run file between two speeds or times."""

import numpy as np

from jobs.calc.dyno.sweep import bridge_speed, find_sweep
from jobs.calc.units.numbers import format_number
from jobs.models import Run
from jobs.runs.channel_files import load_channels
from jobs.runs.results import throttle_channel


def find_rows_by_speed(run: Run, from_rpm: float, to_rpm: float) -> tuple[int, int]:
    """Find the rise between two engine speeds: first sample and the one after the last.

    Raises
    ------
    ValueError
        The run has no engine speed, or no sample between these two.
    """
    channels = load_channels(run, ("engine_speed_rpm", "grip_pct", "plate_pct", "time_s"))
    speed = bridge_speed(channels["engine_speed_rpm"]) if "engine_speed_rpm" in channels else None
    if speed is None:
        raise ValueError(
            "The run has no engine speed above zero, so you cannot set the sweep by engine speed."
        )
    found = find_sweep(channels["engine_speed_rpm"], throttle_channel(channels), channels.get("time_s"))
    # Search down from the top of the sweep, to skip roll-on and overrun at the same speeds.
    top = found.start + int(np.argmax(speed[found.rows]))
    below = np.flatnonzero(speed[: top + 1] < from_rpm)
    start = int(below[-1]) + 1 if below.size else 0
    above = np.flatnonzero(speed[start:] > to_rpm)
    stop = start + int(above[0]) if above.size else found.stop
    if stop <= start:
        raise ValueError(
            f"The sweep has no samples from {format_number(from_rpm)} to {format_number(to_rpm)} rpm."
        )
    return start, stop


def find_rows_by_time(run: Run, from_s: float, to_s: float) -> tuple[int, int]:
    """Find the samples between two times of the file: the first and the one after the last.

    Raises
    ------
    ValueError
        The time does not rise throughout, or there is no sample between these two.
    """
    time = load_channels(run, ("time_s",)).get("time_s")
    if time is None or not np.all(np.diff(time) > 0):
        raise ValueError("Time does not increase throughout the run, so you cannot set the sweep by time.")
    # Half a millisecond wider, because the page shows milliseconds.
    start = int(np.searchsorted(time, from_s - 5e-4))
    stop = int(np.searchsorted(time, to_s + 5e-4, side="right"))
    if stop <= start:
        raise ValueError(f"The run has no samples from {from_s:g} to {to_s:g} s.")
    return start, stop
