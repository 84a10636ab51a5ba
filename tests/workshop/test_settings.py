"""Settings that have to be in force before a library is imported."""

import os
import subprocess
import sys

import pytest

SCRIPT = "import os, django; django.setup(); import numpy; print(os.environ['OPENBLAS_NUM_THREADS'])"


@pytest.mark.parametrize(("given", "threads"), [({}, "1"), ({"OPENBLAS_NUM_THREADS": "3"}, "3")])
def test_linear_algebra_uses_one_thread_unless_the_environment_says_otherwise(given, threads) -> None:
    environment = {key: value for key, value in os.environ.items() if key != "OPENBLAS_NUM_THREADS"}
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT],
        env={**environment, **given},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.strip() == threads, done.stderr


def test_settings_are_read_before_numpy() -> None:
    """Otherwise the number of threads would come too late."""
    script = "import sys; import workshop.settings; print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "False", done.stderr
