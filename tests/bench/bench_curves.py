"""360,000 rows to a power curve with its band, against one Savitzky-Golay pass over the same rows.

Run alone: ``python -m tests.bench.bench_curves``. It prints work, ratio and limit, and exits with 1 if
a ratio is above its limit. The rounds of both sides are interleaved and medians are compared, so that
other load on the machine affects both equally.
"""

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
from scipy.signal import savgol_filter

from jobs.calc.dyno.curves import power_curve
from jobs.calc.dyno.repeats import summarise_repeats

ROWS = 360_000
SWEEPS = 6
ROUNDS = 31
LIMIT = 2.0


def logged_rows() -> tuple[np.ndarray, np.ndarray]:
    """Make an hour at 100 Hz: repeated sweeps with noise, dropouts and lost power readings."""
    rng = np.random.default_rng(20)
    sweep = np.linspace(3_000, 12_000, ROWS // SWEEPS)
    speed = np.tile(sweep, SWEEPS)
    power = 100 * np.sin(speed / 7_000) + rng.normal(0, 0.5, ROWS)
    speed = speed + rng.normal(0, 8, ROWS)
    speed[rng.integers(0, ROWS, ROWS // 1000)] = 0
    power[rng.integers(0, ROWS, ROWS // 1000)] = 0
    return speed, power


def medians(works: list[Callable[[], object]]) -> list[float]:
    spent: list[list[float]] = [[] for _ in works]
    for _ in range(ROUNDS):
        for work, times in zip(works, spent, strict=True):
            start = time.perf_counter()
            work()
            times.append(time.perf_counter() - start)
    return [statistics.median(times) for times in spent]


def main() -> int:
    speed, power = logged_rows()
    speeds, powers = np.split(speed, SWEEPS), np.split(power, SWEEPS)
    works: dict[str, Callable[[], object]] = {
        "one curve of all rows, with spread": lambda: power_curve(speed, power),
        "a curve for each of 6 sweeps, with the band of the repeats": lambda: summarise_repeats(
            [power_curve(s, p) for s, p in zip(speeds, powers, strict=True)]
        ),
    }
    peer, *spent = medians([lambda: savgol_filter(power, 51, 3), *works.values()])
    ratios = [seconds / peer for seconds in spent]
    for name, ratio in zip(works, ratios, strict=True):
        sys.stdout.write(f"{name:<72}{ratio:>12.2f}{LIMIT:>12.2f}\n")
    return int(max(ratios) > LIMIT)


if __name__ == "__main__":
    sys.exit(main())
