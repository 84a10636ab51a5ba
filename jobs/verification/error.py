"""How far the dyno may be off, by its last verification against a known true value."""

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.calc.dyno.uncertainty import Verification
from jobs.calc.units.numbers import format_number
from jobs.models import DynoCheck
from jobs.verification.series import series_key
from workshop.languages import format_day


def last_verification() -> Verification | None:
    """Return the last verification whose true value is known within stated limits, or None."""
    stated = DynoCheck.objects.filter(true_value__gt=0, true_value_error__isnull=False)
    check = max(stated, key=lambda row: (row.at, row.pk), default=None)
    if check is None:
        return None
    alike = [row for row in stated if series_key(row) == series_key(check)]
    errors = [100 * (row.reading / row.true_value - 1) for row in alike if row.true_value]
    limit_pct = 100 * (check.true_value_error or 0.0) / (check.true_value or 1.0)
    mean_pct = float(np.mean(errors))
    readings = ngettext("%(count)s reading", "%(count)s readings", len(errors)) % {"count": len(errors)}
    return Verification(
        mean_error_pct=mean_pct,
        limit_pct=limit_pct,
        basis=_(
            "%(method)s, %(readings)s, last on %(day)s: mean error %(error)s %%, true value known within "
            "±%(limit)s %%"
        )
        % {
            "method": _(check.get_method_display()),
            "readings": readings,
            "day": format_day(check.at),
            "error": format_number(mean_pct, 2, signed=True),
            "limit": format_number(limit_pct, 2),
        },
    )
