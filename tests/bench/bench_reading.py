"""Reading a long run file against pandas' fastest reader with a known layout.

Both are timed in turn in one process on the same bytes. pandas is given the names, types, delimiter and
first line; the run file reader detects all of that, converts units to SI and writes its report. Memory is
the maximum resident size of a fresh process while reading, minus that before, sampled every millisecond;
the file's own bytes are not counted. A process that made the file would reuse what it freed.
"""

import io
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from jobs.calc.run_file import read, sniff

ROWS = 360_000
ROUNDS = 11
MAX_RATIO = 1.5
MAX_MEMORY = 4.0  # times the file

HEADER = (
    "Time [s],Engine speed [1/min],Road speed [mph],Power [hp],Torque [lbf·ft],Lambda,Grip [%],"
    "Throttle plate [%],Intake air temperature [°F],Coolant temperature [°C],Barometric pressure [hPa],"
    "Relative humidity [%]"
)


def clean_file() -> bytes:
    """Make a held-throttle run of half an hour at 200 Hz, in imperial units."""
    rng = np.random.default_rng(20)
    t = np.arange(ROWS) * 0.005
    wave = np.sin(t / 7)
    columns = (
        t,
        7000 + 4000 * wave,
        70 + 40 * wave,
        60 + 50 * wave,
        50 + 10 * wave,
        0.95 + 0.08 * wave,
        50 + 40 * wave,
        45 + 40 * wave,
        75 + 5 * wave,
        85 + 5 * wave,
        1003 + wave,
        55 + 5 * wave,
    )
    noisy = [columns[0], *(column + rng.normal(0, 0.001 * np.ptp(column), ROWS) for column in columns[1:])]
    lines = pd.DataFrame(np.column_stack(noisy)).to_csv(index=False, header=False, float_format="%.3f")
    return f"{HEADER}\n{lines}".encode()


def read_known_layout(data: bytes) -> pd.DataFrame:
    source = io.BytesIO(data)
    source.seek(data.index(b"\n") + 1)
    return pd.read_csv(source, header=None, names=HEADER.split(","), dtype=np.float64)


def from_bytes(data: bytes) -> object:
    return read(data, sniff(data).layout.confirmed())


def timed(work: Callable[[bytes], object], data: bytes) -> float:
    begin = time.perf_counter()
    work(data)
    return time.perf_counter() - begin


def resident() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096


def memory_times_file(data: bytes) -> float:
    """Return the maximum growth of this process while reading, as a multiple of the file size."""
    before, highest, done = resident(), 0, threading.Event()

    def watch() -> None:
        nonlocal highest
        while not done.is_set():
            highest = max(highest, resident())
            time.sleep(0.001)

    watcher = threading.Thread(target=watch)
    watcher.start()
    result = from_bytes(data)
    done.set()
    watcher.join()
    del result
    return (highest - before) / len(data)


def first_lines(data: bytes) -> bytes:
    return data[: data.index(b"\n", 200_000) + 1]


def memory_in_fresh_process(data: bytes) -> float:
    with tempfile.NamedTemporaryFile() as file:
        file.write(data)
        file.flush()
        command = [sys.executable, "-m", __spec__.name, file.name]
        return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def print_memory(path: str) -> int:
    data = Path(path).read_bytes()
    from_bytes(first_lines(data))  # imports and first use are not counted
    sys.stdout.write(f"{memory_times_file(data)}")
    return 0


def main() -> int:
    data = clean_file()
    sample = first_lines(data)
    from_bytes(sample), read_known_layout(sample)  # imports and first use are not timed
    memory = memory_in_fresh_process(data)
    ours, theirs = [], []
    for _ in range(ROUNDS):
        theirs.append(timed(read_known_layout, data))
        ours.append(timed(from_bytes, data))
    ratio = statistics.median(ours) / statistics.median(theirs)
    work = f"{ROWS:,} rows × 12 columns: bytes to named channels, to pandas"
    sys.stdout.write(f"{work:<72}{ratio:>12.2f}{MAX_RATIO:>12.2f}\n")
    sys.stdout.write(f"{'the same: memory, times the file':<72}{memory:>12.2f}{MAX_MEMORY:>12.2f}\n")
    return int(ratio > MAX_RATIO or memory > MAX_MEMORY)


if __name__ == "__main__":
    sys.exit(print_memory(sys.argv[1]) if len(sys.argv) > 1 else main())
