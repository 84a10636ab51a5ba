"""What the flags of a run say of its lambda sensor."""

import numpy as np

from jobs.calc.dyno.curves import Flag
from jobs.calc.mixture.sensor import LambdaReading
from jobs.calc.units.numbers import format_number
from jobs.runs.channel_files import FloatArray


def lambda_flags(reading: LambdaReading, rows: slice, engine_speed_rpm: FloatArray) -> list[Flag]:
    """Say what of lambda was left out in some rows of a run, whose engine speed is given whole."""
    found = []
    if wild := int(np.count_nonzero(reading.wild[rows])):
        samples = "1 single sample" if wild == 1 else f"{format_number(wild)} samples"
        found.append(
            Flag("lambda-wild", f"Lambda: {samples} that no sensor can measure left out of the curve.")
        )
    for mask, limit, side in (
        (reading.at_rich_limit, reading.rich_limit, "richer"),
        (reading.at_lean_limit, reading.lean_limit, "leaner"),
    ):
        at = np.flatnonzero(mask[rows])
        if limit is None or not at.size:
            continue
        speeds = engine_speed_rpm[rows][at]
        low, high = (format_number(float(end)) for end in (np.nanmin(speeds), np.nanmax(speeds)))
        found.append(
            Flag(
                "lambda-limit",
                f"The lambda sensor rests at its limit of {limit:.3g} in {format_number(at.size)} samples "
                f"from {low} to {high} 1/min. The mixture is {side} there by an unknown amount, and is not "
                "shown.",
            )
        )
    return found
