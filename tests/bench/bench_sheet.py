"""The whole handover sheet against WeasyPrint typesetting the same pages with finished pictures.

The sheet of a full job: brief, twelve valves, parts, a tune, runs, a comparison, a mixture grid, a
throttle mode, settings and checks. The rounds of both sides are interleaved and process time is measured,
since neither side waits for anything; garbage collection is off for both.
"""

import os
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

LIMIT = 1.3
ROUNDS = 5


def whole_snapshot() -> dict[str, Any]:
    """Return the snapshot of a full job, made in a temporary database."""
    from django.test.utils import get_runner, setup_test_environment

    setup_test_environment()
    from django.conf import settings

    runner = get_runner(settings)(verbosity=0, interactive=False)
    databases = runner.setup_databases()
    try:
        from tests import factories
        from tests.reports.conftest import stored_snapshot
        from tests.reports.whole_jobs import make_whole_job
        from workshop.models import Role

        staff = {role: factories.make_staff(role) for role in Role}
        return stored_snapshot(make_whole_job(staff), staff[Role.OWNER])
    finally:
        runner.teardown_databases(databases)


def seconds(work: Callable[[], object]) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


def main() -> int:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()
    from reports.handover.sheet import prepare, sheet_pdf, write_pdf
    from reports.handover.snapshot.codec import from_json

    stored = whole_snapshot()
    snapshot = from_json(stored)
    ready = prepare(snapshot)
    sheet_pdf(stored)  # a first run, so that imports and fonts are not timed
    ratios = []
    for _ in range(ROUNDS):
        plain = seconds(lambda: write_pdf(ready, snapshot, stored))
        ratios.append(seconds(lambda: sheet_pdf(stored)) / plain)
    ratio = statistics.median(ratios)
    name = "handover sheet of a full job / WeasyPrint with ready pictures"
    sys.stdout.write(f"{name:<72}{ratio:>12.2f}{LIMIT:>12.2f}\n")
    return int(ratio > LIMIT)


if __name__ == "__main__":
    sys.exit(main())
