"""The whole handover sheet against WeasyPrint typesetting the same pages with empty boxes for pictures.

The first page of its preview is held against the whole. The sheet of a full job: request, twelve valves,
parts, a tune, runs, a comparison, a mixture map, a throttle mode, settings and checks. The rounds of both
sides are interleaved and process time is measured, since neither side waits for anything; garbage collection
is off for both.
"""

import gc
import os
import re
import statistics
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from typing import Any

LIMIT = 1.4
FIRST_PAGE_LIMIT = 0.5
ROUNDS = 9


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
    """Return the processor time of some work, without the garbage collector as in the process of a task."""
    gc.collect()
    gc.disable()
    begin = time.process_time()
    work()
    taken = time.process_time() - begin
    gc.enable()
    return taken


def seconds_to_first_page(work: Callable[[Callable[[Any], None]], object]) -> float:
    """Return the time until a sheet has drawn its first page alone; the others are not set then."""
    from reports.handover.preview import draw_page

    class FirstPageShown(Exception):
        pass

    def show(source: Any) -> None:
        draw_page(source)
        raise FirstPageShown

    def work_until_shown() -> None:
        with suppress(FirstPageShown):
            work(show)

    return seconds(work_until_shown)


def with_empty_boxes(source: Any) -> Any:
    """Return the source of a document with an empty box of the same size for every drawing."""

    def empty(svg: bytes) -> bytes:
        return re.sub(rb"(<svg[^>]*>).*(</svg>)", rb"\1\2", svg, flags=re.DOTALL)

    files = {
        address: (empty(data) if kind == "image/svg+xml" else data, kind)
        for address, (data, kind) in source.files.items()
    }
    return replace(source, files=files)


def main() -> int:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()
    from reports.handover.sheet import prepare, sheet_pdf, write_pdf
    from reports.handover.snapshot.codec import from_json

    stored = whole_snapshot()
    snapshot = from_json(stored)
    ready = with_empty_boxes(prepare(snapshot))
    sheet_pdf(stored)  # a first run, so that imports and fonts are not timed
    ratios, first_pages = [], []
    for _ in range(ROUNDS):
        plain = seconds(lambda: write_pdf(ready, snapshot, stored))
        whole = seconds(lambda: sheet_pdf(stored))
        ratios.append(whole / plain)
        first_pages.append(seconds_to_first_page(lambda show: sheet_pdf(stored, show_first=show)) / whole)
    rows = (
        ("handover sheet of a full job / WeasyPrint with empty boxes for pictures", ratios, LIMIT),
        ("first page of its preview / the whole sheet", first_pages, FIRST_PAGE_LIMIT),
    )
    for name, found, limit in rows:
        sys.stdout.write(f"{name:<72}{statistics.median(found):>12.2f}{limit:>12.2f}\n")
    return int(any(statistics.median(found) > limit for _, found, limit in rows))


if __name__ == "__main__":
    sys.exit(main())
