"""Throttle maps: plate by grip and engine speed in each riding mode, their problems, and torque by grip.

Rows of a map are grip openings, columns engine speeds. Maps are read between their points and never beyond
them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Flag
from jobs.calc.statistics import FloatArray, Floats, interpolate_table
from jobs.calc.tables.cell_grid import check_axis
from jobs.calc.tables.pasted_table import parse_table
from jobs.calc.units.numbers import format_number

# Spans of the grip that a map is judged over, and their names.
SPANS_PCT: dict[float, str] = {10.0: "tenth", 20.0: "fifth", 50.0: "half"}
CLOSED_WITHIN_PCT = 1.0
FULL_WITHIN_PCT = 2.0
# A rider feels a jerk if the plate moves this much faster than the grip. Rule of thumb, no published source.
MAX_GAIN = 4.0
SAME_WITHIN = 0.02
# Samples within a cell of this size are averaged before a surface is laid through them.
CELL_RPM, CELL_PLATE_PCT = 250.0, 2.0
TORQUE_GRIP_STEP_PCT = 5.0
# A line through fewer points, or over less of the grip, says nothing. Rule of thumb, no published source.
MIN_LINE_POINTS, MIN_LINE_GRIP_PCT = 4, 20.0


@dataclass(frozen=True)
class LargestStep:
    """The steepest step of a map: plate over grip [%/%] between two grips [%] at one speed [rpm]."""

    gain: float
    from_grip_pct: float
    to_grip_pct: float
    engine_speed_rpm: float


@dataclass(frozen=True, eq=False)
class ThrottleMap:
    """Plate opening by grip opening and engine speed, for one riding mode.

    Attributes
    ----------
    grip_pct, rpm : array, (r,) and (c,)
        Grip within 0 to 100 [%] and engine speed [rpm], rising.
    plate_pct : array, (r, c)
        Plate, 0 to 100 [%].

    Raises
    ------
    ValueError
        Axes that do not rise, another shape, a grip outside 0 to 100 %, or a cell that is empty or outside
        0 to 100 %.
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
            fault = "is empty" if np.isnan(value) else f"holds {value:g}"
            raise ValueError(
                f"The cell at {self.grip_pct[row]:g} % grip and {format_number(self.rpm[column])} 1/min "
                f"{fault}: a plate opens from 0 to 100 %."
            )

    @classmethod
    def from_text(cls, text: str) -> "ThrottleMap":
        """Parse a pasted map (`jobs.calc.tables.pasted_table.parse_table`).

        Parameters
        ----------
        text : str
            Engine speeds [rpm] in the first row, grip [%] in the first column, plate [%] in the cells.

        Returns
        -------
        ThrottleMap

        Raises
        ------
        ValueError
            Text that cannot be parsed, or is no throttle map.

        Notes
        -----
        plate[row, column] = cell: no formula and no source.
        """
        pasted = parse_table(text, max_cell=100)
        return cls(pasted.row_axis, pasted.column_axis, pasted.cells)

    @property
    def largest_step(self) -> LargestStep:
        """The step over which the plate moves most for the grip."""
        gain = np.diff(self.plate_pct, axis=0) / np.diff(self.grip_pct)[:, None]
        row, column = np.unravel_index(int(gain.argmax()), gain.shape)
        grip = self.grip_pct
        return LargestStep(
            float(gain[row, column]), float(grip[row]), float(grip[row + 1]), float(self.rpm[column])
        )

    @property
    def gains(self) -> dict[float, float]:
        """Plate over grip [%/%] over the first 10, 20 and 50 % of the grip, mean of all engine speeds.

        NaN if the map does not hold grip 0 or the end of the span.
        """
        ends = lookup_plate(self, np.array([[0.0], *([span] for span in SPANS_PCT)]), self.rpm[None, :])
        return {
            span: float(np.mean((end - ends[0]) / span))
            for span, end in zip(SPANS_PCT, ends[1:], strict=True)
        }

    def find_problems(self) -> tuple[Flag, ...]:
        """Find what is wrong or unusual about the map.

        Returns
        -------
        tuple of Flag
            Empty if nothing is.

        Notes
        -----
        The plate [%] should not close while the grip opens, be open by at most 1 % at closed grip and at
        least 98 % at full grip, and Δplate/Δgrip ≤ 4. Rules of thumb, no published source.
        """
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
        open_pct = self.plate_pct[-1, column]
        if open_pct >= 100 - FULL_WITHIN_PCT:
            return []
        return [
            Flag(
                "not-full-at-full-grip",
                f"With the grip full open the plate opens only to {open_pct:g} % "
                f"at {format_number(self.rpm[column])} 1/min.",
            )
        ]

    def _jerk(self) -> list[Flag]:
        step = self.largest_step
        if step.gain <= MAX_GAIN:
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
class MapDifference:
    """How one throttle map opens compared with another.

    Attributes
    ----------
    largest_pct, at_grip_pct, at_rpm : float
        Largest difference of the plates, second less first [%], and the grip [%] and engine speed [rpm] it
        is at, among the points that both maps hold.
    sentences : tuple of str
        One for each span of the grip that both maps hold.
    """

    largest_pct: float
    at_grip_pct: float
    at_rpm: float
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Linearity:
    """How straight plate or torque is over the grip.

    Attributes
    ----------
    slope : float
        Slope of the line, per % of grip.
    largest_pct, at_grip_pct, rms_pct : float
        Largest deviation from the line with its sign, and the root mean square of all, as shares of the span
        of the values [%]; grip of the largest [%].
    from_grip_pct, to_grip_pct : float
        Grip from which and to which it was known [%].
    """

    slope: float
    largest_pct: float
    at_grip_pct: float
    rms_pct: float
    from_grip_pct: float
    to_grip_pct: float


def measure_linearity(grip_pct: npt.ArrayLike, values: npt.ArrayLike) -> Linearity | None:
    """Measure how straight plate or torque is over the grip.

    Parameters
    ----------
    grip_pct, values : array, (n,)
        Grip [%] and plate [%] or torque [N·m] at one engine speed; NaN is not measured.

    Returns
    -------
    Linearity or None
        None below four points, over less than a fifth of the grip, or if the values are all the same.

    Raises
    ------
    ValueError
        Arrays of different length.

    Notes
    -----
    Independent linearity [1]_ with the line by least squares: deviations from it over max(values) −
    min(values).

    References
    ----------
    .. [1] IEC 61298-2:2008, conformity and linearity of process measurement devices (from memory).
    """
    grip, known = np.asarray(grip_pct, dtype=float), np.asarray(values, dtype=float)
    if grip.shape != known.shape:
        raise ValueError("Grip and values differ in length: they do not belong together.")
    measured = np.isfinite(grip) & np.isfinite(known)
    grip, known = grip[measured], known[measured]
    if grip.size < MIN_LINE_POINTS or np.ptp(grip) < MIN_LINE_GRIP_PCT or np.ptp(known) == 0:
        return None
    slope, start = np.polyfit(grip, known, 1)
    off = 100 * (known - start - slope * grip) / np.ptp(known)
    at = int(np.argmax(np.abs(off)))
    rms = float(np.sqrt(np.mean(np.square(off))))
    ends = float(grip.min()), float(grip.max())
    return Linearity(float(slope), float(off[at]), float(grip[at]), rms, *ends)


def lookup_plate(
    throttle_map: ThrottleMap, grip_pct: npt.ArrayLike, engine_speed_rpm: npt.ArrayLike
) -> Floats:
    """Look up the plate opening at a grip and an engine speed.

    Parameters
    ----------
    throttle_map : ThrottleMap
    grip_pct, engine_speed_rpm : float or array
        Grip [%] and engine speed [rpm], of shapes that broadcast.

    Returns
    -------
    float or array
        Plate [%]; NaN beyond the map.

    Notes
    -----
    Bilinear interpolation between the points (`jobs.calc.statistics.interpolate_table`).
    """
    return interpolate_table(
        throttle_map.grip_pct, throttle_map.rpm, throttle_map.plate_pct, grip_pct, engine_speed_rpm
    )


def compare_maps(first: ThrottleMap, second: ThrottleMap, names: tuple[str, str]) -> MapDifference:
    """Compare how two throttle maps open.

    Parameters
    ----------
    first, second : ThrottleMap
    names : (str, str)
        Names of the two in the sentences: modes or tunes.

    Returns
    -------
    MapDifference
        The largest difference [%] and a sentence for each span.

    Raises
    ------
    ValueError
        Maps without a grip or an engine speed in common.

    Notes
    -----
    Over each span: gain of the second / gain of the first − 1; within 2 % they count as alike. Rule of thumb,
    no published source.
    """
    grip = _shared_points(first.grip_pct, second.grip_pct, "grip")
    speed = _shared_points(first.rpm, second.rpm, "engine speed")
    apart = lookup_plate(second, grip[:, None], speed) - lookup_plate(first, grip[:, None], speed)
    row, column = np.unravel_index(int(np.abs(apart).argmax()), apart.shape)
    gains, other_gains = first.gains, second.gains
    changes = {span: other_gains[span] / gains[span] - 1 for span in SPANS_PCT if gains[span] > 0}
    return MapDifference(
        largest_pct=float(apart[row, column]),
        at_grip_pct=float(grip[row]),
        at_rpm=float(speed[column]),
        sentences=tuple(
            _describe(names, change, SPANS_PCT[span])
            for span, change in changes.items()
            if np.isfinite(change)
        ),
    )


def _shared_points(first: FloatArray, second: FloatArray, axis: str) -> FloatArray:
    """Return all points of both axes that lie within both."""
    low, high = max(first[0], second[0]), min(first[-1], second[-1])
    if low > high:
        raise ValueError(f"The two throttle tables have no {axis} in common.")
    points = np.union1d(first, second)
    return points[(points >= low) & (points <= high)]


def _describe(names: tuple[str, str], change: float, span: str) -> str:
    first, second = names
    if abs(change) < SAME_WITHIN:
        return f"{second} opens as {first} does over the first {span} of the grip."
    way = "faster" if change > 0 else "slower"
    return f"{second} opens {abs(change):.0%} {way} than {first} over the first {span} of the grip.".replace(
        "%", " %"
    )


@dataclass(frozen=True, eq=False)
class TorqueByGrip:
    """Torque that a rider gets by grip in one mode.

    Attributes
    ----------
    grip_pct, engine_speed_rpm : array, (g,) and (s,)
        Grip [%] and engine speed [rpm].
    torque_nm : array, (g, s)
        Torque [N·m]; NaN outside what was measured.
    sensitivity_nm_per_pct : array, (g, s)
        Torque for one per cent of grip [N·m/%]; NaN if the torque beside it is.
    """

    grip_pct: FloatArray
    engine_speed_rpm: FloatArray
    torque_nm: FloatArray
    sensitivity_nm_per_pct: FloatArray


def compute_torque_by_grip(
    throttle_map: ThrottleMap,
    engine_speed_rpm: npt.ArrayLike,
    plate_pct: npt.ArrayLike,
    torque_nm: npt.ArrayLike,
    *,
    at_rpm: Sequence[float],
) -> TorqueByGrip:
    """Compute torque by grip in a mode from torque measured by plate and engine speed.

    Parameters
    ----------
    throttle_map : ThrottleMap
        The mode.
    engine_speed_rpm, plate_pct, torque_nm : array, (n,)
        Engine speed [rpm], plate [%] and torque [N·m] of steady samples of held-throttle runs at several
        openings; NaN is not measured.
    at_rpm : sequence of float, (s,)
        Engine speeds to answer for [rpm].

    Returns
    -------
    TorqueByGrip
        Torque every 5 % of grip, inside the hull of what was measured.

    Raises
    ------
    ValueError
        Channels of different length, or runs at too few openings or speeds to lay a surface through.

    Notes
    -----
    torque(grip, n) = T(plate(grip, n), n), with T linear on the Delaunay triangles of the means of samples
    within 250 rpm and 2 % of plate [1]_; the sensitivity is its difference quotient over grip.

    References
    ----------
    .. [1] C. B. Barber, D. P. Dobkin, H. Huhdanpaa, ACM Trans. Math. Softw. 22 (1996), 469-483: Quickhull, as
       in SciPy's ``LinearNDInterpolator``.
    """
    from scipy.interpolate import LinearNDInterpolator
    from scipy.spatial import QhullError

    channels = [np.asarray(a, dtype=float) for a in (engine_speed_rpm, plate_pct, torque_nm)]
    if len({channel.shape for channel in channels}) != 1:
        raise ValueError("Engine speed, plate and torque differ in length: they do not belong together.")
    speed, plate, torque = _average_cells(*channels)
    grip = np.arange(0.0, 100.1, TORQUE_GRIP_STEP_PCT)
    wanted = np.asarray(at_rpm, dtype=float)
    plates = lookup_plate(throttle_map, grip[:, None], wanted[None, :])
    try:
        surface = LinearNDInterpolator(np.column_stack([speed, plate]), torque, rescale=True)
    except (QhullError, ValueError):
        raise ValueError(
            "Torque by grip needs held runs at two plate openings or more, over a range of engine speed."
        ) from None
    found = np.asarray(surface(np.broadcast_to(wanted, plates.shape), plates), dtype=float)
    return TorqueByGrip(grip, wanted, found, np.gradient(found, grip, axis=0))


def _average_cells(speed: FloatArray, plate: FloatArray, torque: FloatArray) -> tuple[FloatArray, ...]:
    """Average the samples of each cell of engine speed and plate."""
    measured = np.isfinite(speed) & np.isfinite(plate) & np.isfinite(torque)
    channels = (speed[measured], plate[measured], torque[measured])
    keys = np.column_stack([np.floor(channels[0] / CELL_RPM), np.floor(channels[1] / CELL_PLATE_PCT)])
    cell = np.unique(keys, axis=0, return_inverse=True)[1].ravel()
    count = np.bincount(cell)
    return tuple(np.bincount(cell, weights=channel) / count for channel in channels)
