"""Grip and throttle plate: the tables of the riding modes, and whether the plate holds at a held grip.

Rows of a table are grip openings, columns engine speeds. Tables are read between their points and never
beyond them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Flag
from jobs.calc.statistics import FloatArray, Floats, interpolate_table
from jobs.calc.tables.cell_grid import check_axis
from jobs.calc.tables.pasted_table import parse_table
from jobs.calc.units.numbers import format_number, require_finite

# Spans of the grip that a table is judged over, and how they are said.
SPANS_PCT: dict[float, str] = {10.0: "tenth", 20.0: "fifth", 50.0: "half"}
CLOSED_WITHIN_PCT = 1.0
FULL_WITHIN_PCT = 2.0
# The plate moves this much faster than the grip: a rider feels a jerk; common practice, no source.
STEEPEST_GAIN = 4.0
SAME_WITHIN = 0.02


@dataclass(frozen=True)
class LargestStep:
    """Where the plate moves most for the grip: plate over grip [%/%], between two grips, at one speed."""

    gain: float
    from_grip_pct: float
    to_grip_pct: float
    engine_speed_rpm: float


@dataclass(frozen=True, eq=False)
class ThrottleTable:
    """Plate opening by grip opening and engine speed, for one riding mode.

    Attributes
    ----------
    grip_pct, rpm : array, (r,) and (c,)
        Rising; grip within 0 to 100 %.
    plate_pct : array, (r, c)
        0 to 100 %.

    Raises
    ------
    ValueError
        Axes that do not rise, another shape, a cell that is empty or outside 0 to 100 %.
    """

    grip_pct: FloatArray
    rpm: FloatArray
    plate_pct: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "grip_pct", check_axis(self.grip_pct, "grip"))
        object.__setattr__(self, "rpm", check_axis(self.rpm, "engine speed"))
        object.__setattr__(self, "plate_pct", np.asarray(self.plate_pct, dtype=float))
        if self.plate_pct.shape != (self.grip_pct.size, self.rpm.size):
            raise ValueError(
                f"The throttle table has {self.plate_pct.shape} cells, its axes have {self.grip_pct.size} "
                f"grips and {self.rpm.size} engine speeds."
            )
        if self.grip_pct[0] < 0 or self.grip_pct[-1] > 100:
            raise ValueError("Grip is given from 0 to 100 %.")
        wrong = np.argwhere(~((self.plate_pct >= 0) & (self.plate_pct <= 100)))
        if wrong.size:
            row, column = wrong[0]
            value = self.plate_pct[row, column]
            said = "is empty" if np.isnan(value) else f"holds {value:g}"
            raise ValueError(
                f"The cell at {self.grip_pct[row]:g} % grip and {format_number(self.rpm[column])} 1/min "
                f"{said}: a plate opens from 0 to 100 %."
            )

    @classmethod
    def from_text(cls, text: str) -> "ThrottleTable":
        """A pasted table (`jobs.calc.pasted_table.parse_table`).

        Raises
        ------
        ValueError
            What cannot be read, or is no throttle table.
        """
        pasted = parse_table(text)
        return cls(pasted.row_axis, pasted.column_axis, pasted.cells)

    @property
    def largest_step(self) -> LargestStep:
        gain = np.diff(self.plate_pct, axis=0) / np.diff(self.grip_pct)[:, None]
        row, column = np.unravel_index(int(gain.argmax()), gain.shape)
        grip = self.grip_pct
        return LargestStep(
            float(gain[row, column]), float(grip[row]), float(grip[row + 1]), float(self.rpm[column])
        )

    def gain(self, span_pct: float, at_rpm: float | None = None) -> float:
        """Plate over grip [%/%] over the first part of the grip, at one engine speed or as the mean of all.

        NaN where the table does not hold grip 0 or the end of the span, or the engine speed.
        """
        speeds = self.rpm if at_rpm is None else np.array([at_rpm])
        ends = plate_at(self, np.array([[0.0], [span_pct]]), speeds[None, :])
        return float(np.mean((ends[1] - ends[0]) / span_pct))

    def gains(self) -> dict[float, float]:
        """`gain` over each of the usual spans."""
        return {span: self.gain(span) for span in SPANS_PCT}

    def checks(self) -> tuple[Flag, ...]:
        """What is wrong or unusual about the table, in words; nothing where it is as it should be."""
        return (*self._falls(), *self._closed_end(), *self._full_end(), *self._jerk())

    def _falls(self) -> list[Flag]:
        drops = np.argwhere(np.diff(self.plate_pct, axis=0) < 0)
        if not drops.size:
            return []
        row, column = drops[0]
        plate, grip = self.plate_pct[:, column], self.grip_pct
        more = f" So it is in {len(drops)} places." if len(drops) > 1 else ""
        return [
            Flag(
                "falls",
                f"At {format_number(self.rpm[column])} 1/min the plate closes from {plate[row]:g} % to "
                f"{plate[row + 1]:g} % while the grip opens from {grip[row]:g} % to {grip[row + 1]:g} %: "
                f"an entry error unless it is meant.{more}",
            )
        ]

    def _closed_end(self) -> list[Flag]:
        if self.grip_pct[0] > 0:
            return [Flag("no-closed-grip", f"The table begins at {self.grip_pct[0]:g} % grip, not at 0.")]
        column = int(self.plate_pct[0].argmax())
        open_pct = self.plate_pct[0, column]
        if open_pct <= CLOSED_WITHIN_PCT:
            return []
        return [
            Flag(
                "open-at-closed-grip",
                f"With the grip closed the plate stands {open_pct:g} % open at "
                f"{format_number(self.rpm[column])} 1/min: the bike may push on at a closed throttle.",
            )
        ]

    def _full_end(self) -> list[Flag]:
        if self.grip_pct[-1] < 100:
            return [Flag("no-full-grip", f"The table ends at {self.grip_pct[-1]:g} % grip, not at 100.")]
        column = int(self.plate_pct[-1].argmin())
        opens = self.plate_pct[-1, column]
        if opens >= 100 - FULL_WITHIN_PCT:
            return []
        return [
            Flag(
                "not-full-at-full-grip",
                f"With the grip full open the plate opens only to {opens:g} % "
                f"at {format_number(self.rpm[column])} 1/min.",
            )
        ]

    def _jerk(self) -> list[Flag]:
        step = self.largest_step
        if step.gain <= STEEPEST_GAIN:
            return []
        return [
            Flag(
                "steep",
                f"From {step.from_grip_pct:g} % to {step.to_grip_pct:g} % grip at "
                f"{format_number(step.engine_speed_rpm)} 1/min the plate moves {step.gain:.1f} times as far "
                "as the grip: the bike will jerk there.",
            )
        ]


@dataclass(frozen=True)
class ModeDifference:
    """How one table opens against another.

    Attributes
    ----------
    faster : dict
        By span of the grip [%]: gain of the second over that of the first, less one. Below zero the
        second opens more slowly; NaN where a table does not hold the span.
    largest_pct, at_grip_pct, at_rpm : float
        Where the plates lie furthest apart (second less first), at the points both tables hold.
    sentences : tuple of str
        One for each span that both tables hold.
    """

    faster: dict[float, float]
    largest_pct: float
    at_grip_pct: float
    at_rpm: float
    sentences: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """All that is to be said, in one line."""
        return " ".join(self.sentences)


def plate_at(table: ThrottleTable, grip_pct: npt.ArrayLike, engine_speed_rpm: npt.ArrayLike) -> Floats:
    """Plate opening [%] at a grip [%] and an engine speed [1/min], between the points; NaN beyond the table.

    Floats or arrays of shapes that broadcast.
    """
    return interpolate_table(table.grip_pct, table.rpm, table.plate_pct, grip_pct, engine_speed_rpm)


def difference(
    first: ThrottleTable, second: ThrottleTable, names: tuple[str, str] = ("A", "B")
) -> ModeDifference:
    """How the second table opens against the first, in numbers and in words.

    Parameters
    ----------
    names : (str, str)
        What the two are called in the sentences: modes or revisions.

    Raises
    ------
    ValueError
        The tables share no grip or no engine speed.
    """
    grip = _shared(first.grip_pct, second.grip_pct, "grip")
    speed = _shared(first.rpm, second.rpm, "engine speed")
    apart = plate_at(second, grip[:, None], speed[None, :]) - plate_at(first, grip[:, None], speed[None, :])
    row, column = np.unravel_index(int(np.abs(apart).argmax()), apart.shape)
    faster = {}
    for span in SPANS_PCT:
        ours, theirs = first.gain(span), second.gain(span)
        faster[span] = theirs / ours - 1 if ours > 0 else float("nan")
    return ModeDifference(
        faster=faster,
        largest_pct=float(apart[row, column]),
        at_grip_pct=float(grip[row]),
        at_rpm=float(speed[column]),
        sentences=tuple(
            _in_words(names, share, SPANS_PCT[span]) for span, share in faster.items() if np.isfinite(share)
        ),
    )


def _shared(first: FloatArray, second: FloatArray, what: str) -> FloatArray:
    """All points of both axes that lie within both."""
    low, high = max(first[0], second[0]), min(first[-1], second[-1])
    if low > high:
        raise ValueError(f"The two throttle tables have no {what} in common.")
    both = np.union1d(first, second)
    return both[(both >= low) & (both <= high)]


def _in_words(names: tuple[str, str], share: float, span: str) -> str:
    first, second = names
    if abs(share) < SAME_WITHIN:
        return f"{second} opens as {first} does over the first {span} of the grip."
    way = "faster" if share > 0 else "slower"
    return f"{second} opens {abs(share):.0%} {way} than {first} over the first {span} of the grip.".replace(
        "%", " %"
    )


@dataclass(frozen=True, eq=False)
class TorqueByGrip:
    """Torque that a rider gets by grip in one mode.

    Attributes
    ----------
    grip_pct, engine_speed_rpm : array, (g,) and (s,)
    torque_nm : array, (g, s)
        NaN outside what was measured.
    sensitivity_nm_per_pct : array, (g, s)
        Change of torque for one per cent of grip; NaN where torque beside it is.
    """

    grip_pct: FloatArray
    engine_speed_rpm: FloatArray
    torque_nm: FloatArray
    sensitivity_nm_per_pct: FloatArray


# Samples this near to one another are averaged before a surface is laid through them.
CELL_RPM, CELL_PLATE_PCT = 250.0, 2.0


def torque_by_grip(
    table: ThrottleTable,
    engine_speed_rpm: npt.ArrayLike,
    plate_pct: npt.ArrayLike,
    torque_nm: npt.ArrayLike,
    *,
    at_rpm: Sequence[float],
    grip_pct: npt.ArrayLike | None = None,
) -> TorqueByGrip:
    """Torque by grip in a mode, from torque measured over plate and engine speed in held runs.

    Parameters
    ----------
    engine_speed_rpm, plate_pct, torque_nm : array, (n,)
        Steady samples of held runs at several openings; NaN is not measured.
    at_rpm : sequence of float, (s,)
        Engine speeds to answer for.
    grip_pct : array, (g,), optional
        Grips to answer for; every 5 % without it.

    Returns
    -------
    TorqueByGrip
        By plane triangles between the means of neighbouring samples; nothing outside their hull.

    Raises
    ------
    ValueError
        Channels of different length, or runs at too few openings or speeds to lay a surface through.
    """
    from scipy.interpolate import LinearNDInterpolator
    from scipy.spatial import QhullError

    channels = [np.asarray(a, dtype=float) for a in (engine_speed_rpm, plate_pct, torque_nm)]
    if len({channel.shape for channel in channels}) != 1:
        raise ValueError("Engine speed, plate and torque differ in length: they do not belong together.")
    for engine_speed in at_rpm:
        require_finite("engine speed", engine_speed)
    speed, plate, torque = _cell_means(*channels)
    grip = np.arange(0.0, 100.1, 5.0) if grip_pct is None else check_axis(grip_pct, "grip")
    wanted = np.asarray(at_rpm, dtype=float)
    plates = plate_at(table, grip[:, None], wanted[None, :])
    try:
        surface = LinearNDInterpolator(np.column_stack([speed, plate]), torque, rescale=True)
    except (QhullError, ValueError):
        raise ValueError(
            "Torque by grip needs held runs at two plate openings or more, over a range of engine speed."
        ) from None
    found = np.asarray(surface(np.broadcast_to(wanted, plates.shape), plates), dtype=float)
    return TorqueByGrip(grip, wanted, found, np.gradient(found, grip, axis=0))


def _cell_means(speed: FloatArray, plate: FloatArray, torque: FloatArray) -> tuple[FloatArray, ...]:
    good = np.isfinite(speed) & np.isfinite(plate) & np.isfinite(torque)
    channels = (speed[good], plate[good], torque[good])
    keys = np.column_stack([np.floor(channels[0] / CELL_RPM), np.floor(channels[1] / CELL_PLATE_PCT)])
    where = np.unique(keys, axis=0, return_inverse=True)[1].ravel()
    count = np.bincount(where)
    return tuple(np.bincount(where, weights=channel) / count for channel in channels)
