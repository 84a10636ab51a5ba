"""Which readings of the dyno's verification belong together."""

from jobs.models import DynoCheck


def series_key(check: DynoCheck) -> tuple[str, str, str]:
    """Return what a reading is of: readings of the same are one series."""
    return check.method, " ".join(check.subject.split()).casefold(), check.unit
