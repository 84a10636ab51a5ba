"""``python -m tests.bench`` runs each benchmark in its own process and fails where a limit is passed."""

import subprocess
import sys
from pathlib import Path


def main() -> int:
    sys.stdout.write(f"{'work':<72}{'measured':>12}{'limit':>12}\n")
    sys.stdout.flush()
    failed = 0
    for script in sorted(Path(__file__).parent.glob("bench_*.py")):
        failed |= subprocess.run([sys.executable, "-m", f"tests.bench.{script.stem}"], check=False).returncode
    return failed


if __name__ == "__main__":
    sys.exit(main())
