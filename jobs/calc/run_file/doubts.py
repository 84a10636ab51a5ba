"""What leaves a doubt after a file was read, so that a person is asked before it is stored.

A remembered layout says what its columns hold; it does not say that the next file is right. The limits are
rules of thumb, no published source.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from jobs.calc.channels import CHANNELS, Channel, match_channels
from jobs.calc.dyno.consistency import UNIT_REASONS, power_torque_flag
from jobs.calc.run_file.layout import Column, FileLayoutSpec
from jobs.calc.run_file.report import Question, value_question
from jobs.calc.statistics import FloatArray
from jobs.calc.units.factors import FACTORS, convert, identify_unit
from jobs.calc.units.numbers import format_digits, format_number

# So many samples, spread over the file, tell the size of its values as well as all of them.
MAX_SAMPLES = 20_000
# A few values outside the plausible range are dropouts; a sensor in free air reads lean for a whole overrun.
MAX_IMPLAUSIBLE_SHARE = 0.05
MAX_IMPLAUSIBLE_LAMBDA_SHARE = 0.3
MIN_ALIKE_SHARE = 0.75  # of a name, as `jobs.calc.channels.match_channels` counts it
MIN_TOP_SPEED_RPM = 300.0  # an engine that runs turns faster
# How near a value must come to that of the file that the layout was confirmed for, once its unit is changed.
UNIT_TOLERANCE = 0.08
MAX_COLD_C, NEAR_C = 25.0, 10.0  # temperatures: how far off as read, and how near in another unit


def find_doubts(layout: FileLayoutSpec, channels: Mapping[str, FloatArray]) -> list[Question]:
    """Find what in the values of a file does not fit the meaning of its columns.

    Parameters
    ----------
    layout : FileLayoutSpec
    channels : mapping of str to array, (n,)
        As read with it.

    Returns
    -------
    list of Question
        Values outside the plausible range, in another unit than the same column had before, or that do not
        fit each other.
    """
    found = []
    for column in layout.columns:
        if column.channel is None or column.unit is None or column.channel not in channels:
            continue
        values = channels[column.channel]
        found += [question for question in (_implausible(column, values),) if question]
        found += [question for question in (_scale_question(column, values, channels),) if question]
    found += [question for question in (_side_by_side(layout), _power_torque_question(channels)) if question]
    return found


def _side_by_side(layout: FileLayoutSpec) -> Question | None:
    """Ask about a second engine speed with a second power or torque, neither of which is read as such."""
    speeds = _columns_like(layout, "engine_speed_rpm")
    outputs = _columns_like(layout, "power_kw") or _columns_like(layout, "torque_nm")
    if not speeds or not outputs:
        return None
    places = " and ".join(f"{column.position + 1} ('{column.name}')" for column in (speeds[0], outputs[0]))
    return Question(
        None,
        f"Columns {places} look like engine speed and power or torque of another run beside this "
        "one. Only one run can be imported from columns side by side. Make a separate file of each.",
    )


def _columns_like(layout: FileLayoutSpec, channel_id: str) -> list[Column]:
    """Return the columns that are named like a channel which another column is read as."""
    if not any(column.channel == channel_id for column in layout.columns):
        return []
    return [
        column
        for column in layout.columns
        if column.channel is None
        and match_channels(column.name).get(channel_id, (0.0, ""))[0] >= MIN_ALIKE_SHARE
    ]


def with_typical_values(layout: FileLayoutSpec, channels: Mapping[str, FloatArray]) -> FileLayoutSpec:
    """Store in a confirmed layout how large the values of its columns are.

    Parameters
    ----------
    layout : FileLayoutSpec
    channels : mapping of str to array, (n,)
        As read with it from the file that it was confirmed for.

    Returns
    -------
    FileLayoutSpec
    """
    columns = tuple(
        replace(column, typical=_typical_value(CHANNELS[column.channel], channels[column.channel]))
        if column.channel is not None and column.channel in channels
        else column
        for column in layout.columns
    )
    return replace(layout, columns=columns)


def _thin_out(values: FloatArray) -> FloatArray:
    """Return evenly spread samples of a long file, at most `MAX_SAMPLES`."""
    return values[:: 1 + values.size // MAX_SAMPLES]


def _typical_value(channel: Channel, values: FloatArray) -> float | None:
    """Return the step of a time, the median of a temperature, or nearly the largest of other values."""
    if channel.quantity == "time":
        steps = np.diff(values)
        values = steps[steps > 0]
    finite = _thin_out(values)
    finite = finite[np.isfinite(finite)]
    if not finite.size:
        return None
    if channel.quantity in ("time", "temperature"):
        return float(np.median(finite))
    return float(np.quantile(np.abs(finite), 0.99))


def _implausible(column: Column, values: FloatArray) -> Question | None:
    channel = CHANNELS[column.channel or ""]
    question = value_question(column, values)
    if question is None and channel.id != "engine_speed_rpm":
        return None
    measured = values[np.isfinite(values)]
    limit = MAX_IMPLAUSIBLE_LAMBDA_SHARE if channel.id == "lambda" else MAX_IMPLAUSIBLE_SHARE
    if question and np.mean((measured < channel.low) | (measured > channel.high)) > limit:
        return question
    if channel.id == "engine_speed_rpm" and measured.size and measured.max() < MIN_TOP_SPEED_RPM:
        return Question(
            column.position,
            f"Column {column.position + 1} ('{column.name}') read as engine speed never rises above "
            f"{format_digits(measured.max(), 3)} rpm. Check the column and its unit.",
        )
    return None


def _scale_question(
    column: Column, values: FloatArray, channels: Mapping[str, FloatArray]
) -> Question | None:
    """Ask about a column without a stated unit whose values fit the earlier file's in another unit."""
    channel = CHANNELS[column.channel or ""]
    typical, before = _typical_value(channel, values), column.typical
    if column.unit not in FACTORS or typical is None or before is None:
        return None
    if column.unit_text and identify_unit(column.unit_text, channel.quantity) is not None:
        return None
    if channel.quantity in ("power", "torque") and _agree(channels):
        return None
    other = next(
        (
            unit_id
            for unit_id, unit in FACTORS.items()
            if unit.quantity == channel.quantity and _fits_in(unit_id, column.unit, channel, typical, before)
        ),
        None,
    )
    if other is None:
        return None
    what = "steps of" if channel.quantity == "time" else "values of about"
    unit = FACTORS[column.unit].label
    return Question(
        column.position,
        f"Column {column.position + 1} ('{column.name}') states no unit. Read in {unit} as before it has "
        f"{what} {_show(typical, channel)}; the file for which its unit was confirmed had "
        f"{_show(before, channel)}. Is its unit {FACTORS[other].label} in this file?",
    )


def _fits_in(unit_id: str, read_as: str, channel: Channel, typical: float, before: float) -> bool:
    """Return True if the values would be those of before in another unit, and are not as read."""
    if channel.quantity == "temperature":
        would_be = convert(convert(typical, channel.unit, read_as), unit_id, channel.unit)
        return abs(typical - before) > MAX_COLD_C and abs(would_be - before) < NEAR_C
    if channel.quantity == "mixture" or unit_id == read_as:
        return False
    factor = convert(1.0, unit_id, channel.unit) / convert(1.0, read_as, channel.unit)
    return abs(factor - 1) > 0.1 and abs(typical * factor - before) <= UNIT_TOLERANCE * abs(before)


def _show(value: float, channel: Channel) -> str:
    return f"{format_number(value, 3, trim=True)} {channel.unit_label}".strip()


def _agree(channels: Mapping[str, FloatArray]) -> bool:
    """Return True if power, torque and engine speed are there and fit each other."""
    return {"power_kw", "torque_nm", "engine_speed_rpm"} <= channels.keys() and (
        _power_torque_question(channels) is None
    )


def _power_torque_question(channels: Mapping[str, FloatArray]) -> Question | None:
    names = ("power_kw", "torque_nm", "engine_speed_rpm")
    if not set(names) <= channels.keys():
        return None
    flag = power_torque_flag(*(_thin_out(channels[name]) for name in names))
    # Other reasons, such as losses that only the power has added, are no matter of units.
    if flag is None or not any(reason in flag.sentence for reason in UNIT_REASONS):
        return None
    return Question(None, flag.sentence)
