"""Python's warning filters, which all threads share."""

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from threading import RLock
from typing import Literal

_lock = RLock()


@contextmanager
def filter_warnings(action: Literal["error", "ignore"], category: type[Warning]) -> Iterator[None]:
    """Raise or ignore warnings of a category within a block.

    One thread at a time: before Python 3.14 the filters belong to the process, and another thread that
    leaves its block would take ours away.
    """
    with _lock, warnings.catch_warnings():
        warnings.simplefilter(action, category)
        yield
