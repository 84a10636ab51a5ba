"""Memory of a process that prints 200 sheets, which must not grow.

The mean resident size over sheets 151 to 200 is compared with that over sheets 51 to 100. A short sheet with
a table and a picture is enough, because an earlier leak occurred with every font and every text.
"""

import os
import statistics
import sys
from pathlib import Path

from tests.bench.bench_sheet import whole_snapshot

LIMIT = 1.05
SHEETS = 200


def resident_kb() -> int:
    """Return the process's current memory in RAM (Linux)."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.split("VmRSS:")[1].split()[0])


def main() -> int:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()
    from reports.handover.sheet import sheet_pdf
    from tests.reports.typesetting.test_twenty_at_once import marked

    whole = whole_snapshot()
    sizes = []
    for number in range(SHEETS):
        sheet_pdf(marked(whole, number))
        sizes.append(resident_kb())
    ratio = statistics.mean(sizes[150:200]) / statistics.mean(sizes[50:100])
    name = "memory of a process, sheets 151 to 200 / sheets 51 to 100"
    sys.stdout.write(f"{name:<72}{ratio:>12.3f}{LIMIT:>12.3f}\n")
    return int(ratio > LIMIT)


if __name__ == "__main__":
    sys.exit(main())
