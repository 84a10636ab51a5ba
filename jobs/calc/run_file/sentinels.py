"""Numbers that a device writes where it has no value: the ends of its whole numbers, and huge ones.

Rule of thumb, no published source: such a number counts as not measured only if it cannot be a measurement.
"""

import numpy as np

from jobs.calc.channels import CHANNELS
from jobs.calc.run_file.column_meaning import convert_to_channel_unit
from jobs.calc.run_file.layout import TIME_FORMS, Column
from jobs.calc.run_file.report import Question
from jobs.calc.run_file.skipped_rows import MAX_LINES_NAMED, LineTally, name_lines
from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import format_digits, format_number

HUGE = 1e30
LARGE_ENDS = (2**31 - 1.0, -(2**31) * 1.0, 2**32 - 1.0)
SMALL_ENDS = (2**15 - 1.0, -(2**15) * 1.0, 2**16 - 1.0, 2**24 - 1.0)
SCALES = (1.0, 0.1, 0.01, 0.001)  # whole numbers of a device are often tenths or hundredths of the unit


def remove_sentinels(
    column: Column, values: FloatArray, lines: np.ndarray, afr: float | None
) -> tuple[FloatArray, Question | None]:
    """Turn numbers that stand for 'no value' into NaN.

    Parameters
    ----------
    column : Column
    values : array, (n,)
        In the unit of the file.
    lines : array of int, (n,)
        Line number of each row.
    afr : float or None
        Air-fuel ratio of the file's lambda 1 [kg/kg].

    Returns
    -------
    values : array, (n,)
    question : Question or None
        None if there is no such number.

    Notes
    -----
    2¹⁶ - 1 and the other ends of whole numbers of 16 and 32 bits, also as tenths to thousandths, if they lie
    outside the plausible range of the channel; of a time only those of 32 bits; and whatever is above 10³⁰.
    """
    # Hardly a file has any, which its lowest and highest value tell at once; NaN is passed over.
    low, high = np.fmin.reduce(values, initial=np.nan), np.fmax.reduce(values, initial=np.nan)
    ends: list[float] = []
    if column.channel is not None and column.unit not in TIME_FORMS:
        seen = (end for end in _ends_of(column) if low <= end <= high)
        ends = [end for end in seen if not _is_plausible(column, end, afr)]
    if not ends and max(-low, high) < HUGE:
        return values, None
    found = (np.abs(values) >= HUGE) | np.isin(values, ends)
    if not found.any():
        return values, None
    at = lines[found]
    tally = LineTally(at.size, at[:MAX_LINES_NAMED].tolist())
    shown = " or ".join(format_digits(value, 10) for value in np.unique(values[found])[:3])
    count = f"{format_number(at.size)} {'cell holds' if at.size == 1 else 'cells hold'}"
    return np.where(found, np.nan, values), Question(
        column.position,
        f"Column {column.position + 1} ('{column.name}'): {count} {shown}, which means no value, "
        f"and {'counts' if at.size == 1 else 'count'} as not measured: {name_lines(tally)}.",
    )


def _ends_of(column: Column) -> list[float]:
    if column.channel == "time_s":
        return list(LARGE_ENDS)
    return [float(f"{end * scale:.3f}") for end in (*LARGE_ENDS, *SMALL_ENDS) for scale in SCALES]


def _is_plausible(column: Column, value: float, afr: float | None) -> bool:
    channel = CHANNELS[column.channel or ""]
    if channel.quantity == "time":
        return False
    converted = float(convert_to_channel_unit(np.array([value]), channel, column.unit, afr)[0])
    return channel.low <= converted <= channel.high
