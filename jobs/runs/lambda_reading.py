"""What the flags of a run say of its lambda sensor."""

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.calc.dyno.curves import Flag
from jobs.calc.mixture.sensor import LambdaReading
from jobs.calc.units.numbers import format_digits, format_number
from jobs.runs.channel_files import FloatArray


def lambda_flags(reading: LambdaReading, rows: slice, engine_speed_rpm: FloatArray) -> list[Flag]:
    """Say what of lambda was left out in some rows of a run, whose engine speed is given whole."""
    found = []
    if wild := int(np.count_nonzero(reading.wild[rows])):
        text = ngettext(
            "Lambda: %(count)s single sample that no sensor can measure not used in the curve.",
            "Lambda: %(count)s samples that no sensor can measure not used in the curve.",
            wild,
        )
        found.append(Flag("lambda-wild", text % {"count": format_number(wild)}))
    richer = _(
        "The lambda sensor is at its limit of %(limit)s in %(count)s samples from %(low)s to "
        "%(high)s rpm. The mixture is richer there by an unknown amount and is not shown."
    )
    leaner = _(
        "The lambda sensor is at its limit of %(limit)s in %(count)s samples from %(low)s to "
        "%(high)s rpm. The mixture is leaner there by an unknown amount and is not shown."
    )
    for mask, limit, text in (
        (reading.at_rich_limit, reading.rich_limit, richer),
        (reading.at_lean_limit, reading.lean_limit, leaner),
    ):
        at = np.flatnonzero(mask[rows])
        if limit is None or not at.size:
            continue
        speeds = engine_speed_rpm[rows][at]
        low, high = (format_number(float(end)) for end in (np.nanmin(speeds), np.nanmax(speeds)))
        values = {
            "limit": format_digits(limit, 3),
            "count": format_number(at.size),
            "low": low,
            "high": high,
        }
        found.append(Flag("lambda-limit", text % values))
    return found
