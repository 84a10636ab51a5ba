"""A long log into a 20 × 20 mixture grid with all statistics, against one plain 2-D histogram of it."""

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

from jobs.calc.mixture.grid import build_mixture_grid

LIMIT = 3.0
ROUNDS = 15
SAMPLES, HERTZ = 360_000, 100


def seconds(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def main() -> int:
    rng = np.random.default_rng(7)
    hold = np.arange(SAMPLES) // (2 * HERTZ)  # an hour of two-second holds
    visited = hold[-1] + 1
    speed = rng.uniform(1500, 11000, visited)[hold] + rng.normal(0, 8, SAMPLES)
    load = np.clip(rng.choice(np.arange(0, 101, 2.5), visited)[hold] + rng.normal(0, 0.1, SAMPLES), 0, 100)
    lambda_ = 0.92 + rng.normal(0, 0.01, SAMPLES)
    rpm_axis, load_axis = np.linspace(1500, 11000, 20), np.linspace(0, 100, 20)

    def histogram() -> object:
        return np.histogram2d(load, speed, bins=(20, 20))

    def grid() -> object:
        return build_mixture_grid(speed, load, lambda_, rpm_axis, load_axis, hold=hold)

    histogram(), grid()
    ratios = []
    for _ in range(ROUNDS):  # interleaved, so that a busy machine slows both
        plain = seconds(histogram)
        ratios.append(seconds(grid) / plain)
    ratio = statistics.median(ratios)
    sys.stdout.write(
        f"{'360,000 samples to a 20 × 20 mixture grid / plain histogram':<72}{ratio:>12.2f}{LIMIT:>12.2f}\n"
    )
    return int(ratio > LIMIT)


if __name__ == "__main__":
    sys.exit(main())
