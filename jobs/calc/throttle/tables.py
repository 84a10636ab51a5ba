"""Throttle maps: plate by grip and engine speed in each riding mode, their problems, and torque by grip.

Rows of a map are grip openings, columns engine speeds. Maps are read between their points and never beyond
them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.calc.dyno.curves import Flag
from jobs.calc.statistics import FloatArray, Floats, interpolate_table
from jobs.calc.tables.cell_grid import check_axis
from jobs.calc.tables.pasted_table import parse_table
from jobs.calc.units.numbers import format_digits, format_number
from jobs.calc.wording import gettext as _
from jobs.calc.wording import ngettext

# Spans of the grip that a map is judged over.
SPANS_PCT = (10.0, 20.0, 50.0)
CLOSED_WITHIN_PCT = 1.0
FULL_WITHIN_PCT = 2.0
# A rider feels a jerk if the plate moves this much faster than the grip. Rule of thumb, no published source.
MAX_GAIN = 4.0
SAME_WITHIN = 0.02
# The end of the grip, and by how much a softer mode may end steeper. Rules of thumb, no published source.
END_SPAN_PCT, STEEPER_BY = 20.0, 1.1
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
                f"The throttle table has {self.plate_pct.shape} cells, but its axes have "
                f"{self.grip_pct.size} grips and {self.rpm.size} engine speeds."
            )
        if self.grip_pct[0] < 0 or self.grip_pct[-1] > 100:
            raise ValueError("Enter grip from 0 to 100 %.")
        wrong = np.argwhere(~((self.plate_pct >= 0) & (self.plate_pct <= 100)))
        if wrong.size:
            row, column = wrong[0]
            value = self.plate_pct[row, column]
            fault = "is empty" if np.isnan(value) else f"holds {value:g}"
            raise ValueError(
                f"The cell at {self.grip_pct[row]:g} % grip and {format_number(self.rpm[column])} rpm "
                f"{fault}. Enter a plate from 0 to 100 %."
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

    @property
    def end_gain(self) -> float:
        """Plate over grip [%/%] over the last 20 % of the grip, mean of all engine speeds.

        NaN if the map does not hold that span.
        """
        ends = lookup_plate(self, np.array([[100.0 - END_SPAN_PCT], [100.0]]), self.rpm[None, :])
        return float(np.mean((ends[1] - ends[0]) / END_SPAN_PCT))

    @property
    def cap(self) -> tuple[float, float] | None:
        """The smallest plate at full grip [%] and its engine speed [rpm]; None if it opens fully."""
        if self.grip_pct[-1] < 100:
            return None
        column = int(self.plate_pct[-1].argmin())
        open_pct = float(self.plate_pct[-1, column])
        return None if open_pct >= 100 - FULL_WITHIN_PCT else (open_pct, float(self.rpm[column]))

    def find_problems(self) -> tuple[Flag, ...]:
        """Find what is wrong or unusual about the map.

        Returns
        -------
        tuple of Flag
            Empty if nothing is.

        Notes
        -----
        The plate [%] should not close while the grip opens and be open by at most 1 % at closed grip, the
        map should hold full grip, and Δplate/Δgrip ≤ 4. Rules of thumb, no published source. A mode that
        stops short of the full plate (`cap`) is made so.
        """
        return (*self._falls(), *self._closed_end(), *self._full_end(), *self._jerk())

    def _falls(self) -> list[Flag]:
        drops = np.argwhere(np.diff(self.plate_pct, axis=0) < 0)
        if not drops.size:
            return []
        row, column = drops[0]
        plate, grip = self.plate_pct[:, column], self.grip_pct
        sentence = _(
            "At %(speed)s rpm the plate closes from %(plate_from)s %% to %(plate_to)s %% while the grip "
            "opens "
            "from %(grip_from)s %% to %(grip_to)s %%. Check whether this is intended."
        ) % {
            "speed": format_number(self.rpm[column]),
            "plate_from": format_digits(plate[row]),
            "plate_to": format_digits(plate[row + 1]),
            "grip_from": format_digits(grip[row]),
            "grip_to": format_digits(grip[row + 1]),
        }
        if len(drops) > 1:
            more = ngettext(
                "This happens in %(count)s place.", "This happens in %(count)s places.", len(drops)
            )
            sentence += f" {more % {'count': len(drops)}}"
        return [Flag("falls", sentence)]

    def _closed_end(self) -> list[Flag]:
        if self.grip_pct[0] > 0:
            text = _("The table starts at %(grip)s %% grip, not at 0 %%.")
            return [Flag("no-closed-grip", text % {"grip": format_digits(self.grip_pct[0])})]
        column = int(self.plate_pct[0].argmax())
        open_pct = self.plate_pct[0, column]
        if open_pct <= CLOSED_WITHIN_PCT:
            return []
        text = _(
            "With the grip closed, the plate is %(plate)s %% open at %(speed)s rpm. The bike may "
            "push forward with the throttle closed."
        )
        values = {"plate": format_digits(open_pct), "speed": format_number(self.rpm[column])}
        return [Flag("open-at-closed-grip", text % values)]

    def _full_end(self) -> list[Flag]:
        if self.grip_pct[-1] < 100:
            text = _("The table ends at %(grip)s %% grip, not at 100 %%.")
            return [Flag("no-full-grip", text % {"grip": format_digits(self.grip_pct[-1])})]
        return []

    def _jerk(self) -> list[Flag]:
        step = self.largest_step
        if step.gain <= MAX_GAIN:
            return []
        text = _(
            "From %(from)s %% to %(to)s %% grip at %(speed)s rpm the plate moves %(gain)s times as far as "
            "the "
            "grip. Expect the bike to jerk there."
        )
        values = {
            "from": format_digits(step.from_grip_pct),
            "to": format_digits(step.to_grip_pct),
            "speed": format_number(step.engine_speed_rpm),
            "gain": format_number(step.gain, 1),
        }
        return [Flag("steep", text % values)]


@dataclass(frozen=True)
class MapDifference:
    """How one throttle map opens compared with another.

    Attributes
    ----------
    largest_pct, at_grip_pct, at_rpm : float
        Largest difference of the plates, second less first [percentage points], and the grip [%] and engine
        speed [rpm] it is at, among the points that both maps hold.
    is_same_at_all_rpm : bool
        Whether the difference is the same at every engine speed.
    sentences : tuple of str
        One for each span of the grip that both maps hold.
    """

    largest_pct: float
    at_grip_pct: float
    at_rpm: float
    is_same_at_all_rpm: bool
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
        raise ValueError("Grip and values must have the same number of samples.")
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
        is_same_at_all_rpm=speed.size > 1 and bool(np.allclose(apart, apart[:, :1])),
        sentences=tuple(
            _describe(names, change, span) for span, change in changes.items() if np.isfinite(change)
        ),
    )


def _shared_points(first: FloatArray, second: FloatArray, axis: str) -> FloatArray:
    """Return all points of both axes that lie within both."""
    low, high = max(first[0], second[0]), min(first[-1], second[-1])
    if low > high:
        raise ValueError(_("The two throttle tables have no %(axis)s in common.") % {"axis": _(axis)})
    points = np.union1d(first, second)
    return points[(points >= low) & (points <= high)]


def _describe(names: tuple[str, str], change: float, span: float) -> str:
    values = {
        "first": names[0],
        "second": names[1],
        "span": format_digits(span),
        "share": format_number(100 * abs(change)),
    }
    if abs(change) < SAME_WITHIN:
        return _("Over the first %(span)s %% of the grip, %(second)s opens like %(first)s.") % values
    if change > 0:
        text = _("Over the first %(span)s %% of the grip, %(second)s opens %(share)s %% more than %(first)s.")
    else:
        text = _("Over the first %(span)s %% of the grip, %(second)s opens %(share)s %% less than %(first)s.")
    return text % values


def find_steeper_ends(maps: Mapping[str, ThrottleMap]) -> list[str]:
    """Find modes that open less than another at first, and more steeply than it at the end.

    Parameters
    ----------
    maps : mapping of str to ThrottleMap
        The modes by name.

    Returns
    -------
    list of str
        A sentence for each such mode, against the mode that it exceeds most.

    Notes
    -----
    Gain over the first 20 % below, over the last 20 % more than 1.1 times that of the other. Rule of thumb,
    no published source.
    """
    sentences = []
    for name, softer in maps.items():
        exceeded = [
            (other.end_gain, other_name)
            for other_name, other in maps.items()
            if softer.gains[20.0] < (1 - SAME_WITHIN) * other.gains[20.0]
            and softer.end_gain > STEEPER_BY * other.end_gain
        ]
        if exceeded:
            other_gain, other_name = min(exceeded)
            text = _(
                "%(mode)s opens less than %(other)s at first but ends steeper: %(gain)s against "
                "%(other_gain)s "
                "%% plate per 1 %% of grip over the last %(span)s %%. A rider in %(mode)s may get more than "
                "expected there."
            )
            values = {
                "mode": name,
                "other": other_name,
                "gain": format_number(softer.end_gain, 2),
                "other_gain": format_number(other_gain, 2),
                "span": format_digits(END_SPAN_PCT),
            }
            sentences.append(text % values)
    return sentences


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
        raise ValueError("Engine speed, plate and torque must have the same number of samples.")
    speed, plate, torque = _average_cells(*channels)
    grip = np.arange(0.0, 100.1, TORQUE_GRIP_STEP_PCT)
    wanted = np.asarray(at_rpm, dtype=float)
    plates = lookup_plate(throttle_map, grip[:, None], wanted[None, :])
    try:
        surface = LinearNDInterpolator(np.column_stack([speed, plate]), torque, rescale=True)
    except (QhullError, ValueError):
        raise ValueError(
            "Torque by grip needs held-throttle runs at two plate openings or more, over a range of engine "
            "speed."
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
