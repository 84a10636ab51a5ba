"""The pulls in the channels of a file, and the part of a file that is one of them."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.channels import tokenise
from jobs.calc.dyno.sweep import Pull, find_pulls
from jobs.calc.run_file.guess import RunFile
from jobs.calc.run_file.report import ColumnReport, value_range
from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import format_number

# Whichever a file has first tells how the engine turns: in one gear the others rise with it.
SPEED_CHANNELS = (
    "engine_speed_rpm",
    "roller_speed_rpm",
    "roller_speed_kmh",
    "road_speed_kmh",
)
# What headers call the number of a run or of a vehicle; other words of such a name do not matter.
RUN_NUMBER_WORDS = frozenset(
    tokenise(
        "run runs pull pulls sweep pass test vehicle bike lauf messung fahrzeug essai passage vehicule "
        "ensayo pasada vehiculo prova passata veicolo meting voertuig pomiar pojazd korning matning fordon"
    )
)
COUNTING_WORDS = frozenset(tokenise("no nr number num id index nummer numero numer"))
MAX_RUN_NUMBERS = 50
MIN_TURNS = 8  # speeds of a table at which every run has a row
TOP_RPM = 10_000.0  # other speeds are scaled to it, since the limits of a pull are those of an engine


@dataclass(frozen=True)
class PullRange:
    """One pull of a file, for a person.

    Attributes
    ----------
    number : int
        From 1.
    samples, first, last : int
        Samples of its part of the file, and the first and last of them, counted from 1.
    from_speed, to_speed : float
        Ends of the rise, in the unit of the channel that it was found by.
    unit : str
        Label of that unit.
    duration_s : float or None
        Time of the rise [s]; None without time.
    """

    number: int
    samples: int
    first: int
    last: int
    from_speed: float
    to_speed: float
    unit: str
    duration_s: float | None


def find_file_pulls(content: RunFile) -> tuple[Pull, ...]:
    """Find the pulls in a file by engine speed, else by the speed of roller or road.

    Parameters
    ----------
    content : RunFile

    Returns
    -------
    tuple of Pull
        As `jobs.calc.dyno.sweep.find_pulls`; speeds in the unit of the channel. Empty without a speed.
    """
    name = next((name for name in SPEED_CHANNELS if name in content.channels), None)
    if name is None:
        return ()
    speed, scale = content.channels[name], 1.0
    if name != "engine_speed_rpm":
        top = float(np.nanmax(speed)) if np.isfinite(speed).any() else 0.0
        if top <= 0:
            return ()
        scale = TOP_RPM / top
    numbers = _find_run_numbers(content.channels)
    if numbers is None and "time_s" not in content.channels:
        numbers = _number_turns(speed)
    pulls = find_pulls(speed * scale, content.channels.get("time_s"), numbers)
    return tuple(replace(pull, from_rpm=pull.from_rpm / scale, to_rpm=pull.to_rpm / scale) for pull in pulls)


def list_pulls(content: RunFile, pulls: tuple[Pull, ...]) -> tuple[PullRange, ...]:
    """List the pulls of a file for a person.

    Parameters
    ----------
    content : RunFile
    pulls : tuple of Pull
        From `find_file_pulls`.

    Returns
    -------
    tuple of PullRange
    """
    name = next((name for name in SPEED_CHANNELS if name in content.channels), "")
    unit = "km/h" if name.endswith("kmh") else "1/min"
    return tuple(
        PullRange(
            number,
            pull.rows.size,
            int(pull.rows.min()) + 1,
            int(pull.rows.max()) + 1,
            pull.from_rpm,
            pull.to_rpm,
            unit,
            pull.duration_s if np.isfinite(pull.duration_s) else None,
        )
        for number, pull in enumerate(pulls, start=1)
    )


def _find_run_numbers(channels: Mapping[str, FloatArray]) -> FloatArray | None:
    """Return the column that numbers the runs or vehicles of a file, or None if none parts the rows."""
    for name, values in channels.items():
        words = set(tokenise(name)) - COUNTING_WORDS
        if not words or not words <= RUN_NUMBER_WORDS:
            continue
        known = np.unique(values[np.isfinite(values)])
        if 2 <= known.size <= MAX_RUN_NUMBERS and np.all(known == np.round(known)):
            return values
    return None


def _number_turns(speed: FloatArray) -> FloatArray | None:
    """Return the number of the run of each row if runs take turns at each speed of a table, else None."""
    starts = np.flatnonzero(np.diff(speed, prepend=np.nan) != 0)
    turns = np.diff(starts, append=speed.size)
    if starts.size < MIN_TURNS or not 2 <= turns[0] <= MAX_RUN_NUMBERS or np.any(turns != turns[0]):
        return None
    return np.arange(speed.size) % turns[0] * 1.0


def take_pull(content: RunFile, pulls: tuple[Pull, ...], number: int) -> RunFile:
    """Return the part of a file that is one pull.

    Parameters
    ----------
    content : RunFile
    pulls : tuple of Pull
        From `find_file_pulls`.
    number : int
        Of the pull, from 1.

    Returns
    -------
    RunFile
        Time counts from its first sample.

    Raises
    ------
    ValueError
        The file has no such pull.
    """
    if not 1 <= number <= len(pulls):
        found = f"{len(pulls)} pulls were" if len(pulls) != 1 else "1 pull was"
        raise ValueError(f"With these settings, {found} found in the file, so there is no pull {number}.")
    rows = pulls[number - 1].rows
    channels = {name: values[rows] for name, values in content.channels.items()}
    time = channels.get("time_s")
    rises = time is not None and bool(np.all(np.diff(time) > 0))
    if time is not None and (measured := np.flatnonzero(np.isfinite(time))).size:
        channels["time_s"] = time - time[measured[0]]
    columns = tuple(_with_ends(column, channels) for column in content.report.columns)
    times = {column.position for column in columns if column.stored_as == "time_s"} if rises else set()
    report = replace(
        content.report,
        rows=rows.size,
        columns=columns,
        questions=tuple(q for q in content.report.questions if q.position not in times),
        sentences=(
            f"Pull {number} of {len(pulls)} of the file: samples {format_number(rows.min() + 1)} to "
            f"{format_number(rows.max() + 1)} of it.",
            *content.report.sentences,
        ),
    )
    return replace(content, channels=channels, report=report, lines=content.lines[rows])


def _with_ends(column: ColumnReport, channels: Mapping[str, FloatArray]) -> ColumnReport:
    if column.stored_as is None:
        return column
    low, high = value_range(channels[column.stored_as])
    return replace(column, low=low, high=high)
