"""Run every benchmark in its own process and fail if a limit is exceeded: ``python -m tests.bench``."""

import os
import subprocess
import sys
from pathlib import Path


def main() -> int:
    sys.stdout.write(f"{'work':<72}{'measured':>12}{'limit':>12}\n")
    sys.stdout.flush()
    failed = 0
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}  # as in production
    for script in sorted(Path(__file__).parent.glob("bench_*.py")):
        command = [sys.executable, "-m", f"tests.bench.{script.stem}"]
        failed |= subprocess.run(command, check=False, env=environment).returncode
    return failed


if __name__ == "__main__":
    sys.exit(main())
